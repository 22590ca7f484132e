"""The sheet that every chart but the strips is drawn on: title, subtitle, body, note, all at print size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ..terms import Method
from . import style, wording
from .lettering import line_height_mm, title_height_mm, wrap, write_lines, write_title

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MARGIN_MM = 5.0  # all round
_TICK_MM = 7.0
"""Room that the number under a tick takes, at 8 points with two decimals."""


@dataclass(frozen=True, slots=True)
class Heading:
    """What stands above and beneath a body: the plain sentence, what is drawn, the note."""

    title: str
    subtitle: str
    note: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """A figure with its head and note written; the body runs ``top_mm`` to ``top_mm + height_mm``."""

    figure: Figure
    top_mm: float
    height_mm: float
    width_mm: float

    @property
    def narrow(self) -> bool:
        """Whether it is drawn for one column of 85 mm."""
        return self.width_mm < 120

    def place(self, left_mm: float, top_mm: float, width_mm: float, height_mm: float, **kwargs: Any) -> Axes:
        """Axes measured from the body's top left corner (the sheet's own left edge)."""
        return style.place(self.figure, left_mm, self.top_mm + top_mm, width_mm, height_mm, **kwargs)

    def write(self, left_mm: float, top_mm: float, lines: Sequence[str], **kwargs: Any) -> float:
        """Lines measured from the body's top."""
        return write_lines(self.figure, left_mm, self.top_mm + top_mm, lines, **kwargs) - self.top_mm


def begin(heading: Heading, width_mm: float, body_mm: float) -> Sheet:
    """Start a sheet as high as its head, body and note need."""
    inner_mm = width_mm - 2 * MARGIN_MM
    subtitle = wrap(heading.subtitle, inner_mm) if heading.subtitle else []
    note = wrap(heading.note, inner_mm)
    title_mm = title_height_mm(heading.title, inner_mm) + 0.8 if heading.title else 0.0
    head_mm = 4.0 + title_mm + len(subtitle) * line_height_mm() + 3.0
    figure = style.new_figure(width_mm, head_mm + body_mm + 2.0 + len(note) * line_height_mm() + 3.0)
    if heading.title:
        write_title(figure, MARGIN_MM, 4.0, heading.title, inner_mm)
    write_lines(figure, MARGIN_MM, 4.0 + title_mm, subtitle)
    write_lines(figure, MARGIN_MM, head_mm + body_mm + 2.0, note)
    return Sheet(figure, head_mm, body_mm, width_mm)


def top_tick_with_unit(axes: Axes, unit: str) -> None:
    """Write the unit once, after the highest number of the upright axis."""
    low, high = axes.get_ylim()
    ticks = [float(tick) for tick in axes.get_yticks() if low - 1e-9 <= tick <= high + 1e-9]
    labels = [f"{tick:g}".replace("-", "\u2212") for tick in ticks]
    if labels and unit:
        labels[-1] = f"{labels[-1]}\u2009{unit}"
    axes.set_yticks(ticks, labels)


def haloed() -> list[Any]:
    """Paper-coloured edge around text that stands on the drawing."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=2.2, foreground=style.PAPER)]


def nice_limits(values: Sequence[float], n_steps: int = 5) -> tuple[float, float, float]:
    """Limits and tick step that hold all finite values, on round numbers.

    Examples
    --------
    >>> nice_limits([4.9, 8.2])
    (4.0, 9.0, 1.0)
    """
    finite = [value for value in values if math.isfinite(value)] or [0.0, 1.0]
    low, high = min(finite), max(finite)
    span = max(high - low, 1e-6 * max(abs(high), abs(low), 1e-3))
    raw = span / n_steps
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * factor for factor in (1, 2, 2.5, 5, 10) if power * factor >= raw * 0.999)
    first, last = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    return first, last if last > first else first + step, step


def closing(who: str, method: Method, counted: str, *more: str) -> str:
    """Note beneath a picture: whose, method, how many, then the notes that always stand."""
    head = " · ".join(part for part in (who, wording.method_text(method), counted) if part)
    return "\n".join((head, *more, f"{style.SUPPORTING} {style.NO_CAUSE}"))


def quiet(axes: Axes) -> None:
    """Hairlines across, no frame at the left."""
    axes.grid(axis="y", color=style.HAIRLINE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)


def upright(axes: Axes, values: Sequence[float], unit: str, *, from_zero: bool = False) -> None:
    """Limits and ticks of the upright axis on round numbers, the unit after the highest."""
    low, high, step = nice_limits([*values, 0.0] if from_zero else values)
    axes.set_ylim(low, high)
    axes.set_yticks([low + step * number for number in range(round((high - low) / step) + 1)])
    top_tick_with_unit(axes, unit)


def month_ticks(axes: Axes, months: Sequence[float]) -> None:
    """Whole months since the first baseline along the bottom, with room at both ends."""
    pad = max(0.35, 0.05 * (max(months) - min(months)))
    low, high = min(months) - pad, max(months) + pad
    axes.set_xlim(low, high)
    step = max(1, math.ceil((high - low) / 9))
    ticks = [tick for tick in range(math.ceil(low), math.floor(high) + 1) if tick % step == 0]
    axes.set_xticks(ticks, [str(tick).replace("-", wording.MINUS) for tick in ticks])
    axes.set_xlabel("months since the first baseline", labelpad=2)


def named_rows(axes: Axes, names: Sequence[str], values: Sequence[float], label: str) -> None:
    """Rows with their names at the left, the first on top; round limits and the measure's label along the bottom."""
    low, high, step = nice_limits(values)
    axes.set_xlim(low, high)
    places = [low + step * number for number in range(round((high - low) / step) + 1)]
    wide_mm = axes.get_window_extent().width / axes.figure.dpi * style.MM_PER_INCH
    axes.set_xticks(places[:: max(1, math.ceil(len(places) * _TICK_MM / wide_mm))])
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.set_yticks(range(len(names)), list(names))
    axes.tick_params(axis="y", length=0, labelcolor=style.INK)
    axes.grid(axis="x", color=style.HAIRLINE, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(label, labelpad=2, loc="right")
