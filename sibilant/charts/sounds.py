"""Single sounds: words said three times, and what was measured beside what was heard."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..terms import Method
from ..terms.case_view import CaseView
from ..terms.groups import SetOfThree
from . import style, wording
from .sheet import MARGIN_MM, Heading, begin, closing, haloed, named_rows, quiet, upright

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT_MM = MARGIN_MM + 9.0  # numbers of the axis
HEARD_MARKS: Mapping[str, tuple[str, str]] = {
    "correct": ("o", "full"),
    "approximation": ("o", "none"),
    "distorted": ("o", "left"),
    "substituted": ("s", "full"),
    "omitted": ("_", "full"),
    "added": ("P", "full"),
    "no_response": (".", "none"),
    "not_scorable": ("X", "full"),
}
"""Mark and fill of what was heard; always drawn beside its word."""


@dataclass(frozen=True, slots=True)
class SaidThrice:
    """One set of three: the word and the measure's value at the first, second and third saying (NaN: not measured)."""

    word: str
    values: tuple[float, float, float]


@style.drawn
def sets_chart(
    sets: Sequence[SaidThrice], result: SetOfThree, *, method: Method, who: str, width_mm: float = style.FULL_WIDTH_MM
) -> Figure:
    """Draw words said three times: one line a set, solid where the third lies lower than the first.

    Raises
    ------
    ValueError
        Without a set.
    """
    if not sets:
        raise ValueError("there are no sets of three to show")
    measure = wording.measure_of(result.key)
    factor, unit = wording.scale_of(measure)
    p = "" if result.p is None else f"; p = {result.p:.3f} ({result.formula})"
    heading = Heading(
        wording.capital(result.sentence),
        f"{wording.capital(measure.name)} at each saying; solid: third lower than first, dashed: not lower{p}",
        closing(who, method, f"{result.n_sets} sets", *(f"{wording.capital(r)}." for r in result.reasons)),
    )
    sheet = begin(heading, width_mm, 60.0)
    axes = sheet.place(_LEFT_MM, 1.0, width_mm - _LEFT_MM - MARGIN_MM - 24.0, 48.0)
    quiet(axes)
    upright(axes, [factor * v for one in sets for v in one.values], unit)
    axes.set_xlim(-0.15, 2.1)
    axes.set_xticks([0, 1, 2], ["first", "second", "third"])
    ends: list[tuple[float, str]] = []
    for one in sets:
        falls = one.values[2] < one.values[0]
        axes.plot(
            [0, 1, 2],
            [factor * v for v in one.values],
            color=style.BLUE if falls else style.SECOND_INK,
            marker="o",
            markersize=3.5,
            linewidth=1.1,
            linestyle="solid" if falls else (0, (4, 2)),
            gid="set",
        )
        last = next((v for v in reversed(one.values) if math.isfinite(v)), math.nan)
        ends.append((factor * last, one.word))
    _end_names(axes, ends)
    sheet.figure.set_label(
        f"{wording.capital(result.sentence)}, in {measure.name}. Words: {', '.join(s.word for s in sets)}."
    )
    return sheet.figure


def _end_names(axes: Axes, ends: Sequence[tuple[float, str]]) -> None:
    """Write each word at its line's end, pushed apart so that none covers another."""
    low, high = axes.get_ylim()
    gap = (high - low) * 0.075
    reach = -math.inf
    for value, word in sorted(end for end in ends if math.isfinite(end[0])):
        reach = max(value, reach + gap)
        axes.annotate(
            word,
            (2, value),
            xytext=(2.16, reach),
            textcoords="data",
            va="center",
            color=style.INK,
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": style.HAIRLINE, "linewidth": 0.6},
        )


@style.drawn
def heard_chart(view: CaseView, *, method: Method, key: str = "", width_mm: float = style.FULL_WIDTH_MM) -> Figure:
    """Draw what was measured, grouped by what a person heard; nothing is derived from one for the other.

    Raises
    ------
    ValueError
        When no sound has both a value and a judgement.
    """
    key = key or view.main_measure
    measure = wording.measure_of(key)
    groups = _by_heard(view, key)
    if not groups:
        raise ValueError(f"{view.client.code} has no sound of {key} that was judged")
    factor, unit = wording.scale_of(measure)
    total = sum(len(values) for _, values in groups)
    heading = Heading(
        "What was heard, and what was measured in the same sounds",
        f"Each mark is one sound, in the row of what a person heard; upright line: the row's median {measure.name}",
        closing(
            wording.who(view.client),
            method,
            f"{total} sounds",
            "Rows may overlap: a place on this axis does not tell how a sound was heard.",
        ),
    )
    sheet = begin(heading, width_mm, 9.0 * len(groups) + 12.0)
    axes = sheet.place(MARGIN_MM + 27.0, 0.5, width_mm - 2 * MARGIN_MM - 30.0, 9.0 * len(groups))
    names = [f"{name.replace('_', ' ')} ({len(values)})" for name, values in groups]
    scaled = [factor * value for _, values in groups for value in values]
    named_rows(axes, names, scaled, wording.axis_label(measure, method))
    for row, (name, values) in enumerate(groups):
        _heard_row(axes, row, name, [factor * value for value in values])
    said = "; ".join(f"{name}: {len(v)}, median {wording.quantity(measure, _median(v), 50.0)}" for name, v in groups)
    sheet.figure.set_label(f"{wording.capital(measure.name)} by what was heard ({unit or measure.unit}). {said}.")
    return sheet.figure


def _by_heard(view: CaseView, key: str) -> list[tuple[str, list[float]]]:
    found: dict[str, list[float]] = {}
    for _, summary in wording.summary_of(view, key):
        for word in summary.words:
            if word.heard is not None and math.isfinite(word.value):
                found.setdefault(word.heard, []).append(word.value)
    return [(name, found[name]) for name in HEARD_MARKS if name in found]


def _heard_row(axes: Axes, row: int, name: str, values: Sequence[float]) -> None:
    marker, fill = HEARD_MARKS[name]
    up = [row + 0.5 * (((0.618 * number) % 1) - 0.5) for number in range(len(values))]
    settings: dict[str, Any] = {
        "marker": marker,
        "markersize": 4.2,
        "linestyle": "none",
        "alpha": 0.75,
        "color": style.BLUE,
    }
    if marker not in "_X.":
        settings |= {"fillstyle": fill, "markerfacecoloralt": style.PAPER, "markeredgewidth": 0.7}
    axes.plot(values, up, gid=name, **settings)
    axes.vlines(_median(values), row - 0.38, row + 0.38, colors=style.INK, linewidth=1.4, path_effects=haloed())


def _median(values: Sequence[float]) -> float:
    ordered, middle = sorted(values), len(values) // 2
    return ordered[middle] if len(ordered) % 2 else 0.5 * (ordered[middle - 1] + ordered[middle])
