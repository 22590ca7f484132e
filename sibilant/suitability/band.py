"""Signs of what the recording's rate, band and coding leave of a sibilant."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ..levels.bands import cuts, decibels
from .evidence import Evidence, middle_half
from .methods_served import BANDWIDTH_SHARE, house_tops_hz, widest_served
from .rules import OWN, Reading, Rule
from .spectra import fall_at

if TYPE_CHECKING:
    import numpy.typing as npt

HOLE_HZ, HOLE_DB, HOLE_MARGIN = 2_000.0, 20.0, 0.95
HOLE_FRAME_S, HOLE_STEP_HZ = 0.012, 500.0
SHELF_LOW_HZ, SHELF_SHARE, SHELF_DB = 15_000.0 / BANDWIDTH_SHARE, 0.93, 20.0


def read_rate(evidence: Evidence) -> Iterator[Reading]:
    """Sampling rate."""
    yield Reading(float(evidence.recording.sampling_rate_hz))


def read_bandwidth(evidence: Evidence) -> Iterator[Reading]:
    """Effective bandwidth of the recording, from its sibilants."""
    found = evidence.bandwidth_hz
    if found is None:
        return
    served = widest_served(found)
    way = f"{served} is the widest house method that fits" if served else "no house method fits"
    yield Reading(found, words=(("top", f"{found / 1000:.1f}"), ("way", way)))


def read_shelf(evidence: Evidence) -> Iterator[Reading]:
    """Effective bandwidth where it ends in a cliff well below the Nyquist frequency, which no voice makes."""
    found, top = evidence.bandwidth_hz, evidence.recording.sampling_rate_hz / 2
    if found is None or not len(evidence.spectra) or not SHELF_LOW_HZ <= found <= SHELF_SHARE * top:
        return
    if fall_at(evidence.spectra, evidence.grid_hz, found) >= SHELF_DB:
        yield Reading(found, words=(("top", f"{found / 1000:.1f}"),))


def read_lossy(evidence: Evidence) -> Iterator[Reading]:
    """1 where the file's coding throws sound away."""
    yield Reading(float(evidence.recording.source.lossy), words=(("coding", evidence.recording.source.coding),))


def read_holes(evidence: Evidence) -> Iterator[Reading]:
    """Percent of each sound's frames in which 2 kHz or more lie 20 dB below the sound's own average."""
    rate = evidence.recording.sampling_rate_hz
    size = round(HOLE_FRAME_S * rate)
    middles = [middle_half(sound) for sound in evidence.sounds]
    for index, samples in enumerate(cuts(evidence.recording, middles)):
        if samples.size >= 2 * size:
            share = _hole_share(samples, size, rate, evidence.bandwidths_hz[index])
            yield Reading(share, (index,), evidence.sounds[index])


def _hole_share(samples: npt.NDArray[np.float32], size: int, rate: int, bandwidth_hz: float) -> float:
    from scipy import fft

    framed = np.lib.stride_tricks.sliding_window_view(samples, size)[:: size // 2]
    spectrum = fft.rfft(framed * np.hanning(size + 1)[:-1].astype(np.float32), axis=1)
    power = (spectrum.real**2 + spectrum.imag**2).astype(np.float64)
    edges = np.arange(1_000.0, HOLE_MARGIN * bandwidth_hz, HOLE_STEP_HZ) * size / rate
    bands = int(HOLE_HZ / HOLE_STEP_HZ)
    if edges.size <= bands:
        return 0.0
    level = decibels(np.add.reduceat(power, edges.astype(int), axis=1)[:, :-1])
    low = np.less(level, decibels((10 ** (level / 10)).mean(axis=0)) - HOLE_DB).astype(np.int64)
    total = np.cumsum(np.pad(low, ((0, 0), (1, 0))), axis=1)
    in_a_row = (total[:, bands:] - total[:, :-bands]).max(axis=1)
    return 100 * float(np.mean(in_a_row == bands))


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
    "narrow effective bandwidth",
    "highest frequency at which a sibilant is within 40 dB of its own peak, ninth decile over the sibilants; a cliff of"
    " 25 dB within 500 Hz where noise reaches higher",
    "Hz",
    max(house_tops_hz().values()) / BANDWIDTH_SHARE,
    8_000.0,
    ("comparison",),
    ("comparison",),
    "The hisses hold nothing above {top} kHz ({way}): record as WAV or FLAC, not through a telephone, a call or a"
    " messenger, and not from a file once compressed.",
    OWN,
    read_bandwidth,
    below=True,
    weight=8,
)
SHELF = Rule(
    "shelf",
    "band that ends in a cliff",
    "effective bandwidth, where the typical sibilant falls 20 dB and more within 500 Hz there, below 0.93 of half the"
    " rate",
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
