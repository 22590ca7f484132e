"""Signs of what the recording's rate, band and coding leave of a sibilant."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import SILENCE, hann
from .evidence import Evidence, middle_half
from .framing import powers, starts_in
from .methods_served import BANDWIDTH_SHARE, house_tops_hz, widest_served
from .rules import OWN, Reading, Rule

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
HOLE_HZ, HOLE_DB, HOLE_MARGIN = 2_000.0, 20.0, 0.95
"""The sign's own words; up to this share of what the recording holds."""
HOLE_FRAME_S, HOLE_STEP_HZ, LOWEST_HOLE_HZ = 0.012, 500.0, 1_000.0  # frames and bands in which holes are looked for
N_WIDE = int(HOLE_HZ / HOLE_STEP_HZ)  # bands in a row that make a hole
SHELF_LOW_HZ, SHELF_SHARE = 15_000.0 / BANDWIDTH_SHARE, 0.93
"""A cliff above what the widest method needs, and below this share of half the rate."""


def read_rate(evidence: Evidence) -> Iterator[Reading]:
    """Sampling rate."""
    yield Reading(float(evidence.recording.sampling_rate_hz))


def read_bandwidth(evidence: Evidence) -> Iterator[Reading]:
    """Up to where the recording holds sound: the frequency at which it is cut off, or half its rate."""
    if not evidence.sounds:
        return
    found = evidence.reach_hz
    served = widest_served(found)
    way = f"{served} is the widest house method that fits" if served else "no house method fits"
    yield Reading(found, words=(("top", f"{found / 1000:.1f}"), ("way", way)))


def read_shelf(evidence: Evidence) -> Iterator[Reading]:
    """Frequency at which the recording is cut off, where that leaves the widest house method."""
    found, top = evidence.cut, evidence.recording.sampling_rate_hz / 2
    if found is not None and SHELF_LOW_HZ <= found.frequency_hz <= SHELF_SHARE * top:
        yield Reading(found.frequency_hz, words=(("top", f"{found.frequency_hz / 1000:.1f}"),))


def read_lossy(evidence: Evidence) -> Iterator[Reading]:
    """1 where the file's coding throws sound away."""
    yield Reading(float(evidence.recording.source.lossy), words=(("coding", evidence.recording.source.coding),))


def read_holes(evidence: Evidence) -> Iterator[Reading]:
    """Percent of each sound's frames in which 2 kHz or more lie 20 dB below the sound's own average."""
    rate = evidence.recording.sampling_rate_hz
    size, n_steps = round(HOLE_FRAME_S * rate), _n_steps(rate / 2)
    if n_steps < N_WIDE:
        return
    middles = [middle_half(sound) for sound in evidence.sounds]
    every = enumerate(starts_in(evidence.recording, middles, size))
    starts = {index: each for index, each in every if each.stop - each.start > size}  # two frames long
    edges = ((LOWEST_HOLE_HZ + HOLE_STEP_HZ * np.arange(n_steps + 1)) * size / rate).astype(int)
    blocks = powers(evidence.recording, list(starts.values()), hann(size), size)
    bands = [np.add.reduceat(power.astype(np.float64), edges, axis=1)[:, :-1] for power in blocks]
    counts = np.array([len(each) for each in starts.values()], dtype=int)
    shares = _hole_shares(bands, counts, [_n_steps(evidence.bandwidths_hz[index]) for index in starts])
    for index, share in zip(starts, shares, strict=True):
        yield Reading(share, (index,), evidence.sounds[index])


def _n_steps(bandwidth_hz: float) -> int:
    """How many bands of 500 Hz from 1 kHz on a bandwidth holds."""
    return max(0, math.ceil((HOLE_MARGIN * bandwidth_hz - LOWEST_HOLE_HZ) / HOLE_STEP_HZ) - 1)


def _hole_shares(bands: Sequence[Floats], counts: npt.NDArray[np.int_], n_steps: Sequence[int]) -> list[float]:
    """Percent of the frames of each sound (k,) that have a hole.

    ``bands`` holds the power of all frames of all sounds in bands of 500 Hz, ``counts`` (k,) how many frames are each
    sound's, ``n_steps`` (k,) how many of the bands it holds.
    """
    if not counts.size:
        return []
    power, firsts = np.maximum(np.concatenate(bands), SILENCE), np.cumsum(counts) - counts
    mean = np.add.reduceat(power, firsts, axis=0) / counts[:, None]
    low = power < np.repeat(mean, counts, axis=0) * 10 ** (-HOLE_DB / 10)
    n_places = low.shape[1] - N_WIDE + 1
    in_a_row = np.arange(n_places) + N_WIDE <= np.repeat(n_steps, counts)[:, None]
    for step in range(N_WIDE):
        in_a_row &= low[:, step : n_places + step]
    return [100 * float(share) for share in np.add.reduceat(in_a_row.any(axis=1), firsts, dtype=int) / counts]


RATE_CARE = Rule(
    "sampling_rate",
    "low sampling rate",
    "the file's sampling rate",
    "Hz",
    44_100.0,
    22_050.0,
    ("comparison",),
    ("comparison",),
    "The sampling rate is low: set the recorder to 44.1 or 48 kHz.",
    "common practice, no source; 22.05 kHz: the top of published bands is 11 kHz (Koenig et al. 2013, abstract)",
    read_rate,
    below=True,
    weight=7,
)
BANDWIDTH = Rule(
    "bandwidth",
    "recording cut off",
    "frequency at which something cut the recording off, or half its rate: a fall of 8 dB in 300 Hz or of 14 dB in"
    " 1.2 kHz into what stays down, in pauses and three quarters of the sounds alike; of 20 dB in 300 Hz in the sounds"
    " alone; without any pause also of 30 dB in 1.2 kHz",
    "Hz",
    max(house_tops_hz().values()) / BANDWIDTH_SHARE,
    8_000.0,
    ("comparison",),
    ("comparison",),
    "The recording holds nothing above {top} kHz ({way}): record as WAV or FLAC, not through a telephone, a call or a"
    " messenger, and not from a file once compressed.",
    OWN,
    read_bandwidth,
    below=True,
    weight=8,
)
SHELF = Rule(
    "shelf",
    "band that ends in a cliff",
    "the same frequency, below 0.93 of half the rate",
    "Hz",
    16_600.0,
    None,
    ("comparison",),
    (),
    "Everything above {top} kHz is cut off sharply, as compression, calls and converted files do: record as WAV or FLAC"
    " at 44.1 or 48 kHz, without a call.",
    OWN,
    read_shelf,
    below=True,
    weight=6,
)
LOSSY = Rule(
    "lossy_coding",
    "lossy coding",
    "the file's own coding",
    "",
    0.5,
    None,
    ("comparison", "moments"),
    (),
    "The file is compressed with loss ({coding}): record as WAV or FLAC.",
    "low bit rates alter the high region (González & Cervera 2002, abstract)",
    read_lossy,
    weight=5,
)
HOLES = Rule(
    "spectral_holes",
    "spectral holes",
    "share of the sound's 12 ms frames in which 2 kHz or more lie 20 dB below the sound's own average",
    "%",
    5.0,
    40.0,
    ("levels", "comparison", "moments"),
    ("levels", "comparison", "moments"),
    "The hisses have holes, as low bit rates and calls make them: record as WAV or FLAC, without a call in between.",
    OWN,
    read_holes,
    weight=7,
)
RULES = (RATE_CARE, BANDWIDTH, SHELF, LOSSY, HOLES)
