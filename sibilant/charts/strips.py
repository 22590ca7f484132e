"""Token strips: each word's sound, its sibilant's spectrum on the same frequency axis, and a ribbon with soft ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from . import style
from .lettering import line_height_mm, title_height_mm, word_with_bold, wrap, write_lines, write_title

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
from .strip_panels import StripPanel, Tick, ribbon_image

STRIPS_PER_PAGE = 8  # two columns of four on A4
_SHOWN_RANGE_DB = 50.0  # of the picture over time
_SPECTRUM_RANGE_DB = 40.0  # of the spectrum beside it
_MARGIN_MM = 6.0  # all round
_AXIS_MM = 8.0  # numbers of the axis
_GAP_MM = 7.0  # between columns
_WORD_MM = 6.5  # the word above
_SOUND_MM = 27.0  # the picture itself
_BELOW_MM = 10.5  # axis and figures beneath
_SPECTRUM_SHARE = 0.27  # of a strip's width


def token_strip_pages(
    panels: Sequence[StripPanel], *, title: str, note: str, top_hz: float = 15000.0, per_page: int = STRIPS_PER_PAGE
) -> tuple[Figure, ...]:
    """Spread strips over as many figures as needed, ``per_page`` on each; every page says which it is."""
    if not panels:
        return ()
    n_pages = -(-len(panels) // per_page)
    pages = [panels[number * per_page : (number + 1) * per_page] for number in range(n_pages)]
    return tuple(
        token_strips(
            page,
            title=title,
            note=note,
            top_hz=top_hz,
            page="" if n_pages == 1 else _page_name(number, per_page, len(panels)),
        )
        for number, page in enumerate(pages, 1)
    )


def _page_name(number: int, per_page: int, n_panels: int) -> str:
    """Which page of how many this is, and which strips it holds: a title counts those of all pages."""
    first, last = (number - 1) * per_page + 1, min(number * per_page, n_panels)
    return f"page {number} of {-(-n_panels // per_page)}: {first} to {last} of {n_panels}"


@style.drawn
def token_strips(
    panels: Sequence[StripPanel],
    *,
    title: str,
    note: str,
    top_hz: float = 15000.0,
    width_mm: float = style.FULL_WIDTH_MM,
    page: str = "",
) -> Figure:
    """Draw strips in two columns (one at 85 mm), all on one time scale and one frequency axis.

    Parameters
    ----------
    panels : sequence of StripPanel
        At least one; about eight fill a page.
    title : str
        The plain sentence that the picture supports.
    note : str
        Whose code or "Invented data – not a person", method with band and weighting, how many tokens.
    top_hz : float
        Top of the frequency axis: the band's.
    width_mm : float
        170 (two columns) or 85 (one).
    page : str
        Which page of several this is.

    Returns
    -------
    Figure
        Its label (``alt_text``) names the words and their lengths.

    Raises
    ------
    ValueError
        Without a panel.
    """
    if not panels:
        raise ValueError("token strips need at least one sibilant to show")
    n_columns = 2 if width_mm > 120 and len(panels) > 1 else 1
    n_rows = -(-len(panels) // n_columns)
    text_width_mm = width_mm - 2 * _MARGIN_MM
    top_mm = 5.0 + title_height_mm(title, text_width_mm) + 2.5
    row_mm = _WORD_MM + _SOUND_MM + _BELOW_MM + 3.0
    note_lines = wrap(_whole_note(note, page), text_width_mm)
    height_mm = top_mm + n_rows * row_mm + len(note_lines) * line_height_mm() + 5.0
    figure = style.new_figure(width_mm, height_mm)
    write_title(figure, _MARGIN_MM, 5.0, title, text_width_mm)
    column_mm = (text_width_mm - _GAP_MM * (n_columns - 1)) / n_columns
    span_s = max(panel.span_s[1] - panel.span_s[0] for panel in panels)
    for number, panel in enumerate(panels):
        row, column = divmod(number, n_columns)
        corner = (_MARGIN_MM + column * (column_mm + _GAP_MM), top_mm + row * row_mm)
        _strip(figure, panel, corner, _Frame(column_mm, span_s, top_hz, first=number == 0))
    write_lines(figure, _MARGIN_MM, top_mm + n_rows * row_mm, note_lines)
    figure.set_label(strips_alt(panels, title))
    return figure


def strips_alt(panels: Sequence[StripPanel], title: str) -> str:
    """Say in words what the strips show."""
    said = "; ".join(
        ", ".join(part for part in (panel.word, panel.duration_text, panel.remark) if part) for panel in panels
    )
    return f"{title}. Strips of sound for: {said}."


@dataclass(frozen=True, slots=True)
class _Frame:
    """What all strips of a page share."""

    width_mm: float
    span_s: float
    top_hz: float
    first: bool


def _whole_note(note: str, page: str) -> str:
    key = (
        "Ribbon: the sibilant, its ends as soft as they are uncertain; upright ends: set by a person. "
        "Beside it the sibilant's average spectrum; tick from the left: spectral mean, from the right: peak, "
        "bars: intervals for this one sound."
    )
    return "\n".join(part for part in (" · ".join(p for p in (note, page) if p), key) if part)


def _strip(figure: Figure, panel: StripPanel, corner_mm: tuple[float, float], frame: _Frame) -> None:
    left_mm, top_mm = corner_mm
    sound_mm = (frame.width_mm - _AXIS_MM) * (1 - _SPECTRUM_SHARE) - 2.0
    spectrum_mm = (frame.width_mm - _AXIS_MM) * _SPECTRUM_SHARE
    sound_left_mm = left_mm + _AXIS_MM
    spectrum_left_mm = sound_left_mm + sound_mm + 2.0
    head = style.place(figure, sound_left_mm, top_mm, sound_mm, _WORD_MM - 1.8, frameon=False)
    _head(head, panel)
    sound = style.place(figure, sound_left_mm, top_mm + _WORD_MM, sound_mm, _SOUND_MM)
    _sound(sound, panel, frame)
    ribbon = style.place(figure, sound_left_mm, top_mm + _WORD_MM + _SOUND_MM + 0.8, sound_mm, 3.4, frameon=False)
    _ribbons(ribbon, panel, frame)
    side = style.place(figure, spectrum_left_mm, top_mm + _WORD_MM, spectrum_mm, _SOUND_MM)
    _spectrum(side, panel, frame)
    beneath_mm = top_mm + _WORD_MM + _SOUND_MM + 0.8
    for number, (text, colour) in enumerate(_figures(panel)):
        style.write(figure, spectrum_left_mm, beneath_mm + number * line_height_mm(), text, color=colour)
    if panel.remark:
        style.write(figure, sound_left_mm, beneath_mm + 4.2, panel.remark, color=style.INK, style="italic")
    elif frame.first:
        _scale_bar(figure, (sound_left_mm, beneath_mm + 5.0), 100.0 * sound_mm / (1000.0 * frame.span_s))


def _head(axes: Axes, panel: StripPanel) -> None:
    axes.set_axis_off()
    word_with_bold(axes, panel.word, panel.bold)
    axes.text(1, 0, panel.duration_text, transform=axes.transAxes, ha="right", va="bottom", color=style.SECOND_INK)


def _limits_s(panel: StripPanel, frame: _Frame) -> tuple[float, float]:
    """All strips of a page share one time scale; a shorter stretch stands in the middle of its strip."""
    first, last = panel.span_s
    spare = frame.span_s - (last - first)
    return first - spare / 2, last + spare / 2


def _sound(axes: Axes, panel: StripPanel, frame: _Frame) -> None:
    shown = panel.frequency_hz <= frame.top_hz * 1.02
    level = panel.level_db[shown]
    loudest = _reference_db(panel, level)
    frequency_khz = panel.frequency_hz[shown] / 1000
    axes.imshow(
        level,
        origin="lower",
        aspect="auto",
        cmap=style.ink_map(),
        vmin=loudest - _SHOWN_RANGE_DB,
        vmax=loudest,
        extent=(*panel.span_s, float(frequency_khz[0]), float(frequency_khz[-1])),
        interpolation="antialiased",
    )
    axes.set_xlim(*_limits_s(panel, frame))
    _frequency_axis(axes, frame)
    axes.set_ylabel("kHz", labelpad=1.5)
    axes.set_xticks([])
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(side == "bottom")


def _frequency_axis(axes: Axes, frame: _Frame) -> None:
    top_khz = frame.top_hz / 1000
    step = 5.0 if top_khz > 8 else 2.5
    axes.set_ylim(0, top_khz)
    ticks = np.arange(0, top_khz + 1e-9, step)
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])


def _reference_db(panel: StripPanel, level: npt.NDArray[np.float64]) -> float:
    """Level drawn in full ink: the loudest part of the sibilants, so that the vowel's voice does not set the scale."""
    inside = np.zeros(panel.time_s.size, dtype=bool)
    for ribbon in panel.ribbons:
        inside |= (panel.time_s >= ribbon.onset_s) & (panel.time_s <= ribbon.offset_s)
    chosen = level[:, inside] if inside.any() else level
    finite = chosen[np.isfinite(chosen)]
    return float(np.percentile(finite, 99.5)) if finite.size else 0.0


