"""Groups of speakers: raw points under summaries, effects with intervals, and how well groups are told apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from ..study import Effect, Evaluation, Prepared
from ..terms import MEASURES, Method
from . import style, wording
from .lettering import line_height_mm, text_width_mm, wrap
from .sheet import MARGIN_MM, Heading, Sheet, begin, named_rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Values = npt.NDArray[np.float64]
DESCRIBED = "Groups are described; nobody is diagnosed."
MOST_POINTS = 3000  # more are thinned: a dot each no longer shows
_ROW_MM = 11.0  # a group
_EFFECT_MM = 5.6  # an effect
_CELL_MM = 7.0  # a cell's height
_WHITE = "#FFFFFF"
"""What these figures stand on: a page of a thesis or a journal."""


@style.drawn
def groups_chart(
    prepared: Prepared,
    measure: str,
    *,
    method: Method | None = None,
    who: str = "",
    width_mm: float = style.FULL_WIDTH_MM,
) -> Figure:
    """Draw every token, each speaker's mean, and each group's mean over speakers with its 95 % interval.

    Parameters
    ----------
    prepared : Prepared
        The tokens of a study.
    measure : str
        Key of ``MEASURES``, or another column of numbers.
    method : Method, optional
        How spectra were taken.
    who : str
        Whose data, such as the mark of invented data.
    width_mm : float
        Width on paper.
    """
    factor, label = _scaled(measure, method)
    counts = prepared.speaker_counts(measure)
    names = [
        f"{group}  n\u2009=\u2009{int((counts[group] > 0).sum())} ({int(counts[group].sum())})"
        for group in prepared.groups
    ]
    heading = Heading(
        f"{wording.capital(_name(measure))} by group",
        "Faint: tokens. Circles: means of speakers. Bars: mean over speakers with its 95\u2009% interval."
        " n: speakers (tokens).",
        _note(prepared, method, who),
    )
    labels = _labels(names, width_mm)
    sheet = begin(heading, width_mm, _ROW_MM * len(names) + 12.0)
    values = prepared.tokens[measure].to_numpy(dtype=float) * factor
    axes = _rows(sheet, labels, values[np.isfinite(values)].tolist(), label, _ROW_MM)
    means = prepared.speaker_means(measure) * factor
    told = []
    for row, group in enumerate(prepared.groups):
        own = values[(prepared.tokens["group"] == group).to_numpy() & np.isfinite(values)]
        told.append(_group(axes, row, own, means[group].dropna().to_numpy(dtype=float), group))
    sheet.figure.set_label(f"{heading.title}. {label}: {'; '.join(told)}.")
    return _on_white(sheet)


def _group(axes: Axes, row: int, tokens: Values, speakers: Values, name: str) -> str:
    """One row of points; return it in words."""
    from scipy.special import stdtrit

    shown = tokens[:: max(1, math.ceil(tokens.size / MOST_POINTS))]
    scatter = np.random.default_rng([row, shown.size]).uniform(0.08, 0.4, shown.size)
    axes.plot(shown, row + scatter, marker=".", markersize=2.2, linestyle="none", color=style.SECOND_INK, alpha=0.35,
              markeredgewidth=0, rasterized=shown.size > 1000, gid="tokens")  # fmt: skip
    axes.plot(speakers, np.full(speakers.size, row - 0.05), marker="o", markersize=3.6, linestyle="none",
              markerfacecolor=_WHITE, markeredgecolor=style.BLUE, markeredgewidth=0.9, gid="speakers")  # fmt: skip
    if speakers.size < 2:
        return f"{name} {speakers.size} speakers"
    middle = float(speakers.mean())
    half = float(stdtrit(max(1, speakers.size - 1), 0.975) * speakers.std(ddof=1) / math.sqrt(speakers.size))
    axes.hlines(row - 0.3, middle - half, middle + half, colors=style.INK, linewidth=1.8)
    axes.plot([middle], [row - 0.3], marker="|", markersize=8, markeredgewidth=1.8, color=style.INK, gid="mean")
    return f"{name} {middle:.3g} ({middle - half:.3g} to {middle + half:.3g}), {speakers.size} speakers"


@style.drawn
def effects_chart(
    effects: Sequence[Effect], prepared: Prepared, *, who: str = "", width_mm: float = style.FULL_WIDTH_MM
) -> Figure:
    """Draw standardised differences between groups with their 95 % intervals, one row each.

    Raises
    ------
    ValueError
        Without an effect that could be computed.
    """
    shown = [effect for effect in effects if math.isfinite(effect.g)]
    if not shown:
        raise ValueError("no difference could be computed, so there is none to draw")
    measures = list(dict.fromkeys(effect.measure for effect in shown))
    one = len(measures) == 1
    names = [
        f"{e.second} \u2212 {e.first}  n\u2009=\u2009{_n_of(e)}"
        if one
        else f"{wording.capital(_name(e.measure))}  n\u2009=\u2009{_n_of(e)}"
        for e in shown
    ]
    what = f"{wording.capital(_name(measures[0]))}: differences" if one else f"{names_of(shown[0])}: differences"
    heading = Heading(
        f"{what} over speaker means",
        "Hedges's g with its 95\u2009% interval; filled where p by permutation, after Holm, is below 0.05. n:"
        " speakers.",
        _note(prepared, None, who),
    )
    labels = _labels(names, width_mm)
    row_mm = _EFFECT_MM + line_height_mm() * max(label.count("\n") for label in labels)
    sheet = begin(heading, width_mm, row_mm * len(names) + 12.0)
    ends = [0.0, *(value for effect in shown for value in (effect.g_low, effect.g_high))]
    axes = _rows(sheet, labels, ends, "Hedges's g", row_mm)
    axes.axvline(0, color=style.SECOND_INK, linewidth=0.7)
    for row, effect in enumerate(shown):
        axes.hlines(row, effect.g_low, effect.g_high, colors=style.BLUE, linewidth=1.6)
        filled = effect.p_holm < 0.05
        axes.plot([effect.g], [row], marker="o", markersize=5.0, color=style.BLUE, linestyle="none",
                  markerfacecolor=style.BLUE if filled else _WHITE, gid="effect")  # fmt: skip
    told = "; ".join(f"{n} {e.g:.2f} ({e.g_low:.2f} to {e.g_high:.2f})" for n, e in zip(names, shown, strict=True))
    sheet.figure.set_label(f"{heading.title}. Hedges's g: {told}.")
    return _on_white(sheet)


def _n_of(effect: Effect) -> str:
    """Speakers of a difference: the pairs, or both groups'."""
    return str(effect.n_first) if effect.kind == "paired" else f"{effect.n_first} + {effect.n_second}"


