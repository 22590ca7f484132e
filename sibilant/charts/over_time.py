"""Over the months: how far apart a session's words lie, and how far /s/ and /ʃ/."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from ..terms import Method
from ..terms.case_view import CaseView
from ..terms.groups import Contrast
from ..terms.summaries import SpreadPoint
from . import style, wording
from .sheet import MARGIN_MM, Heading, begin, closing, month_ticks, quiet, upright

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT_MM = MARGIN_MM + 9.0  # numbers of the axis


@style.drawn
def spread_chart(view: CaseView, *, method: Method, key: str = "", width_mm: float = style.FULL_WIDTH_MM) -> Figure:
    """Draw how far apart a session's words lie (SD over words, with its interval) over the months.

    Raises
    ------
    ValueError
        When no session has a spread to show.
    """
    key = key or view.main_measure
    measure = wording.measure_of(key)
    points = [point for point in view.spreads if point.key == key and math.isfinite(point.sd)]
    if not points:
        raise ValueError(f"{view.client.code} has no spread of {key} to show")
    factor, unit = wording.scale_of(measure)
    counts = sorted({point.n for point in points})
    counted = f"{' to '.join(str(n) for n in dict.fromkeys((counts[0], counts[-1])))} words a session"
    heading = Heading(
        _spread_sentence(points),
        f"SD of the {measure.name} over a session's words, with its 95\u2009% interval; small dashes: robust SD",
        closing(wording.who(view.client), method, counted),
    )
    sheet = begin(heading, width_mm, 58.0)
    axes = sheet.place(_LEFT_MM, 1.0, width_mm - _LEFT_MM - MARGIN_MM, 46.0)
    quiet(axes)
    upright(axes, [factor * v for p in points for v in (p.high, p.sd)], unit, from_zero=True)
    for point in points:
        axes.vlines(point.month, factor * point.low, factor * point.high, colors=style.BLUE, linewidth=1.6)
        axes.plot([point.month], [factor * point.robust], marker="_", markersize=7, color=style.INK, linestyle="none")
    axes.plot(
        [p.month for p in points],
        [factor * p.sd for p in points],
        color=style.BLUE,
        linewidth=1.0,
        marker="o",
        markersize=5.5,
        markeredgecolor=style.PAPER,
        gid="spread",
    )
    month_ticks(axes, [point.month for point in points])
    sheet.figure.set_label(_spread_alt(points, measure.key))
    return sheet.figure


def _spread_sentence(points: Sequence[SpreadPoint]) -> str:
    first, last = points[0], points[-1]
    if last.high < first.low:
        return "The words lie closer together in the last probe than in the first"
    if last.low > first.high:
        return "The words lie further apart in the last probe than in the first"
    return "How far apart the words lie: the intervals of the first and last probe overlap"


def _spread_alt(points: Sequence[SpreadPoint], key: str) -> str:
    measure = wording.measure_of(key)
    said = ", ".join(
        f"month {wording.month_text(p.month)}: {wording.interval_text(measure, p.sd, p.low, p.high)}" for p in points
    )
    return f"{_spread_sentence(points)}. SD over words by session, {said}."


def _separations(axes: Axes, contrasts: Sequence[Contrast], months: Mapping[int, float], factor: float) -> None:
    """Each session's separation with its interval, a question mark where it can't be judged."""
    judged = [one for one in contrasts if math.isfinite(one.difference)]
    for one in contrasts:
        at = months[one.session]
        if one in judged:
            axes.vlines(at, factor * one.low, factor * one.high, colors=style.VERMILLION, linewidth=1.6)
        else:
            axes.annotate("?", (at, 0), xytext=(0, 3), textcoords="offset points", ha="center")
    axes.plot(
        [months[o.session] for o in judged],
        [factor * o.difference for o in judged],
        color=style.VERMILLION,
        linewidth=1.0,
        marker="D",
        markersize=5,
        markeredgecolor=style.PAPER,
        gid="separation",
    )


@style.drawn
def separation_chart(
    view: CaseView,
    *,
    method: Method,
    key: str = "",
    values: Mapping[str, Sequence[float]] | None = None,
    width_mm: float = style.FULL_WIDTH_MM,
) -> Figure:
    """Draw how far /s/ and /ʃ/ of this speaker lie apart, by session; ``values`` (phone to values) shows the last.

    Raises
    ------
    ValueError
        Without a session in which both sounds were measured.
    """
    key = key or view.main_measure
    measure = wording.measure_of(key)
    months = {summary.number: summary.month for summary in view.summaries}
    contrasts = [one for one in view.contrasts if one.key == key and one.session in months]
    judged = [one for one in contrasts if math.isfinite(one.difference)]
    if not contrasts:
        raise ValueError(f"{view.client.code} has no session with /s/ and /ʃ/ to compare")
    factor, unit = wording.scale_of(measure)
    heading = Heading(
        _separation_sentence(judged), _separation_subtitle(measure.name), _separation_note(view, method, contrasts)
    )
    sheet = begin(heading, width_mm, 58.0)
    beside_mm = 40.0 if values and not sheet.narrow else 0.0
    axes = sheet.place(_LEFT_MM, 1.0, width_mm - _LEFT_MM - MARGIN_MM - beside_mm - 2.0, 46.0)
    quiet(axes)
    upright(axes, [factor * v for one in judged for v in (one.low, one.high)] or [0.0, 1.0], unit, from_zero=True)
    axes.axhline(0, color=style.SECOND_INK, linewidth=0.7)
    _separations(axes, contrasts, months, factor)
    month_ticks(axes, [months[one.session] for one in contrasts])
    if beside_mm and values:
        _two_sounds(
            sheet.place(width_mm - MARGIN_MM - beside_mm + 8.0, 4.0, beside_mm - 10.0, 43.0), values, factor, unit
        )
    sheet.figure.set_label(_separation_alt(judged, measure.key, months))
    return sheet.figure


def _separation_subtitle(name: str) -> str:
    return f"Difference of means, /s/ minus /ʃ/, in {name}, with 95\u2009% interval; ? cannot be judged"


def _separation_sentence(judged: Sequence[Contrast]) -> str:
    if not judged:
        return "How far /s/ and /ʃ/ lie apart cannot be judged yet"
    last = judged[-1]
    if last.low > 0:
        return "/s/ lies above /ʃ/ in the last probe that can be judged"
    if last.high < 0:
        return "/s/ lies below /ʃ/ in the last probe that can be judged"
    return "/s/ and /ʃ/ cannot be told apart by this measure in the last probe"


def _separation_note(view: CaseView, method: Method, contrasts: Sequence[Contrast]) -> str:
    last = contrasts[-1]
    counted = f"{last.n_s} /s/ and {last.n_sh} /ʃ/ in the last probe"
    more = []
    if math.isfinite(last.auc):
        auc, low, high, overlap = (
            wording.number(v, 0.01) for v in (last.auc, last.auc_low, last.auc_high, last.overlap)
        )
        more.append(f"Last probe: area under the ROC curve {auc} ({low} to {high}), overlap {overlap}.")
    unjudged = [one for one in contrasts if one.reasons]
    if unjudged:
        n = f"{len(unjudged)} of {len(contrasts)} probes"
        more.append(f"Cannot be judged in {n}; the last of them: {wording.brief(unjudged[-1].reasons)}.")
    if last.left_out:
        more.append(f"{wording.capital(wording.spelled(last.left_out_words))}.")
    return closing(wording.who(view.client), method, counted, *more)


def _separation_alt(judged: Sequence[Contrast], key: str, months: Mapping[int, float]) -> str:
    measure = wording.measure_of(key)
    said = ", ".join(
        f"month {wording.month_text(months[o.session])}: {wording.interval_text(measure, o.difference, o.low, o.high)}"
        for o in judged
    )
    return f"{_separation_sentence(judged)}. Difference by session: {said or 'none can be judged'}."


def _two_sounds(axes: Axes, values: Mapping[str, Sequence[float]], factor: float, unit: str) -> None:
    quiet(axes)
    shown = [(phone, [factor * v for v in some if math.isfinite(v)]) for phone, some in values.items()]
    upright(axes, [v for _, some in shown for v in some], unit)
    axes.set_title("last probe", fontsize=style.BODY_PT, color=style.SECOND_INK, loc="left", pad=3)
    axes.set_xlim(-0.6, len(shown) - 0.4)
    axes.set_xticks(range(len(shown)), [style.phone_sign(phone) for phone, _ in shown])
    axes.tick_params(axis="x", length=0, labelcolor=style.INK)
    for place, (phone, some) in enumerate(shown):
        across = [place + 0.4 * (((0.618 * number) % 1) - 0.5) for number in range(len(some))]
        marker = "o" if phone.upper() == "S" else "^"
        axes.plot(
            across,
            some,
            linestyle="none",
            marker=marker,
            markersize=3.2,
            alpha=0.65,
            markeredgecolor="none",
            color=style.phone_colour(phone),
            gid=phone,
        )
