"""Change over sessions: points with intervals, the baseline's band, phases, events, and accuracy by ear beneath."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..errors import OutputError
from ..terms import Method
from ..terms.by_ear import Accuracy
from ..terms.case_view import CaseView
from ..terms.change import UNJUDGED
from ..terms.summaries import MeasureSummary, SessionSummary
from . import style, wording
from .lettering import line_height_mm, wrap
from .month_marks import (
    FLAG_ROW_MM,
    MOST_NAMED,
    Months,
    RangeBracket,
    draw_accuracy,
    draw_flags,
    draw_main,
    draw_phases,
    flag_rows,
)
from .sheet import MARGIN_MM, Heading, Sheet, begin

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PHASE_MM = 5.0  # strip that names the phases
_ACCURACY_MM = 15.0  # strip of what was heard
_FOOT_MM = 9.5  # cautions beneath
_AXIS_MM = 9.0  # dates beneath the lowest panel


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
    view : CaseView
        The client, computed once; sessions whose figures are held back until they are judged are left out.
    method : Method
        The method of the client's figures, for band and weighting.
    key : str
        The measure; the main one when empty.
    bracket : RangeBracket, optional
        A published range that fits.
    no_range : str
        The sentence that says why none is shown.
    width_mm : float
        170 or 85; the narrow one puts the margin's words beneath.
    in_report : bool
        Lower, and without the notes that a report prints itself.

    Returns
    -------
    Figure
        Its label (``alt_text``) states the finding in a sentence.

    Raises
    ------
    OutputError
        When no session has the measure.
    """
    key = key or view.main_measure
    measure = wording.measure_of(key)
    sessions = _shown(view, key)
    factor, unit = wording.scale_of(measure)
    months = Months(view, key, sessions, view.error_of(key), factor, unit, _month_limits(view))
    side = _Side(method, bracket, no_range)
    figure = _drawn_months(months, side, width_mm, in_report=in_report)
    figure.set_label(months_alt(view, key))
    return figure


def session_places(figure: Figure, view: CaseView, key: str) -> dict[int, tuple[float, float]]:
    """Return where each session stands on a months chart: shares of its width and of its height from the top."""
    factor = wording.scale_of(wording.measure_of(key))[0]
    axes, back = figure.axes[0], figure.transFigure.inverted()
    found = {}
    for session, summary in wording.summary_of(view, key):
        across, up = back.transform(axes.transData.transform((session.month, factor * summary.mean)))
        if math.isfinite(up):
            found[session.number] = (float(across), 1.0 - float(up))
    return found


@dataclass(frozen=True, slots=True)
class _Side:
    """What stands beside the data: the method, and a range or why there is none."""

    method: Method
    bracket: RangeBracket | None
    no_range: str


def _drawn_months(months: Months, side: _Side, width_mm: float, *, in_report: bool) -> Figure:
    wide = width_mm >= 120
    plot_mm = width_mm - MARGIN_MM - _AXIS_MM - (38.0 if wide else MARGIN_MM)
    flags = flag_rows(months, plot_mm)
    main_mm = 25.0 if in_report else 58.0 if wide else 50.0
    low_mm = 11.0 if in_report else _ACCURACY_MM
    heights = (_PHASE_MM, main_mm, FLAG_ROW_MM * len(flags) + 3.0, low_mm if _is_judged(months.view) else 0.0)
    sheet = begin(_heading(months, side, wide=wide, in_report=in_report), width_mm, sum(heights) + _FOOT_MM)
    left_mm = MARGIN_MM + _AXIS_MM
    top = sheet.place(left_mm, heights[0], plot_mm, heights[1])
    draw_main(top, months, side.bracket, narrow=not wide)
    draw_phases(top, months, plot_mm)
    draw_flags(sheet.place(left_mm, heights[0] + heights[1], plot_mm, heights[2]), months, flags)
    bottom = top
    if heights[3]:
        bottom = sheet.place(left_mm, sum(heights[:3]), plot_mm, heights[3])
        draw_accuracy(bottom, months)
    _month_axis(bottom, months, sheet, sum(heights) if heights[3] else sum(heights[:2]), left_mm + plot_mm / 2)
    if wide:
        _margin(sheet, months, _Margin(left_mm + plot_mm + 3.0, heights, top.get_ylim()), side)
    return sheet.figure


