"""What the months chart draws: points, intervals, band, phases, event flags, accuracy (``months.py`` composes it)."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from ..terms.case_view import CaseView
from ..terms.change import MeasurementError
from ..terms.summaries import MeasureSummary, SessionSummary
from . import style, wording
from .lettering import text_width_mm
from .sheet import haloed, quiet, upright

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FLAG_ROW_MM = 4.2  # a line of body type and a half
MOST_NAMED = 3
"""More probes apart than this are counted and not named one by one."""


@dataclass(frozen=True, slots=True)
class RangeBracket:
    """A published range that fits: drawn in the right margin, with its words and source beneath."""

    low: float
    high: float
    text: str
    source: str

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError("a range needs its low end below its high end")
        if not self.source:
            raise ValueError("a range is never shown without its source")


LOOKS_OF_FIRST_LIMIT = 3
"""So many later probes are judged by the first limit."""


@dataclass(frozen=True, slots=True)
class Months:
    """All that the parts of the chart share."""

    view: CaseView
    key: str
    sessions: tuple[tuple[SessionSummary, MeasureSummary], ...]
    error: MeasurementError | None
    scale: float
    unit: str
    x_limits: tuple[float, float]


def draw_main(axes: Axes, months: Months, bracket: RangeBracket | None, *, narrow: bool) -> None:
    """Points, intervals, single words and the baseline's band, on one upright axis."""
    scale = months.scale
    values = [scale * v for _, s in months.sessions for v in (s.low, s.high, s.mean, *(w.value for w in s.words))]
    error = months.error if months.error and math.isfinite(months.error.limit) else None
    if error:
        values += [
            scale * edge
            for part in stretches(months, error)
            for edge in (part.mean - part.limit, part.mean + part.limit)
        ]
    if bracket:
        values += [scale * bracket.low, scale * bracket.high]
    upright(axes, values, months.unit)
    quiet(axes)
    axes.set_xlim(*months.x_limits)
    axes.set_xticks([])
    if error:
        _band(axes, months, error, narrow=narrow)
    _words(axes, months)
    _lines(axes, months)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Months over which one comparison holds: a baseline's mean and limit."""

    first: float
    last: float
    mean: float
    limit: float


def stretches(months: Months, error: MeasurementError) -> list[Stretch]:
    """The line's comparison over the months, broken where probes in a narrower band have one of their own."""
    changes = {change.session: change for change in months.view.changes_of(months.key)}
    first, last = months.x_limits
    found = [Stretch(first, last, error.mean, error.limit)]
    before = first
    for session, _ in months.sessions:
        change = changes.get(session.number)
        own = change is not None and math.isfinite(change.baseline) and math.isfinite(change.limit)
        line = next(limit for start, end, limit in _reaches(months, error) if start <= session.month <= end)
        held = (change.baseline, change.limit) if change is not None and own else (error.mean, line)
        latest = found[-1]
        if held != (latest.mean, latest.limit):
            middle = max(first, (before + session.month) / 2)
            found[-1] = replace(latest, last=middle)
            found.append(Stretch(middle, last, *held))
        before = session.month
    return found


def _band(axes: Axes, months: Months, error: MeasurementError, *, narrow: bool) -> None:
    low = months.scale * (error.mean - error.limit)
    first, last = months.x_limits
    for part in stretches(months, error):
        across = {"xmin": (part.first - first) / (last - first), "xmax": (part.last - first) / (last - first)}
        ends = (months.scale * (part.mean - part.limit), months.scale * (part.mean + part.limit))
        look: Any = {"facecolor": "none", "edgecolor": style.GREEN, "hatch": "////", "alpha": 0.32, "linewidth": 0}
        axes.axhspan(ends[0], ends[1], **across, **look, zorder=0.5)
        dashes: Any = (0, (5, 3))
        mean = months.scale * part.mean
        axes.axhline(mean, **across, color=style.GREEN, linewidth=0.8, linestyle=dashes, zorder=1)
    if narrow:
        axes.annotate(
            f"{wording.reference_words(months.view)} ± measurement error",
            (1, low),
            xycoords=("axes fraction", "data"),
            xytext=(0, -1.5),
            textcoords="offset points",
            ha="right",
            va="top",
            color=style.INK,
            path_effects=haloed(),
            zorder=6,
        )


