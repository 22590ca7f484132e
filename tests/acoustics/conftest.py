"""Noise with spectra known on paper, and sounds bounded by hand, for the tests of this room."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pytest

from sibilant.terms import Edge, Interval, Recording, SibilantInterval, Source

GRID_HZ = np.arange(0.0, 22050.5, 10.0)


def hump(centre_hz: float, width_hz: float, gain: float = 1.0) -> np.ndarray:
    """A Gaussian hump of power."""
    return gain * np.exp(-0.5 * ((GRID_HZ - centre_hz) / width_hz) ** 2)


PAPER = {
    "flat band": np.ones_like(GRID_HZ),
    "hump": hump(7000, 1500) + 1e-3,
    "two humps": hump(4500, 700, 0.5) + hump(8500, 1200) + 1e-3,
    "narrow hump": hump(6500, 500) + 3e-4,
}
"""Analytic power densities over GRID_HZ; the humps stand 30 to 35 dB above a floor, as in a quiet room."""


def noise_like(power: np.ndarray, n_samples: int, rng: np.random.Generator, rate_hz: int = 44100) -> np.ndarray:
    """Gaussian noise whose power density is known: white noise weighted in frequency, and cut."""
    n_fft = 1 << int(np.ceil(np.log2(2 * n_samples)))
    weight = np.sqrt(np.interp(np.fft.rfftfreq(n_fft, 1 / rate_hz), GRID_HZ, power))
    return np.fft.irfft(np.fft.rfft(rng.standard_normal(n_fft)) * weight)[:n_samples]


def recorded(samples: np.ndarray, rate_hz: int = 44100) -> Recording:
    """Samples as a recording, at most 0.9 of full scale."""
    scaled = samples / max(1e-12, float(np.max(np.abs(samples)))) * 0.9
    return Recording(scaled.astype(np.float32), rate_hz, Source("buffer", ""))


def bounded(onset_s: float, offset_s: float) -> SibilantInterval:
    """A sibilant between two silences."""
    stretch = Interval(onset_s, offset_s)
    edges = Edge(onset_s, "silence", 2.0, 1.0), Edge(offset_s, "silence", 2.0, 1.0)
    return SibilantInterval(None, stretch, stretch, *edges, 1.0)


@dataclass(frozen=True)
class Tokens:
    """A recording of many noise tokens end to end, and where each lies."""

    recording: Recording
    sounds: Sequence[SibilantInterval]


def tokens_like(power: np.ndarray, n_tokens: int, duration_ms: float, seed: int, rate_hz: int = 44100) -> Tokens:
    """Tokens of noise of one spectrum, 20 ms of the same noise either side."""
    rng = np.random.default_rng(seed)
    n_samples = int(rate_hz * (duration_ms / 1000 + 0.04))
    noise = np.concatenate([noise_like(power, n_samples, rng, rate_hz) for _ in range(n_tokens)])
    starts = [k * n_samples / rate_hz + 0.02 for k in range(n_tokens)]
    return Tokens(recorded(noise, rate_hz), [bounded(s, s + duration_ms / 1000) for s in starts])


@pytest.fixture(name="bounded")
def bounded_fixture() -> Callable[[float, float], SibilantInterval]:
    return bounded


@pytest.fixture(name="recorded")
def recorded_fixture() -> Callable[..., Recording]:
    return recorded


@pytest.fixture(name="tokens_like")
def tokens_like_fixture() -> Callable[..., Tokens]:
    return tokens_like


@pytest.fixture(name="noise_like")
def noise_like_fixture() -> Callable[..., np.ndarray]:
    return noise_like


@pytest.fixture(name="paper")
def paper_fixture() -> dict[str, np.ndarray]:
    return PAPER


@pytest.fixture(name="grid_hz")
def grid_fixture() -> np.ndarray:
    return GRID_HZ


@pytest.fixture(name="hump")
def hump_fixture() -> Callable[..., np.ndarray]:
    return hump
