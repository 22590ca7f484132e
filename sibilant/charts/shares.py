"""Correct by ear over the days of the probes, each with its interval: the picture for those who read no figures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..terms.by_ear import Accuracy
from ..terms.case_view import CaseView
from ..terms.summaries import SessionSummary
from . import style, wording
from .lettering import text_width_mm
from .sheet import MARGIN_MM, Heading, begin, quiet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT_MM = MARGIN_MM + 10.0  # numbers of the axis
Point = tuple[SessionSummary, Accuracy]


def alike_probes(view: CaseView) -> tuple[Point, ...]:
    """Return the judged probes at the level and cue of the last judged one: what may stand in one row.

    Examples
    --------
    A client without a probe has none.

    >>> from sibilant.terms.clinic import Client
    >>> alike_probes(CaseView(Client("C-7QXK", 80, dt.date(2026, 1, 12)), ("centroid_hz",), ()))
    ()
    """
    judged = [(one, one.accuracy) for one in view.summaries if one.accuracy is not None and one.accuracy.n_scored]
    if not judged:
        return ()
    last = judged[-1][0].session
    return tuple(p for p in judged if (p[0].session.level, p[0].session.cue) == (last.level, last.cue))


@style.drawn
def shares_chart(view: CaseView, *, width_mm: float = style.FULL_WIDTH_MM, body_mm: float = 46.0) -> Figure:
    """Draw the share heard as correct over the days of the probes, with what chance alone could make of it.

    Raises
    ------
    ValueError
        When no probe was judged.
    """
    points = alike_probes(view)
    if not points:
        raise ValueError(f"{view.client.code} has no judged probe to show")
    note = "Bars: where the true share may lie with so few sounds (95\u2009% interval)."
    sheet = begin(Heading("", "Correct by ear, in percent", f"{wording.who(view.client)} · {note}"), width_mm, body_mm)
    axes = sheet.place(_LEFT_MM, 3.0, width_mm - _LEFT_MM - MARGIN_MM - 6.0, body_mm - 11.0)
    quiet(axes)
    axes.set_ylim(0, 100)
    axes.set_yticks([0, 25, 50, 75, 100], ["0", "25", "50", "75", "100\u2009%"])
    days = [float(one.on.toordinal()) for one, _ in points]
    pad = max(4.0, 0.05 * (max(days) - min(days)))
    axes.set_xlim(min(days) - pad, max(days) + pad)
    _draw(axes, points, days)
    _day_ticks(axes, [one.on for one, _ in points], width_mm - _LEFT_MM - MARGIN_MM - 6.0)
    sheet.figure.set_label(shares_alt(points))
    return sheet.figure


def _draw(axes: Axes, points: Sequence[Point], days: Sequence[float]) -> None:
    for day, (_, accuracy) in zip(days, points, strict=True):
        axes.vlines(day, 100 * accuracy.low, 100 * accuracy.high, colors=style.SECOND_INK, linewidth=1.6)
    shares = [100 * accuracy.share for _, accuracy in points]
    axes.plot(
        days,
        shares,
        color=style.BLUE,
        linewidth=1.0,
        marker="o",
        markersize=7,
        markeredgecolor=style.PAPER,
        gid="shares",
        zorder=5,
        clip_on=False,
    )


def _day_ticks(axes: Axes, days: Sequence[dt.date], width_mm: float) -> None:
    """The days of the probes along the bottom, those left out whose words would meet."""
    first, last = axes.get_xlim()
    shown: list[tuple[float, str]] = []
    end_mm = -1.0
    for day in days:
        text = f"{day.day} {wording.MONTHS[day.month - 1][:3]}\n{day.year}"
        middle_mm = width_mm * (day.toordinal() - first) / (last - first)
        half_mm = text_width_mm(text.split("\n")[0], style.BODY_PT) / 2 + 1.0
        if middle_mm - half_mm >= end_mm:
            shown.append((float(day.toordinal()), text))
            end_mm = middle_mm + half_mm
    axes.set_xticks([day for day, _ in shown], [text for _, text in shown])


def shares_alt(points: Sequence[Point]) -> str:
    """State in words what the chart shows."""
    told = ", ".join(f"{a.n_correct} of {a.n_scored} on {wording.day_text(one.on)}" for one, a in points)
    return f"Heard as correct: {told}."
