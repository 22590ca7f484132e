"""Signs that the noise under a sound is not that of the pauses: something sounds through it, or is cut from it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from ..levels.bands import EDGES_HZ
from .evidence import Evidence, middle_half
from .rules import OWN, SPECTRA, Reading, Rule

INTRUDES_DB = 6.0
"""How far the lowest level around a word must stand over its pauses to count as something that sounds through it."""
LOWEST_BAND = EDGES_HZ.index(2_000.0)


def read_intruder(evidence: Evidence) -> Iterator[Reading]:
    """Signal-to-noise ratio of each sound in whose word something sounds that its pauses don't hold."""
    for index, value in enumerate(evidence.snr_db):
        if evidence.intruded_db[index] > INTRUDES_DB and not np.isnan(value):
            yield Reading(float(value), (index,), evidence.sounds[index])


def read_hushed(evidence: Evidence) -> Iterator[Reading]:
    """Level of each sound over the noise beside its word in the band from 2 kHz up where that is lowest."""
    known = [index for index, noise in enumerate(evidence.noise) if noise is not None]
    if not known:
        return
    density = np.stack([noise.power_density for noise in evidence.noise if noise is not None])
    spans = [evidence.frames.span(middle_half(evidence.sounds[index])) for index in known]
    power = np.stack([evidence.frames.power[span, LOWEST_BAND:].mean(axis=0) for span in spans])
    step_hz = evidence.recording.sampling_rate_hz / 2 / (density.shape[1] - 1)
    edges = (*EDGES_HZ[LOWEST_BAND:], evidence.reach_hz)
    at = np.searchsorted(np.arange(density.shape[1]) * step_hz, edges)
    lowest = np.full(len(known), np.inf)
    for band, (low, high) in enumerate(itertools.pairwise(edges)):
        if low < high <= evidence.reach_hz:
            under = density[:, at[band] : at[band + 1]].sum(axis=1) * step_hz
            over = np.maximum(power[:, band], 1e-30) / np.where(under > 0, under, np.nan)
            lowest = np.fmin(lowest, 10 * np.log10(over))
    for index, value in zip(known, lowest.tolist(), strict=True):
        if value < np.inf:
            yield Reading(value, (index,), evidence.sounds[index])


INTRUDER = Rule(
    "intruding_noise",
    "noise in a word that its pauses don't hold",
    "level of the sound over the lowest level around its word at 4-10 kHz, where that stands 6 dB over the pauses",
    "dB",
    None,
    10.0,
    (),
    SPECTRA,
    "Something sounds through a word, a chair or a door perhaps: record that word again.",
    OWN,
    read_intruder,
    below=True,
    weight=7,
)
HUSHED = Rule(
    "hushed_band",
    "less sound than the room in part of the band",
    "level of the sound over the noise beside its word, in the 2 kHz band from 2 kHz up where that is lowest",
    "dB",
    None,
    -6.0,
    (),
    SPECTRA,
    "Part of the band is missing inside a sound, as processing and joined recordings leave it: record that word again.",
    OWN,
    read_hushed,
    below=True,
    weight=7,
)
RULES = (INTRUDER, HUSHED)
