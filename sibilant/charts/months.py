"""Change over sessions: points with intervals, the baseline's band, phases, events, and accuracy by ear beneath."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..terms import Method
from ..terms.change import UNJUDGED, CaseView, MeasurementError, MeasureSummary, SessionSummary
from . import style, wording
from .lettering import line_height_mm, text_width_mm, wrap
from .sheet import MARGIN_MM, Heading, Sheet, begin, haloed, nice_limits, top_tick_with_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PHASE_MM = 5.0
_ACCURACY_MM = 15.0
_FOOT_MM = 9.5
_AXIS_MM = 9.0
_FLAG_ROW_MM = 4.2


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


@dataclass(frozen=True, slots=True)
class _Months:
    """All that the parts of the chart share."""

    view: CaseView
    key: str
    sessions: tuple[tuple[SessionSummary, MeasureSummary], ...]
    error: MeasurementError | None
    scale: float
    unit: str
    x_limits: tuple[float, float]


@style.drawn
def months_chart(
    view: CaseView,
    *,
    method: Method,
    key: str = "",
    bracket: RangeBracket | None = None,
    no_range: str = "",
    width_mm: float = style.FULL_WIDTH_MM,
    in_report: bool = False,
) -> Figure:
    """Draw one measure over the months, with what could be measurement error and what was heard.

    Parameters
    ----------
    view
        The client, computed once; sessions whose figures are held back until they are judged are left out.
    method
        The method of the client's figures, for band and weighting.
    key
        The measure; the main one when empty.
    bracket, no_range
        A published range that fits, or the sentence that says why none is shown.
    width_mm
        170 or 85; the narrow one puts the margin's words beneath.
    in_report
        Lower, and without the notes that a report prints itself.

    Returns
    -------
    Figure
        Its label (``alt_text``) states the finding in a sentence.

    Raises
    ------
    ValueError
        When no session has the measure.
    """
    key = key or view.main_measure
    measure = wording.measure_of(key)
    sessions = wording.summary_of(view, key)
    if not sessions:
        raise ValueError(f"no session of {view.client.code} has {key} to show")
    factor, unit = wording.scale_of(measure)
    months = _Months(view, key, sessions, view.error_of(key), factor, unit, _month_limits(view))
    side = _Side(method, bracket, no_range)
    figure = _drawn_months(months, side, width_mm, in_report=in_report)
    figure.set_label(months_alt(view, key))
    return figure


@dataclass(frozen=True, slots=True)
class _Side:
    """What stands beside the data: the method, and a range or why there is none."""

    method: Method
    bracket: RangeBracket | None
    no_range: str


def _drawn_months(months: _Months, side: _Side, width_mm: float, *, in_report: bool) -> Figure:
    wide = width_mm >= 120
    plot_mm = width_mm - MARGIN_MM - _AXIS_MM - (38.0 if wide else MARGIN_MM)
    flags = _flag_rows(months, plot_mm)
    main_mm = 32.0 if in_report else 58.0 if wide else 50.0
    heights = (_PHASE_MM, main_mm, _FLAG_ROW_MM * len(flags) + 3.0, _accuracy_mm(months.view))
    sheet = begin(_heading(months, side, wide=wide, in_report=in_report), width_mm, sum(heights) + _FOOT_MM)
    left_mm = MARGIN_MM + _AXIS_MM
    top = sheet.place(left_mm, heights[0], plot_mm, heights[1])
    _main(top, months, side.bracket, narrow=not wide)
    _phases(top, months)
    _flags(sheet.place(left_mm, heights[0] + heights[1], plot_mm, heights[2]), months, flags)
    bottom = top
    if heights[3]:
        bottom = sheet.place(left_mm, sum(heights[:3]), plot_mm, heights[3])
        _accuracy(bottom, months)
    _month_axis(bottom, months, sheet, sum(heights) if heights[3] else sum(heights[:2]), left_mm + plot_mm / 2)
    if wide:
        _margin(sheet, months, _Margin(left_mm + plot_mm + 3.0, heights, top.get_ylim()), side)
    return sheet.figure


def _heading(months: _Months, side: _Side, *, wide: bool, in_report: bool) -> Heading:
    caption = _caption(months, side.method)
    if in_report:
        apart = any(session.apart for session, _ in months.sessions)
        more = ("Open squares stand apart: other conditions, not joined.",) if apart else ()
        brief = wording.Caption(caption.who, wording.method_short(side.method), caption.counted, more=more)
        return Heading("", _subtitle(months), brief.text)
    note = caption.text if wide else _narrow_note(months, side)
    return Heading(wording.change_sentence(months.view, months.key), _subtitle(months), note)


def months_alt(view: CaseView, key: str) -> str:
    """State in words what the months chart shows."""
    measure = wording.measure_of(key)
    points = ", ".join(
        f"month {wording.month_text(session.month)}: "
        f"{wording.interval_text(measure, summary.mean, summary.low, summary.high)}"
        for session, summary in wording.summary_of(view, key)
    )
    return f"{wording.change_sentence(view, key)}. {wording.capital(measure.name)} by session, {points}."


def _month_limits(view: CaseView) -> tuple[float, float]:
    months = [summary.month for summary in view.summaries] or [0.0]
    pad = max(0.35, 0.05 * (max(months) - min(months)))
    return min(months) - pad, max(months) + pad


def _accuracy_mm(view: CaseView) -> float:
    return _ACCURACY_MM if any(summary.accuracy and summary.accuracy.n_scored for summary in view.summaries) else 0.0


def _subtitle(months: _Months) -> str:
    measure = wording.measure_of(months.key)
    return f"{wording.capital(measure.plain_name)} ({measure.name} of /s/); bars: 95\u2009% intervals over words; dots: words"


def _caption(months: _Months, method: Method) -> wording.Caption:
    counts = sorted({(summary.n_measured, summary.n_expected) for _, summary in months.sessions})
    counted = f"{'; '.join(f'{n} of {of}' for n, of in counts)} sounds measured"
    apart = tuple(
        f"Month {wording.month_text(session.month)} stands apart, not joined: {'; '.join(session.apart)}."
        for session, _ in months.sessions
        if session.apart
    )
    changes = months.view.changes_of(months.key)
    unjudged = changes[-1].reasons if changes and changes[-1].verdict == UNJUDGED else ()
    why = (f"The latest probe cannot be judged against the baseline: {'; '.join(unjudged)}.",) if unjudged else ()
    n_held = sum(not summary.shown for summary in months.view.summaries)
    held = (f"{n_held} session(s) held back until judged by ear.",) if n_held else ()
    closing = f"{style.SUPPORTING} {style.NO_CAUSE}"
    return wording.Caption(
        wording.who(months.view.client),
        wording.method_text(method),
        counted,
        more=(*_error_words(months), *apart, *why, *held, closing),
    )


def _error_words(months: _Months) -> tuple[str, ...]:
    error = months.error
    measure = wording.measure_of(months.key)
    if error is None or not math.isfinite(error.limit):
        return ("No band: fewer than three baseline probes on different days, so error cannot be judged.",)
    limit, sem, sdc = (wording.quantity(measure, value, value) for value in (error.limit, error.sem, error.sdc))
    return (
        f"Hatched: baseline mean ± {limit}, the limit within which one later probe may differ by measurement error "
        f"alone ({error.k} baseline probes); standard error of measurement {sem}, smallest detectable change {sdc}.",
    )


def _narrow_note(months: _Months, side: _Side) -> str:
    bracket, no_range = side.bracket, side.no_range
    extra = (f"Bracket: {bracket.text} Source: {bracket.source}",) if bracket else (no_range,) if no_range else ()
    heard = _rule_words(months)
    caption = _caption(months, side.method)
    return "\n".join((*(f"Beneath: {line}" for line in heard), caption.text, *extra))


def _rule_words(months: _Months) -> tuple[str, ...]:
    scored = [s.accuracy for s in months.view.summaries if s.accuracy and s.accuracy.n_scored]
    if not scored:
        return ()
    counts = sorted({accuracy.n_scored for accuracy in scored})
    n = f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"
    return (f"judged correct by ear, with 95\u2009% interval ({n} scored; {scored[-1].rule})",)


def _main(axes: Axes, months: _Months, bracket: RangeBracket | None, *, narrow: bool) -> None:
    scale = months.scale
    values = [scale * v for _, s in months.sessions for v in (s.low, s.high, s.mean, *(w.value for w in s.words))]
    error = months.error if months.error and math.isfinite(months.error.limit) else None
    if error:
        values += [scale * (error.mean - error.limit), scale * (error.mean + error.limit)]
    if bracket:
        values += [scale * bracket.low, scale * bracket.high]
    low, high, step = nice_limits(values)
    axes.set_ylim(low, high)
    axes.set_yticks([low + step * number for number in range(round((high - low) / step) + 1)])
    top_tick_with_unit(axes, months.unit)
    axes.set_xlim(*months.x_limits)
    axes.set_xticks([])
    axes.grid(axis="y", color=style.HAIRLINE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    if error:
        _band(axes, months, error, narrow=narrow)
    _words(axes, months)
    _lines(axes, months)


def _band(axes: Axes, months: _Months, error: MeasurementError, *, narrow: bool) -> None:
    low, high = (months.scale * (error.mean + sign * error.limit) for sign in (-1, 1))
    axes.axhspan(low, high, facecolor="none", edgecolor=style.GREEN, hatch="////", alpha=0.32, linewidth=0, zorder=0.5)
    axes.axhline(months.scale * error.mean, color=style.GREEN, linewidth=0.8, linestyle=(0, (5, 3)), zorder=1)
    if narrow:
        axes.annotate(
            "baseline ± measurement error",
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


def _words(axes: Axes, months: _Months) -> None:
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


def _lines(axes: Axes, months: _Months) -> None:
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
    for session, summary in months.sessions:
        y = months.scale * summary.mean
        if math.isfinite(summary.low) and math.isfinite(summary.high):
            ends = (months.scale * summary.low, months.scale * summary.high)
            axes.vlines(session.month, *ends, colors=style.BLUE, linewidth=1.6, zorder=4)
        settings = _mark(session)
        axes.plot([session.month], [y], linestyle="none", zorder=5, gid="session", **settings)
        if session.apart:
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


def _mark(session: SessionSummary) -> dict[str, Any]:
    if session.apart:
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
    """Sessions that may stand on one line; another device, level, cue or list form begins a new one."""
    runs: list[list[tuple[SessionSummary, MeasureSummary]]] = []
    for session, summary in sessions:
        same = runs and _conditions(runs[-1][-1][0]) == _conditions(session)
        if same:
            runs[-1].append((session, summary))
        else:
            runs.append([(session, summary)])
    return runs


def _conditions(summary: SessionSummary) -> tuple[object, ...]:
    session = summary.session
    return (summary.joined, session.device, session.level, session.cue, session.list_form)


def _phases(axes: Axes, months: _Months) -> None:
    summaries = months.view.summaries
    edges = [(None, summaries[0])] + [(a, b) for a, b in itertools.pairwise(summaries) if a.phase != b.phase]
    for before, after in edges:
        at = months.x_limits[0] if before is None else 0.5 * (before.month + after.month)
        if before is not None:
            axes.axvline(
                at, color=style.SECOND_INK, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1.5, ymax=1.06, clip_on=False
            )
        axes.annotate(
            str(after.phase),
            (at, 1),
            xycoords=("data", "axes fraction"),
            xytext=(0 if before is None else 3, 3),
            textcoords="offset points",
            ha="left",
            va="bottom",
            color=style.SECOND_INK,
            annotation_clip=False,
        )


def _flag_rows(months: _Months, plot_mm: float) -> list[list[tuple[float, str, float]]]:
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


def _flags(axes: Axes, months: _Months, rows: Sequence[Sequence[tuple[float, str, float]]]) -> None:
    axes.set_axis_off()
    axes.set_xlim(*months.x_limits)
    axes.set_ylim(len(rows) + 0.6, 0)
    span = months.x_limits[1] - months.x_limits[0]
    for number, row in enumerate(rows):
        for month, text, left in row:
            axes.vlines(month, 0, number + 0.95, colors=style.SECOND_INK, linewidth=0.8)
            axes.fill(
                [month, month + 0.012 * span, month],
                [number + 0.2, number + 0.45, number + 0.7],
                color=style.SECOND_INK,
                linewidth=0,
            )
            x = months.x_limits[0] + left * span
            starts_after = x >= month - 1e-9
            axes.text(
                month + 0.017 * span if starts_after else month - 0.006 * span,
                number + 0.5,
                text,
                ha="left" if starts_after else "right",
                va="center",
                color=style.INK,
            )


def _accuracy(axes: Axes, months: _Months) -> None:
    axes.set_xlim(*months.x_limits)
    axes.set_ylim(0, 100)
    axes.set_yticks([0, 50, 100], ["0", "50", "100\u2009%"])
    axes.grid(axis="y", color=style.HAIRLINE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
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
            clip_on=False,
        )


def _month_axis(axes: Axes, months: _Months, sheet: Sheet, below_mm: float, centre_mm: float) -> None:
    first, last = months.x_limits
    step = max(1, math.ceil((last - first) / (9 if sheet.narrow else 15)))
    ticks = [tick for tick in range(math.ceil(first), math.floor(last) + 1) if tick % step == 0]
    axes.set_xticks(ticks, [str(tick).replace("-", wording.MINUS) for tick in ticks])
    sheet.write(centre_mm, below_mm + 4.6, ["months since the first baseline"], ha="center")


@dataclass(frozen=True, slots=True)
class _Margin:
    left_mm: float
    heights: tuple[float, float, float, float]
    y_limits: tuple[float, float]

    def down_mm(self, value: float) -> float:
        """Millimetres from the body's top to a value on the upright axis."""
        low, high = self.y_limits
        return self.heights[0] + self.heights[1] * (1 - (value - low) / (high - low))


