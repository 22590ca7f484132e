"""A session's average spectra over the baseline's: single sounds faint, means strong, both with their word."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from ..terms import Method
from . import style, wording
from .sheet import MARGIN_MM, Heading, begin, haloed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SHOWN_DB = 45.0  # below the highest point (own choice)


@dataclass(frozen=True, slots=True)
class SpectrumGroup:
    """Spectra of one session or of the baseline: ``level_db`` (n sounds, m) over ``frequency_hz`` (m,).

    Each row is a sound's power spectral density in dB; what is drawn is relative to each sound's own total power in
    the band, so that loudness plays no part.
    """

    name: str
    frequency_hz: npt.NDArray[np.float64]
    level_db: npt.NDArray[np.float64]

    def __post_init__(self) -> None:
        if self.level_db.ndim != 2 or self.level_db.shape[1] != self.frequency_hz.size or not self.level_db.size:
            raise ValueError(f"{self.name}: each spectrum needs one level for each frequency, and there must be one")
        self.frequency_hz.setflags(write=False)
        self.level_db.setflags(write=False)

    def relative_db(self) -> npt.NDArray[np.float64]:
        """Levels (n, m) in dB per kHz, each sound's power over the frequencies given summing to one."""
        power = 10.0 ** (self.level_db / 10.0)
        total = np.atleast_1d(np.trapezoid(power, self.frequency_hz / 1000.0, axis=1))[:, np.newaxis]
        shown: npt.NDArray[np.float64] = 10.0 * np.log10(power / total)
        return shown

    def mean_db(self) -> npt.NDArray[np.float64]:
        """Mean of the relative levels over sounds, in dB (a mean of powers would follow the narrowest sound)."""
        mean: npt.NDArray[np.float64] = self.relative_db().mean(axis=0)
        return mean


@style.drawn
def session_spectra(
    baseline: SpectrumGroup,
    session: SpectrumGroup,
    *,
    method: Method,
    who: str,
    phone: str = "S",
    width_mm: float = style.FULL_WIDTH_MM,
) -> Figure:
    """Draw a session's spectra over the baseline's, in dB per kHz of each sound's own power in the band.

    Raises
    ------
    ValueError
        When the groups lie on different frequencies: unlike spectra are never put on one axis.
    """
    if not np.array_equal(baseline.frequency_hz, session.frequency_hz):
        raise ValueError("both groups of spectra need the same frequencies; take them under one method")
    sign = style.phone_sign(phone)
    heading = Heading(
        f"Where the energy of {sign} lies: {session.name} over {baseline.name}",
        "Average spectra, each sound scaled to its own power; faint lines are single sounds",
        "\n".join(
            (
                f"{who} · {wording.method_text(method)} · {session.level_db.shape[0]} sounds in {session.name}, "
                f"{baseline.level_db.shape[0]} in {baseline.name}",
                f"{style.SUPPORTING} {style.NO_CAUSE}",
            )
        ),
    )
    sheet = begin(heading, width_mm, 62.0 if width_mm >= 120 else 58.0)
    axes = sheet.place(MARGIN_MM + 9.0, 1.0, width_mm - 2 * MARGIN_MM - 11.0, sheet.height_mm - 10.0)
    _axes(axes, method, (baseline, session))
    _group(axes, baseline, style.GREEN, dashed=True)
    _group(axes, session, style.phone_colour(phone), dashed=False)
    _names(axes, baseline, session)
    sheet.figure.set_label(_alt(baseline, session, sign))
    return sheet.figure


def _axes(axes: Axes, method: Method, groups: Sequence[SpectrumGroup]) -> None:
    low, high = (edge / 1000 for edge in method.band_hz)
    axes.set_xlim(low, high)
    top = max(float(group.relative_db().max()) for group in groups)
    axes.set_ylim(max(top - _SHOWN_DB, min(float(g.mean_db().min()) for g in groups) - 6.0), top + 2.0)
    axes.set_xticks(
        [tick for tick in range(math.ceil(low), math.floor(high) + 1) if tick % (2 if high > 8 else 1) == 0]
    )
    lowest, highest = axes.get_ylim()
    axes.set_yticks([tick for tick in range(-100, 41, 10) if lowest <= tick <= highest])
    axes.set_xlabel(f"frequency (kHz), {low:g}–{high:g} kHz, {method.weighting}", labelpad=2)
    axes.set_ylabel("level (dB per kHz)", labelpad=2)
    axes.grid(color=style.HAIRLINE, linewidth=0.4)
    axes.set_axisbelow(True)


def _group(axes: Axes, group: SpectrumGroup, colour: str, *, dashed: bool) -> None:
    frequency_khz = group.frequency_hz / 1000
    faint = min(0.35, 5.0 / group.level_db.shape[0])
    for row in group.relative_db():
        axes.plot(frequency_khz, row, color=colour, linewidth=0.4, alpha=faint, gid="single sounds")
    line = (0, (5, 2)) if dashed else "solid"
    axes.plot(frequency_khz, group.mean_db(), color=colour, linewidth=1.8, linestyle=line, gid=group.name)


def _names(axes: Axes, baseline: SpectrumGroup, session: SpectrumGroup) -> None:
    """Name each line where the two lie furthest apart, above or below so that the words don't meet."""
    first, second = baseline.mean_db(), session.mean_db()
    inner = slice(first.size // 5, first.size - first.size // 5)
    place = inner.start + int(np.argmax(np.abs(first[inner] - second[inner])))
    x = float(baseline.frequency_hz[place]) / 1000
    above = second[place] >= first[place]
    for group, level, up in ((session, second[place], above), (baseline, first[place], not above)):
        axes.annotate(
            group.name + (" (dashed)" if group is baseline else ""),
            (x, float(level)),
            xytext=(0, 9 if up else -9),
            textcoords="offset points",
            ha="center",
            va="bottom" if up else "top",
            color=style.INK,
            path_effects=haloed(),
            zorder=6,
        )


def _alt(baseline: SpectrumGroup, session: SpectrumGroup, sign: str) -> str:
    peaks = [
        f"{group.name}: highest at {group.frequency_hz[int(np.argmax(group.mean_db()))] / 1000:.1f} kHz"
        for group in (baseline, session)
    ]
    return f"Average spectra of {sign}. {'; '.join(peaks)}."