def names_of(effect: Effect) -> str:
    """The two groups of an effect in words."""
    return f"{wording.capital(effect.second)} less {effect.first}"


@style.drawn
def confusion_chart(evaluation: Evaluation, *, who: str = "", width_mm: float = style.HALF_WIDTH_MM) -> Figure:
    """Draw how tokens of unseen speakers were told apart: rows as they are grouped, columns as called, in per cent."""
    n = len(evaluation.groups)
    heading = Heading(
        f"{wording.capital(evaluation.name)}: balanced accuracy {wording.percent(evaluation.balanced_accuracy)}, chance"
        f" {wording.percent(evaluation.chance)}",
        "Rows: the group. Columns: what a token of a speaker not heard before was called, in per cent of the row, and"
        " how many tokens.",
        " · ".join(
            part
            for part in (who, f"{evaluation.n_tokens} tokens, {evaluation.n_speakers} speakers,"
                         f" {evaluation.n_folds} folds by speaker", DESCRIBED) if part
        ),
    )  # fmt: skip
    names = _labels(evaluation.groups, width_mm)
    cell_mm = min(18.0, (width_mm - 2 * MARGIN_MM - _wide_mm(names)) / n)
    numbered = any("\n" in name or text_width_mm(name, style.BODY_PT) > cell_mm - 1.0 for name in names)
    if numbered:
        names = _labels([f"{k} {name}" for k, name in enumerate(evaluation.groups, 1)], width_mm)
        cell_mm = min(18.0, (width_mm - 2 * MARGIN_MM - _wide_mm(names)) / n)
    label_mm = _wide_mm(names)
    row_mm = _CELL_MM + 1.5 + line_height_mm() * max(1, *(name.count("\n") for name in names))
    sheet = begin(heading, width_mm, row_mm * n + 9.0)
    axes = sheet.place(MARGIN_MM + label_mm, 6.0, cell_mm * n, row_mm * n)
    counts = np.array(evaluation.confusion, dtype=float)
    shares = 100 * counts / counts.sum(axis=1, keepdims=True)
    axes.imshow(shares, cmap=style.ink_map(), vmin=0, vmax=100, aspect="auto")
    for row in range(n):
        for column in range(n):
            colour = _WHITE if shares[row, column] > 55 else style.INK
            told = f"{shares[row, column]:.0f}\u2009%\n{counts[row, column]:.0f}"
            axes.text(column, row, told, ha="center", va="center", color=colour, fontsize=style.BODY_PT,
                      linespacing=1.0)  # fmt: skip
    axes.set_yticks(range(n), names)
    axes.set_xticks(range(n), [str(k) for k in range(1, n + 1)] if numbered else names)
    axes.tick_params(length=0, labelcolor=style.INK, labeltop=True, labelbottom=False)
    for side in axes.spines.values():
        side.set_visible(False)
    told = "; ".join(f"{name}: {shares[k, k]:.0f} % called so" for k, name in enumerate(evaluation.groups))
    sheet.figure.set_label(f"{heading.title}. {told}.")
    return _on_white(sheet)


def _on_white(sheet: Sheet) -> Figure:
    from matplotlib.patches import Rectangle

    whole = Rectangle((0, 0), 1, 1, transform=sheet.figure.transFigure, facecolor=_WHITE, linewidth=0, zorder=-10)
    sheet.figure.add_artist(whole)
    return sheet.figure


def _labels(names: Sequence[str], width_mm: float) -> list[str]:
    """Names of rows, broken into lines that leave more than half of the width to the drawing."""
    return ["\n".join(wrap(name, 0.4 * width_mm)) for name in names]


def _wide_mm(labels: Sequence[str]) -> float:
    return max(text_width_mm(line, style.BODY_PT) for label in labels for line in label.split("\n")) + 3.0


def _rows(sheet: Sheet, names: Sequence[str], values: Sequence[float], label: str, row_mm: float) -> Axes:
    label_mm = _wide_mm(names)
    width = sheet.width_mm - 2 * MARGIN_MM - label_mm - 3.0
    axes = sheet.place(MARGIN_MM + label_mm, 0.5, width, row_mm * len(names))
    named_rows(axes, names, values, label)
    return axes


def _name(measure: str) -> str:
    return MEASURES[measure].name if measure in MEASURES else measure


def _scaled(measure: str, method: Method | None) -> tuple[float, str]:
    if measure not in MEASURES:
        return 1.0, measure
    declared = MEASURES[measure]
    return wording.scale_of(declared)[0], wording.axis_label(declared, method)


def _note(prepared: Prepared, method: Method | None, who: str) -> str:
    counted = f"{prepared.n_tokens} tokens of {prepared.n_speakers} speakers"
    head = " · ".join(part for part in (who, wording.method_text(method) if method else "", counted) if part)
    return f"{head}\n{DESCRIBED}"