def _margin(sheet: Sheet, months: _Months, margin: _Margin, side: _Side) -> None:
    bracket, no_range = side.bracket, side.no_range
    width_mm = sheet.width_mm - margin.left_mm - MARGIN_MM
    blocks: list[tuple[float, list[str], str]] = []
    error = months.error
    if error and math.isfinite(error.limit):
        lines = wrap("baseline ± what could be measurement error", width_mm)
        blocks.append((margin.down_mm(months.scale * error.mean), lines, style.INK))
    if bracket:
        middle = margin.down_mm(months.scale * 0.5 * (bracket.low + bracket.high))
        _bracket(sheet, months, margin, bracket)
        blocks.append((middle, wrap(f"{bracket.text}\nSource: {bracket.source}", width_mm - 3.0), style.SECOND_INK))
    elif no_range:
        blocks.append((margin.heights[0] + 6.0, wrap(no_range, width_mm), style.SECOND_INK))
    top_mm, bottom_mm = margin.heights[0], margin.heights[0] + margin.heights[1]
    for at_mm, lines, colour in _apart(blocks, top_mm, bottom_mm):
        indent = 3.0 if bracket and colour == style.SECOND_INK else 0.0
        sheet.write(margin.left_mm + indent, at_mm, lines, color=colour)
    heard = _rule_words(months)
    if heard:
        sheet.write(margin.left_mm, sum(margin.heights[:3]) - 0.8, wrap(heard[0], width_mm))


def _bracket(sheet: Sheet, months: _Months, margin: _Margin, bracket: RangeBracket) -> None:
    top_mm, bottom_mm = (margin.down_mm(months.scale * value) for value in (bracket.high, bracket.low))
    axes = sheet.place(margin.left_mm - 1.0, top_mm, 2.0, bottom_mm - top_mm, frameon=False)
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.plot([0, 1, 1, 0], [1, 1, 0, 0], color=style.SECOND_INK, linewidth=1.0, clip_on=False, gid="published range")


def _apart(
    blocks: list[tuple[float, list[str], str]], top_mm: float, bottom_mm: float
) -> list[tuple[float, list[str], str]]:
    """Put blocks of lines near their places without overlap, from the top down."""
    placed: list[tuple[float, list[str], str]] = []
    reach = top_mm
    total = sum(len(lines) for _, lines, _ in blocks) * line_height_mm() + 2.0 * len(blocks)
    for middle, lines, colour in sorted(blocks, key=lambda block: block[0]):
        height = len(lines) * line_height_mm()
        total -= height + 2.0
        at_mm = min(max(reach, middle - height / 2), max(reach, bottom_mm - height - total))
        placed.append((at_mm, lines, colour))
        reach = at_mm + height + 2.0
    return placed
