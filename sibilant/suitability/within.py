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
    edges = (*EDGES_HZ[LOWEST_BAND:], evidence.reach_hz)
    for index, (sound, noise) in enumerate(zip(evidence.sounds, evidence.noise, strict=True)):
        if noise is None:
            continue
        power = evidence.frames.power[evidence.frames.span(middle_half(sound)), LOWEST_BAND:].mean(axis=0)
        step_hz = evidence.recording.sampling_rate_hz / 2 / (noise.power_density.size - 1)
        at = np.searchsorted(np.arange(noise.power_density.size) * step_hz, edges)
        ratios = []
        for band, (low, high) in enumerate(itertools.pairwise(edges)):
            if high > evidence.reach_hz or high <= low:
                continue
            under = float(noise.power_density[at[band] : at[band + 1]].sum()) * step_hz
            if under > 0:
                ratios.append(10 * np.log10(max(float(power[band]), 1e-30) / under))
        if ratios:
            yield Reading(float(min(ratios)), (index,), sound)


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
