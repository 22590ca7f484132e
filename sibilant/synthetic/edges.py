"""Noiseless envelopes of invented sibilants come in, edges by the boundary criterion go out.

Truth by the same words that the search is held to.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..terms import Interval
from .hiss import Hiss
from .score import MadeSibilant
from .tract import Pulses
from .truth import BesideWhat

Floats = npt.NDArray[np.float64]

STEP_S = 0.00025  # grid on which levels are compared
SMOOTHING_S = 0.004  # effective length of the Hann window
EDGE_DB = 30.0  # below the plateau: the edge (docs/boundaries.md)
CORE_DB = 15.0  # below the plateau: the core
BESIDE_S = 0.015  # looked at beside an edge for what set it


@dataclass(frozen=True, slots=True)
class Components:
    """The parts of an utterance apart: ``total`` and ``voice`` (n,), noises, pulses and sibilants."""

    total: Floats
    voice: Floats
    noises: tuple[Hiss, ...]
    pulses: tuple[Pulses, ...]
    sibilants: tuple[MadeSibilant, ...]
    rate_hz: int
    f0_hz: float


@dataclass(frozen=True, slots=True)
class TrueEdges:
    """A sibilant's true stretch, its core, and what each edge was set by."""

    interval: Interval
    core: Interval
    onset_beside: BesideWhat
    offset_beside: BesideWhat
    band_hz: tuple[float, float]


def edges_of(made: MadeSibilant, parts: Components) -> TrueEdges:
    """Set the edges of one sibilant.

    Levels are expected power in the band that holds the middle 90 % of the sibilant's power, smoothed by a Hann window
    of 4 ms effective length (voice: one period where that is longer). The onset is the latest of: the frication 30 dB
    below its plateau (75th percentile); the frication above each other noise and above the voice in the band; the
    close of the last pulse before (voiceless sibilants). The offset likewise, the earliest.
    """
    hiss = made.hiss
    band = hiss.shape.band_of(top_hz=min(20000.0, 0.45 * parts.rate_hz))
    t = np.arange(hiss.envelope.start_s - 0.02, hiss.envelope.end_s + 0.02, STEP_S)
    top = 0.5 * parts.rate_hz
    own = _smoothed_db(hiss.level_db(t, band, top), SMOOTHING_S)
    inside = (t >= hiss.envelope.start_s) & (t <= hiss.envelope.end_s)
    plateau = float(np.percentile(own[inside], 75))
    middle = int(np.argmax(own))
    others: list[tuple[BesideWhat, Floats]] = []
    for noise in parts.noises:
        short = noise.envelope.end_s - noise.envelope.start_s < 0.06
        others.append(("release" if short else "frication", _other(noise, t, band, top)))
    others += [("frication", _other(s.hiss, t, band, top)) for s in parts.sibilants if s is not made]
    others.append(("voiced", _voice_db(parts, t, band)))
    onset, before = _first(t, own, middle, plateau - EDGE_DB, others)
    offset, after = _last(t, own, middle, plateau - EDGE_DB, others)
    if not made.sound.kind.voiced:
        onset, before, offset, after = _by_voicing(parts, float(t[middle]), (onset, before, offset, after))
    before, after = (_beside_voice(parts, edge, why) for edge, why in ((onset, before), (offset, after)))
    core = np.flatnonzero((own >= plateau - CORE_DB) & (t >= onset) & (t <= offset))
    interval = Interval(onset, max(onset, offset))
    kernel = Interval(float(t[core[0]]), float(t[core[-1]])) if core.size else interval
    return TrueEdges(interval, kernel, before, after, band)


def _other(noise: Hiss, t: Floats, band: tuple[float, float], top: float) -> Floats:
    if noise.envelope.end_s < t[0] or noise.envelope.start_s > t[-1]:
        return np.full(t.size, -200.0)
    return _smoothed_db(noise.level_db(t, band, top), SMOOTHING_S)


def _first(
    t: Floats, own: Floats, middle: int, threshold: float, others: list[tuple[BesideWhat, Floats]]
) -> tuple[float, BesideWhat]:
    best = _last_below(t, own - threshold, middle)
    why: BesideWhat = "silence"
    for name, level in others:
        crossing = _last_below(t, own - level, middle)
        if crossing > best + 0.0005:
            best, why = crossing, name
    return best, why


def _last(
    t: Floats, own: Floats, middle: int, threshold: float, others: list[tuple[BesideWhat, Floats]]
) -> tuple[float, BesideWhat]:
    mirrored = [(name, level[::-1]) for name, level in others]
    onset, why = _first(-t[::-1], own[::-1], t.size - 1 - middle, threshold, mirrored)
    return -onset, why


def _last_below(t: Floats, margin: Floats, middle: int) -> float:
    """Time of the last upward crossing of zero before ``middle``, interpolated."""
    below = np.flatnonzero(margin[: middle + 1] < 0)
    if not below.size:
        return float(t[0])
    k = int(below[-1])
    if k >= middle:
        return float(t[middle])
    return float(t[k] + (t[k + 1] - t[k]) * -margin[k] / (margin[k + 1] - margin[k]))


def _by_voicing(
    parts: Components, middle_s: float, edges: tuple[float, BesideWhat, float, BesideWhat]
) -> tuple[float, BesideWhat, float, BesideWhat]:
    onset, before, offset, after = edges
    for stretch in parts.pulses:
        if stretch.last_s < middle_s and stretch.last_s > onset:
            onset, before = stretch.last_s, "voiced"
        if stretch.first_s > middle_s and stretch.first_s < offset:
            offset, after = stretch.first_s, "voiced"
    return onset, before, offset, after


def _beside_voice(parts: Components, edge_s: float, why: BesideWhat) -> BesideWhat:
    """Name an edge set by its own level ``voiced`` where the voice sounds within 15 ms of it."""
    near = any(p.first_s - BESIDE_S < edge_s < p.last_s + BESIDE_S for p in parts.pulses)
    return "voiced" if near and why == "silence" else why


def _voice_db(parts: Components, t: Floats, band: tuple[float, float]) -> Floats:
    """Level of the voiced sound in the band at times t, smoothed over one period or 4 ms."""
    rate = parts.rate_hz
    first = max(0, int((t[0] - 0.05) * rate))
    piece = parts.voice[first : int((t[-1] + 0.05) * rate)]
    if not piece.size or not piece.any():
        return np.full(t.size, -200.0)
    spectrum = np.fft.rfft(piece)
    f = np.fft.rfftfreq(piece.size, 1.0 / rate)
    spectrum[(f < band[0]) | (f > band[1])] = 0.0
    power = np.fft.irfft(spectrum, piece.size) ** 2
    effective = max(SMOOTHING_S, 1.0 / parts.f0_hz)
    window = np.hanning(max(3, round(2 * effective * rate) | 1))
    smooth = np.convolve(power, window / window.sum(), mode="same")
    return np.asarray(10 * np.log10(np.interp(t, (first + np.arange(piece.size)) / rate, smooth) + 1e-20))


def _smoothed_db(level_db: Floats, effective_s: float) -> Floats:
    window = np.hanning(round(2 * effective_s / STEP_S) | 1)
    return np.asarray(10 * np.log10(np.convolve(10 ** (level_db / 10), window / window.sum(), mode="same") + 1e-20))