def _ribbons(axes: Axes, panel: StripPanel, frame: _Frame) -> None:
    axes.set_axis_off()
    limits = _limits_s(panel, frame)
    moments_s = np.linspace(*limits, 1200)
    axes.set_xlim(*limits)
    axes.set_ylim(0, 1)
    for ribbon in panel.ribbons:
        colour = style.phone_colour(ribbon.phone)
        image = ribbon_image(ribbon, moments_s, colour)
        axes.imshow(image, origin="lower", aspect="auto", extent=(*limits, 0.3, 0.85), interpolation="nearest")
        if ribbon.reviewed:
            axes.vlines([ribbon.onset_s, ribbon.offset_s], 0.0, 1.0, colors=style.INK, linewidth=1.1)
        if len(panel.ribbons) > 1 or ribbon.phone.upper() != "S":
            axes.annotate(
                style.phone_sign(ribbon.phone),
                (ribbon.offset_s, 0.57),
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
                color=style.INK,
                annotation_clip=False,
            )
    axes.set_xlim(*limits)
    axes.set_ylim(0, 1)


def _spectrum(axes: Axes, panel: StripPanel, frame: _Frame) -> None:
    _frequency_axis(axes, frame)
    axes.set_yticklabels([])
    axes.set_xticks([])
    axes.set_xlim(0, 1)
    axes.spines["bottom"].set_visible(False)
    if panel.spectrum_hz is None or panel.spectrum_db is None or panel.spectrum_hz.size < 2:
        axes.text(0.5, 0.5, "no spectrum", transform=axes.transAxes, ha="center", va="center", color=style.SECOND_INK)
        return
    loudest = float(np.max(panel.spectrum_db))
    across = np.clip((panel.spectrum_db - loudest) / _SPECTRUM_RANGE_DB + 1, 0, 1) * 0.86
    colour = style.phone_colour(next((r.phone for r in panel.ribbons if r.main), "S"))
    axes.fill_betweenx(panel.spectrum_hz / 1000, 0, across, color=colour, alpha=0.16, linewidth=0)
    axes.plot(across, panel.spectrum_hz / 1000, color=colour, linewidth=0.9)
    _tick(axes, panel.centroid, (0.0, 0.22))
    _tick(axes, panel.peak, (1.0, 0.82))