def _heading(months: Months, side: _Side, *, wide: bool, in_report: bool) -> Heading:
    caption = _caption(months, side.method)
    if in_report:
        apart = any(session.apart_in(months.key) for session, _ in months.sessions)
        more = ("Open squares stand apart, not joined: other conditions, or a narrower band.",) if apart else ()
        brief = wording.Caption(caption.who, wording.method_short(side.method), caption.counted, more=more)
        return Heading("", _subtitle(months), brief.text)
    note = caption.text if wide else _narrow_note(months, side)
    return Heading(wording.change_sentence(months.view, months.key), _subtitle(months), note)


def _shown(view: CaseView, key: str) -> tuple[tuple[SessionSummary, MeasureSummary], ...]:
    sessions = wording.summary_of(view, key)
    if not sessions:
        raise OutputError(f"{view.client.code}: no session has {key} to show yet; choose another measure")
    return sessions


def months_alt(view: CaseView, key: str = "") -> str:
    """State in words what the months chart shows, without drawing it.

    Raises
    ------
    OutputError
        When no session has the measure.
    """
    key = key or view.main_measure
    measure = wording.measure_of(key)
    points = ", ".join(
        f"{wording.day_text(session.on)}: {wording.interval_text(measure, summary.mean, summary.low, summary.high)}"
        for session, summary in _shown(view, key)
    )
    return f"{wording.change_sentence(view, key)}. {wording.capital(measure.name)} by session, {points}."


def _month_limits(view: CaseView) -> tuple[float, float]:
    months = [summary.month for summary in view.summaries] or [0.0]
    pad = max(0.35, 0.05 * (max(months) - min(months)))
    return min(months) - pad, max(months) + pad


def _is_judged(view: CaseView) -> bool:
    return any(summary.accuracy and summary.accuracy.n_scored for summary in view.summaries)


def _subtitle(months: Months) -> str:
    measure = wording.measure_of(months.key)
    what = f"{wording.capital(measure.plain_name)} ({measure.name} of /s/)"
    return f"{what}; bars: 95\u2009% intervals over words; faint dots: words"


def _caption(months: Months, method: Method) -> wording.Caption:
    counted = f"{_counts([summary for _, summary in months.sessions])} sounds measured"
    apart = _apart_words(months)
    changes = months.view.changes_of(months.key)
    named = wording.reference_words(months.view)
    unjudged = changes[-1].reasons if changes and changes[-1].verdict == UNJUDGED else ()
    why = (f"The latest probe cannot be judged against the {named}: {wording.brief(unjudged)}.",) if unjudged else ()
    n_held = sum(not summary.shown for summary in months.view.summaries)
    held = (f"{n_held} session(s) held back until judged by ear.",) if n_held else ()
    scored = _scored(months)
    rule = (f"Judged by ear: {scored[-1].rule}.",) if scored else ()
    closing = f"{style.SUPPORTING} {style.NO_CAUSE}"
    return wording.Caption(
        wording.who(months.view.client),
        wording.method_text(method),
        counted,
        more=(*_error_words(months), *rule, *apart, *why, *held, closing),
    )


def _counts(summaries: Sequence[MeasureSummary]) -> str:
    """How many were measured of how many expected, such as ``13 to 20 of 20``."""
    measured = sorted({summary.n_measured for summary in summaries})
    expected = sorted({summary.n_expected for summary in summaries})
    return " of ".join(" to ".join(str(n) for n in dict.fromkeys((some[0], some[-1]))) for some in (measured, expected))


