"""The client's own contexts: position, cluster and vowel, with n and intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..terms import Method
from ..terms.case_view import CaseView
from ..terms.groups import ContextCell
from . import style, wording
from .lettering import text_width_mm, wrap
from .sheet import MARGIN_MM, Heading, begin, closing, named_rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_ROW_MM = 5.6  # two lines of body type
_LINE_MM = 3.4
"""What a row grows by for each further line of a name that half the width can't hold."""


def _title(name: str, ranked: Sequence[ContextCell]) -> str:
    """What the picture shows: contexts whose drawn means are highest and lowest, where they are told apart at all."""
    if len(ranked) < 2:
        return "Too few sounds to rank contexts"
    if len({cell.rank for cell in ranked}) == 1:
        return f"No context differs from the others in {name} by more than chance may do"
    lowest, *_, highest = sorted(ranked, key=lambda cell: cell.mean)
    return f"The {name} is highest in {highest.name}, lowest in {lowest.name}"


def _draw(axes: Axes, cells: Sequence[ContextCell], factor: float) -> None:
    """One row a context: mean and interval, hollow and thin where it stands unranked."""
    for row, cell in enumerate(cells):
        shown = cell.rank is not None
        axes.hlines(row, factor * cell.low, factor * cell.high, colors=style.BLUE, linewidth=1.6 if shown else 0.8)
        axes.plot(
            [factor * cell.mean],
            [row],
            marker="o",
            markersize=5.5,
            color=style.BLUE,
            markerfacecolor=style.BLUE if shown else style.PAPER,
            linestyle="none",
            gid="context",
        )


@style.drawn
def context_map(view: CaseView, *, method: Method, key: str = "", width_mm: float = style.FULL_WIDTH_MM) -> Figure:
    """Draw the client's own contexts by their places, with n and interval; under eight sounds they stand unranked.

    Raises
    ------
    ValueError
        Without a context to show.
    """
    key = key or view.main_measure
    measure = wording.measure_of(key)
    cells = [cell for cell in view.contexts if cell.key == key and math.isfinite(cell.mean)]
    if not cells:
        raise ValueError(f"{view.client.code} has no contexts of {key} to show")
    cells = sorted(cells, key=lambda cell: (cell.rank is None, cell.rank or 0, -cell.mean))
    ranked = [cell for cell in cells if cell.rank is not None]
    title = _title(measure.name, ranked)
    heading = Heading(
        title,
        f"{wording.capital(measure.name)} by context, mean with 95\u2009% interval; hollow: too few to rank",
        closing(
            wording.who(view.client),
            method,
            f"{sum(c.n for c in cells)} sounds, pooled over probes",
            "A place in the order says where the figure is high or low, not what to practise.",
        ),
    )
    names = [f"{cell.name}  n\u2009=\u2009{cell.n}" for cell in cells]
    label_mm = min(max(text_width_mm(name, style.BODY_PT) for name in names) + 3.0, 0.5 * width_mm)
    broken = [[line.strip() for line in wrap(name, label_mm - 3.0)] for name in names]
    high_mm = (_ROW_MM + _LINE_MM * (max(map(len, broken)) - 1)) * len(cells)
    sheet = begin(heading, width_mm, high_mm + 12.0)
    axes = sheet.place(MARGIN_MM + label_mm, 0.5, width_mm - 2 * MARGIN_MM - label_mm - 3.0, high_mm)
    factor, unit = wording.scale_of(measure)
    ends = [factor * value for cell in cells for value in (cell.low, cell.high)]
    named_rows(axes, ["\n".join(lines) for lines in broken], ends, wording.axis_label(measure, method))
    _draw(axes, cells, factor)
    said = "; ".join(f"{c.name} {wording.interval_text(measure, c.mean, c.low, c.high)}, n = {c.n}" for c in cells)
    sheet.figure.set_label(f"{title}. {said}. Unit: {unit or measure.unit}.")
    return sheet.figure
