"""Which of forty sounds each 10 ms of a sentence is: a small network over mel bands, the same for every speaker.

Twenty-four mel bands from 100 Hz to 7.4 kHz are followed every 10 ms, each less its own mean over what is sounding
(microphone and place go with it), with the level below the loudest; five cosine terms over 130 ms about each frame tell
how they move. One hidden layer of 128 units gives the probability of each phone and of silence.
``docs/train_sounds.py`` makes ``data/sounds.npz``: sentences of 119 children and adults aligned with their own prompts
and learnt again, thrice over, no person's or program's labels among them, with tails of rooms and noise added; and
invented speakers, whose sounds are known. No figure of the table a user gets is taken from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ..levels.coarse import framed
from ..terms import Recording

Floats = npt.NDArray[np.float64]
Float32s = npt.NDArray[np.float32]

PHONES = (
    "AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH", "IH", "IY", "JH", "K",
    "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH", "UH", "UW", "V", "W", "Y", "Z", "ZH",
)  # fmt: skip
SILENCE = len(PHONES)
# Chosen on invented probes (docs/words.md), where no other origin is named.
HOP_S, WINDOW_S = 0.010, 0.025  # what the network was learnt with (docs/train_sounds.py), as all below to LEAST
N_BANDS, LOW_HZ, HIGH_HZ = 24, 100.0, 7400.0  # mel bands and their range: the recordings learnt from hold up to 8 kHz
TOP_SHARE_OF_NYQUIST = 0.97  # bands above this share of half the rate are not heard
REACH, N_TERMS = 6, 5  # frames on either side that the network sees, as so many cosine terms a band
RANGE_DB, SOUNDING_DB, LOUD_PERCENTILE = 60.0, 25.0, 99.0
"""Levels further below the loudest are alike; frames that say how it is coloured; what is loud."""
BAND_SCALE_DB, LEVEL_SCALE_DB, LEAST = 12.0, 20.0, -4.0  # what brings levels to about one, and the lowest that is seen
FRAMES_AT_ONCE, SCORED_AT_ONCE = 512, 8192  # for the processor's cache; no result depends on it
LEAST_POWER = 1e-12  # keeps the logarithm of silence finite


@dataclass(frozen=True, slots=True, eq=False)
class _Network:
    first: Float32s
    first_bias: Float32s
    second: Float32s
    second_bias: Float32s
    log_prior: Float32s


@lru_cache(maxsize=1)
def _network() -> _Network:
    with np.load(Path(__file__).parent / "data" / "sounds.npz") as kept:
        return _Network(*(kept[name].astype(np.float32) for name in _Network.__slots__))


def sound_scores(recording: Recording, ranges: list[tuple[int, int]]) -> list[Float32s]:
    """Log probability of each sound in frames ``[first, last)`` of 10 ms: (n, 40) for each range.

    What all ranges hold together says how the recording is coloured.
    """
    power = [mel_power(recording, first, last) for first, last in ranges]
    norm = normalisation_of(power, recording.sampling_rate_hz)
    return [_scored(each, norm) for each in power]


def over_prior(sounds: Float32s) -> Float32s:
    """Log likelihood ratio of each sound: its probability over how common it is."""
    return np.asarray(sounds - _network().log_prior, dtype=np.float32)


def mel_power(recording: Recording, first: int, last: int) -> Float32s:
    """Power in each band, (n, 24); frame k is centred k times 10 ms after the beginning."""
    from scipy import fft

    rate = recording.sampling_rate_hz
    width, hop = max(8, round(WINDOW_S * rate)), round(HOP_S * rate)
    n_fft = 1 << (width - 1).bit_length()
    window = np.hanning(width + 2)[1:-1]
    bank = _bank(n_fft, rate)
    out = np.empty((last - first, N_BANDS), dtype=np.float32)
    for begin in range(first, last, FRAMES_AT_ONCE):
        n = min(last, begin + FRAMES_AT_ONCE) - begin
        starts = np.round(np.arange(begin, begin + n) * HOP_S * rate).astype(np.int64) - width // 2
        if hop * 100 == rate:
            frames = framed(recording.samples, int(starts[0]), (n, width, hop))
        else:
            frames = np.stack([framed(recording.samples, int(start), (1, width, 1))[0] for start in starts])
        spectrum = fft.rfft(frames * window, n_fft, axis=1)[:, : bank.shape[1]]
        power = (spectrum.real**2 + spectrum.imag**2) / np.sum(window**2)
        out[begin - first : begin - first + n] = np.einsum("tf,bf->tb", power, bank)
    return out


@lru_cache(maxsize=8)
def _bank(n_fft: int, rate: int) -> Floats:
    """Triangular mel bands (24, bins up to the highest's end), each with a sum of one."""
    mel = np.linspace(_mel(LOW_HZ), _mel(HIGH_HZ), N_BANDS + 2)
    corners = 700.0 * (10.0 ** (mel / 2595.0) - 1.0)
    n_bins = min(n_fft // 2, int(HIGH_HZ * n_fft / rate) + 1) + 1
    bins = np.arange(n_bins) * rate / n_fft
    rise = (bins - corners[:-2, None]) / (corners[1:-1] - corners[:-2])[:, None]
    fall = (corners[2:, None] - bins) / (corners[2:] - corners[1:-1])[:, None]
    bank = np.maximum(0.0, np.minimum(rise, fall))
    return np.asarray(bank / (bank.sum(axis=1, keepdims=True) + 1e-9))


def _mel(frequency_hz: float) -> float:
    return float(2595.0 * np.log10(1.0 + frequency_hz / 700.0))


@dataclass(frozen=True, slots=True, eq=False)
class Normalisation:
    """What is taken off a recording: least level and mean of each band (24,), those heard, the loudest level."""

    least_db: Floats
    mean_db: Floats
    heard: npt.NDArray[np.bool_]
    loudest_db: float


def normalisation_of(power: list[Float32s], rate: int) -> Normalisation:
    """What a recording is normalised by, from all of it that is looked at."""
    level = 10.0 * np.log10(np.concatenate(power).astype(np.float64) + LEAST_POWER)
    total = 10.0 * np.log10((10.0 ** (0.1 * level)).sum(axis=1))
    loudest = float(np.percentile(total, LOUD_PERCENTILE))
    least = level.max(axis=0) - RANGE_DB
    mean = np.maximum(level, least)[total > loudest - SOUNDING_DB].mean(axis=0)
    return Normalisation(least, mean, _mel_tops() <= TOP_SHARE_OF_NYQUIST * rate / 2, loudest)


def seen_by_network(power: Float32s, norm: Normalisation) -> Float32s:
    """What the network sees of frames, all but the six at both ends: bands less their mean, and how they move."""
    level = 10.0 * np.log10(power.astype(np.float64) + LEAST_POWER)
    total = 10.0 * np.log10((10.0 ** (0.1 * level)).sum(axis=1))
    bands = np.where(norm.heard, (np.maximum(level, norm.least_db) - norm.mean_db) / BAND_SCALE_DB, 0.0)
    seen = np.maximum(np.column_stack([bands, (total - norm.loudest_db) / LEVEL_SCALE_DB]), LEAST)
    around = np.lib.stride_tricks.sliding_window_view(seen, 2 * REACH + 1, axis=0)
    terms = np.einsum("nbt,kt->nbk", around, _terms()).reshape(len(seen) - 2 * REACH, -1)
    return np.asarray(terms, dtype=np.float32)


def _scored(power: Float32s, norm: Normalisation) -> Float32s:
    """Log probabilities of a range, some frames at a time; its ends are carried on."""
    padded = np.pad(power, ((REACH, REACH), (0, 0)), mode="edge")
    parts = [
        _scores(seen_by_network(padded[begin : begin + SCORED_AT_ONCE + 2 * REACH], norm))
        for begin in range(0, len(power), SCORED_AT_ONCE)
    ]
    return np.concatenate(parts) if parts else np.empty((0, SILENCE + 1), dtype=np.float32)


@lru_cache(maxsize=1)
def _mel_tops() -> Floats:
    mel = np.linspace(_mel(LOW_HZ), _mel(HIGH_HZ), N_BANDS + 2)[2:]
    return np.asarray(700.0 * (10.0 ** (mel / 2595.0) - 1.0))


@lru_cache(maxsize=1)
def _terms() -> Floats:
    """Cosine terms over the frames about one: (5, 13), each of unit length."""
    place = np.arange(2 * REACH + 1) + 0.5
    terms = np.cos(np.pi * place * np.arange(N_TERMS)[:, None] / (2 * REACH + 1))
    return np.asarray(terms / np.sqrt((terms**2).sum(axis=1, keepdims=True)))


def _scores(seen: Float32s) -> Float32s:
    net = _network()
    hidden = np.maximum(np.einsum("td,dh->th", seen, net.first) + net.first_bias, np.float32(0.0))
    out = np.einsum("th,hk->tk", hidden, net.second) + net.second_bias
    top = out.max(axis=1, keepdims=True)
    log_sum = top + np.log(np.exp(out - top).sum(axis=1, keepdims=True))
    return np.asarray(out - log_sum, dtype=np.float32)