def _reaches(months: Months, error: MeasurementError) -> list[tuple[float, float, float]]:
    """Where which limit holds, in months: from the fourth look on it may be another."""
    first, last = months.x_limits
    fourth = [session.month for session, _ in months.sessions if session.number in _fourth_look(months)]
    if not fourth or not math.isfinite(error.later_limit) or error.later_limit == error.limit:
        return [(first, last, error.limit)]
    before = max((session.month for session, _ in months.sessions if session.month < fourth[0]), default=first)
    middle = (before + fourth[0]) / 2
    return [(first, middle, error.limit), (middle, last, error.later_limit)]


def _fourth_look(months: Months) -> set[int]:
    return {
        change.session for change in months.view.changes_of(months.key) if change.n_looks == LOOKS_OF_FIRST_LIMIT + 1
    }


def _words(axes: Axes, months: Months) -> None:
    width = 0.018 * (months.x_limits[1] - months.x_limits[0])
    for session, summary in months.sessions:
        x = [session.month + width * (2 * ((0.618 * place) % 1) - 1) for place in range(len(summary.words))]
        axes.plot(
            x,
            [months.scale * word.value for word in summary.words],
            linestyle="none",
            marker="o",
            markersize=2.2,
            markerfacecolor=style.BLUE,
            markeredgecolor="none",
            alpha=0.38,
            zorder=2,
            gid="single words",
        )


def _lines(axes: Axes, months: Months) -> None:
    for run in _runs(months.sessions):
        across = [session.month for session, _ in run]
        axes.plot(
            across,
            [months.scale * summary.mean for _, summary in run],
            color=style.BLUE,
            linewidth=1.2,
            zorder=3,
            gid="line",
        )
    named = sum(bool(session.apart_in(summary.key)) for session, summary in months.sessions) <= MOST_NAMED
    for session, summary in months.sessions:
        y = months.scale * summary.mean
        if math.isfinite(summary.low) and math.isfinite(summary.high):
            ends = (months.scale * summary.low, months.scale * summary.high)
            axes.vlines(session.month, *ends, colors=style.BLUE, linewidth=1.6, zorder=4)
        apart = bool(session.apart_in(summary.key))
        settings = _mark(apart=apart)
        axes.plot([session.month], [y], linestyle="none", zorder=5, gid="session", **settings)
        if apart and named:
            axes.annotate(
                "apart",
                (session.month, y),
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
                color=style.INK,
                path_effects=haloed(),
                zorder=6,
            )


def _mark(*, apart: bool) -> dict[str, Any]:
    if apart:
        return {
            "marker": "s",
            "markersize": 5.0,
            "markerfacecolor": style.PAPER,
            "markeredgecolor": style.BLUE,
            "markeredgewidth": 1.2,
        }
    return {
        "marker": "o",
        "markersize": 5.5,
        "markerfacecolor": style.BLUE,
        "markeredgecolor": style.PAPER,
        "markeredgewidth": 0.6,
    }


def _runs(
    sessions: Sequence[tuple[SessionSummary, MeasureSummary]],
) -> list[list[tuple[SessionSummary, MeasureSummary]]]:
    """Sessions that may stand on one line; another device, level, cue, list form or method begins a new one."""
    runs: list[list[tuple[SessionSummary, MeasureSummary]]] = []
    for session, summary in sessions:
        same = runs and _conditions(*runs[-1][-1]) == _conditions(session, summary)
        if same:
            runs[-1].append((session, summary))
        else:
            runs.append([(session, summary)])
    return runs


def _conditions(one: SessionSummary, summary: MeasureSummary) -> tuple[object, ...]:
    session = one.session
    if one.joined:  # what nobody stated is a question, not a difference
        return (True, summary.method if summary.apart else "")
    return (False, summary.method, session.device, session.level, session.cue, session.list_form)


def _phase_name(summary: SessionSummary) -> str:
    return "phase not stated" if summary.phase == "not stated" else str(summary.phase)