def _apart_words(months: Months) -> tuple[str, ...]:
    apart = [session for session, _ in months.sessions if session.apart_in(months.key)]
    if len(apart) > MOST_NAMED:
        first = wording.brief(apart[0].apart_in(months.key), 1)
        return (f"{len(apart)} probes (open squares) stand apart, not joined; the first: {first}.",)
    named = [(wording.day_text(one.on), wording.brief(one.apart_in(months.key))) for one in apart]
    own = any(math.isfinite(change.baseline) for change in months.view.changes_of(months.key))
    more = ("Hatched beside them: the baseline in the narrower band ± its own limit.",) if own else ()
    return (*(f"{day} stands apart, not joined: {why}." for day, why in named), *more)


def _error_words(months: Months) -> tuple[str, ...]:
    error = months.error
    measure = wording.measure_of(months.key)
    named = wording.reference_words(months.view)
    probes = "probes" if named.endswith("probes") else f"{named} probes"
    if error is None or not math.isfinite(error.limit):
        reasons = wording.brief(error.reasons) if error is not None else ""
        return (f"No band, since error cannot be judged: {reasons or f'fewer than three {probes}'}.",)
    sem, sdc = (wording.quantity(measure, value, value) for value in (error.sem, error.sdc))
    return (
        f"Hatched: mean of the {named} ± {wording.limit_text(error)}, the limit within which one later probe may differ"
        f" by measurement error alone ({error.k} {probes}{wording.more_clients(error)}); standard error of measurement"
        f" {sem}, smallest detectable change {sdc}.",
    )


def _narrow_note(months: Months, side: _Side) -> str:
    bracket, no_range = side.bracket, side.no_range
    extra = (f"Bracket: {bracket.text} Source: {bracket.source}",) if bracket else (no_range,) if no_range else ()
    heard = _rule_words(months)
    caption = _caption(months, side.method)
    return "\n".join((*(f"Beneath: {line}" for line in heard), caption.text, *extra))


def _rule_words(months: Months) -> tuple[str, ...]:
    scored = _scored(months)
    if not scored:
        return ()
    counts = sorted({accuracy.n_scored for accuracy in scored})
    n = f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"
    return (f"judged correct by ear, with 95\u2009% interval ({n} sounds)",)


def _scored(months: Months) -> list[Accuracy]:
    return [s.accuracy for s in months.view.summaries if s.accuracy and s.accuracy.n_scored]


def _first_named(view: CaseView) -> str:
    return "baseline" if view.reference == "baseline" else "probe"


def _month_axis(axes: Axes, months: Months, sheet: Sheet, below_mm: float, centre_mm: float) -> None:
    first, last = months.x_limits
    step = max(1, math.ceil((last - first) / (9 if sheet.narrow else 15)))
    ticks = [tick for tick in range(math.ceil(first), math.floor(last) + 1) if tick % step == 0]
    axes.set_xticks(ticks, [str(tick).replace("-", wording.MINUS) for tick in ticks])
    sheet.write(centre_mm, below_mm + 4.6, [f"months since the first {_first_named(months.view)}"], ha="center")


@dataclass(frozen=True, slots=True)
class _Margin:
    left_mm: float
    heights: tuple[float, float, float, float]
    y_limits: tuple[float, float]

    def down_mm(self, value: float) -> float:
        """Millimetres from the body's top to a value on the upright axis."""
        low, high = self.y_limits
        return self.heights[0] + self.heights[1] * (1 - (value - low) / (high - low))


def _margin(sheet: Sheet, months: Months, margin: _Margin, side: _Side) -> None:
    bracket, no_range = side.bracket, side.no_range
    width_mm = sheet.width_mm - margin.left_mm - MARGIN_MM
    blocks: list[tuple[float, list[str], str]] = []
    error = months.error
    if error and math.isfinite(error.limit):
        named = wording.reference_words(months.view)
        lines = wrap(f"{named} ± what could be measurement error", width_mm)
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


def _bracket(sheet: Sheet, months: Months, margin: _Margin, bracket: RangeBracket) -> None:
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