def _tick(axes: Axes, tick: Tick | None, across: tuple[float, float]) -> None:
    if tick is None:
        return
    if tick.low_hz is not None and tick.high_hz is not None:
        axes.vlines(
            across[0],
            tick.low_hz / 1000,
            tick.high_hz / 1000,
            colors=style.INK,
            linewidth=3.0,
            alpha=0.55,
            clip_on=False,
        )
    axes.hlines(tick.value_hz / 1000, min(across), max(across), colors=style.INK, linewidth=1.4, clip_on=False)


def _figures(panel: StripPanel) -> list[tuple[str, str]]:
    lines = []
    if panel.centroid is not None:
        lines.append((f"mean {panel.centroid.value_hz:.0f}\u2009Hz", style.INK))
    if panel.peak is not None:
        lines.append((f"peak {panel.peak.value_hz:.0f}\u2009Hz", style.SECOND_INK))
    return lines


def _scale_bar(figure: Figure, corner_mm: tuple[float, float], length_mm: float) -> None:
    axes = style.place(figure, corner_mm[0], corner_mm[1], length_mm, 1.2, frameon=False)
    axes.set_axis_off()
    axes.plot(
        [0, 0, 1, 1], [1, 0, 0, 1], color=style.SECOND_INK, linewidth=0.7, transform=axes.transAxes, clip_on=False
    )
    style.write(figure, corner_mm[0] + length_mm + 1.5, corner_mm[1] - 1.4, "100\u2009ms")