def draw_phases(axes: Axes, months: Months, plot_mm: float) -> None:
    """Name each phase above its first probe, a dotted line between phases; names are pushed apart to the right."""
    first, last = months.x_limits
    summaries = months.view.summaries
    starts = [(first, _phase_name(summaries[0]))]
    for before, after in itertools.pairwise(summaries):
        if before.phase != after.phase:
            starts.append((0.5 * (before.month + after.month), _phase_name(after)))
    reach_mm = 0.0
    for number, (at, name) in enumerate(starts):
        if number:
            dots: Any = (0, (1, 2))
            axes.plot(
                [at, at], [0, 1.06], transform=axes.get_xaxis_transform(), color=style.SECOND_INK, linewidth=0.8,
                linestyle=dots, zorder=1.5, clip_on=False, gid="phase",
            )  # fmt: skip
        left_mm = max(plot_mm * (at - first) / (last - first) + (1.0 if number else 0.0), reach_mm)
        axes.annotate(
            name,
            (left_mm / plot_mm, 1),
            xycoords="axes fraction",
            xytext=(0, 3),
            textcoords="offset points",
            ha="left",
            va="bottom",
            color=style.SECOND_INK,
            annotation_clip=False,
        )
        reach_mm = left_mm + text_width_mm(name, style.BODY_PT) + 1.5


def flag_rows(months: Months, plot_mm: float) -> list[list[tuple[float, str, float]]]:
    """Spread event flags over rows so that their words don't meet: (month, text, left edge in mm)."""
    first, last = months.x_limits
    origin = months.view.summaries[0].on
    rows: list[list[tuple[float, str, float]]] = []
    ends: list[float] = []
    for event in sorted(months.view.events, key=lambda item: item.on):
        month = (event.on - origin).days / 30.4375 + months.view.summaries[0].month
        if not first <= month <= last:
            continue
        place_mm = plot_mm * (month - first) / (last - first)
        width_mm = text_width_mm(event.text, style.BODY_PT) + 3.5
        left_mm = max(0.0, min(place_mm, plot_mm - width_mm))
        row = next((number for number, end in enumerate(ends) if end <= left_mm), len(rows))
        if row == len(rows):
            rows.append([])
            ends.append(0.0)
        rows[row].append((month, event.text, left_mm / plot_mm))
        ends[row] = left_mm + width_mm + 2.0
    return rows


def draw_flags(axes: Axes, months: Months, rows: Sequence[Sequence[tuple[float, str, float]]]) -> None:
    """A small flag and its words under the axis for each event."""
    axes.set_axis_off()
    axes.set_xlim(*months.x_limits)
    axes.set_ylim(len(rows) + 0.6, 0)
    for number, row in enumerate(rows):
        for month, text, left in row:
            _draw_flag(axes, months, (month, number), text, left)


def _draw_flag(axes: Axes, months: Months, at: tuple[float, int], text: str, left: float) -> None:
    """A line down from the axis and a flag, its words after it, before it, or, where neither has room, beneath it."""
    (month, number), (first, last) = at, months.x_limits
    span = last - first
    after = first + left * span >= month - 1e-9
    plot_mm = axes.bbox.width / axes.figure.dpi * style.MM_PER_INCH
    before = (month - first) / span * plot_mm > text_width_mm(text, style.BODY_PT) + 2.0
    beneath = not after and not before
    axes.vlines(month, 0, number + (0.3 if beneath else 0.95), colors=style.SECOND_INK, linewidth=0.8)
    if not beneath:
        tip, foot, middle = month + 0.012 * span, number + 0.7, number + 0.45
        axes.fill([month, tip, month], [number + 0.2, middle, foot], color=style.SECOND_INK, linewidth=0)
    x = month + 0.017 * span if after else month - 0.006 * span if before else first + left * span
    ha = "right" if before and not after else "left"
    axes.text(x, number + (0.72 if beneath else 0.5), text, ha=ha, va="center", color=style.INK)


def draw_accuracy(axes: Axes, months: Months) -> None:
    """Percent correct by ear with its Wilson interval, beneath."""
    axes.set_xlim(*months.x_limits)
    axes.set_ylim(0, 100)
    axes.set_yticks([0, 50, 100], ["0", "50", "100\u2009%"])
    quiet(axes)
    for summary in months.view.summaries:
        accuracy = summary.accuracy
        if accuracy is None or not accuracy.n_scored:
            continue
        axes.vlines(summary.month, 100 * accuracy.low, 100 * accuracy.high, colors=style.SECOND_INK, linewidth=1.4)
        axes.plot(
            [summary.month],
            [100 * accuracy.share],
            marker="D",
            markersize=4.2,
            color=style.INK,
            linestyle="none",
            gid="heard",
            zorder=5,
            clip_on=False,
        )
