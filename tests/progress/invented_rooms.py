"""Invented clients whose rooms change between probes, and what a room does to single sounds. Invented, not a person.

Two banks, each made by the program's own estimators. `spectral_bank`: stationary hiss of an invented kind's shape in
white, pink, fan-like or babble-like noise (pink that wanders by 4 dB within 0.15 s) through `acoustics.measure`,
house-15k; what is drawn is how far a value lies from the mean in the quiet, with its standard error. `length_bank`:
whole invented probes at several ratios through the pipeline; what is drawn is how far the length of a word's sound lies
from that of the same word in the quietest room.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy.fft import irfft, rfft

from sibilant.acoustics import measure, noise_spectrum
from sibilant.methods import HOUSE_15K
from sibilant.progress.pooled import LEVELS
from sibilant.synthetic.shapes import shape_of
from sibilant.terms import Edge, Interval, Measures, Recording, SibilantInterval, Source
from sibilant.terms.summaries import MeasureSummary, WordValue

LENGTHS = Path(__file__).parents[2] / "docs" / "evidence" / "room_lengths.csv"
RATE, SIZE = 44_100, 1 << 15
GRID = np.fft.rfftfreq(SIZE, 1 / RATE)
BAND = (GRID >= 4000) & (GRID <= 10_000)
SIDE, LONG = round(0.33 * RATE), round(0.15 * RATE)
SNRS = (40.0, 35.0, 30.0, 25.0, 20.0, 15.0)
ROOMS = {
    "white": np.ones_like(GRID),
    "pink": 1 / np.maximum(GRID, 50.0),
    "fan": 1 / np.maximum(GRID, 250.0) + 0.1 / 6000,
    "babble": 1 / np.maximum(GRID, 50.0),
}
KINDS = {
    "typical": ("typical", 0.0), "theta-like": ("frontal", 0.0), "lateral": ("lateral", 0.0),
    "retracted": ("retracted", 0.0), "whistled": ("whistled", 0.0), "weak": ("typical", -6.0),
}  # fmt: skip
"""Shape, and level against a typical /s/ in dB."""
SPECTRAL = ("centroid_hz", "sd_hz", "low_mid_db", "mid_high_db")
N_WORDS = 20
SPREADS = {
    "centroid_hz": (500.0, 200.0), "sd_hz": (250.0, 80.0), "low_mid_db": (2.5, 0.8), "mid_high_db": (2.5, 0.8),
    "core_duration_ms": (15.0, 5.0), "duration_ms": (18.0, 6.0),
}  # fmt: skip
"""SD over tokens and from day to day; own choice, the first as in `invented_days`."""


@dataclass(frozen=True)
class Draws:
    """By measure: deviations and standard errors (n,) of sounds at one ratio; NaN where a sound has no value.

    ``powers`` (n, 2) of the two bands that a level rests on, noise taken out, whether or not they stand clear.
    """

    off: np.ndarray
    error: np.ndarray
    powers: np.ndarray | None = None


Bank = Mapping[tuple[str, float, str], Draws]


def hiss(power: np.ndarray, rng: np.random.Generator, n: int) -> np.ndarray:
    """Gaussian noise (n,) of a power spectrum, its power at 4-10 kHz one."""
    weight = np.sqrt(0.5 * power / np.sum(power[BAND]) * SIZE)
    made: np.ndarray = irfft(rfft(rng.standard_normal(SIZE)) * weight, SIZE)[:n]
    return made


def measured(sound: np.ndarray, room: np.ndarray, snr_db: float) -> Measures:
    """One sound of 150 ms in a room, a third of a second of which stands on either side."""
    mixed = 10 ** (-snr_db / 20) * room
    mixed[SIDE : SIDE + LONG] += sound
    recording = Recording((0.01 * mixed).astype(np.float32), RATE, Source("invented", ""))
    ends = SIDE / RATE, (SIDE + LONG) / RATE, mixed.size / RATE
    noise = noise_spectrum(recording, [Interval(0.0, ends[0])], [Interval(ends[1], ends[2])])
    stretch, edge = Interval(ends[0], ends[1]), Edge(ends[0], "silence", 2.0, 1.0)
    return measure(recording, [SibilantInterval(None, stretch, stretch, edge, edge, 1.0)], HOUSE_15K, noise=[noise])[0]


def value_in(one: Measures, key: str) -> float:
    """As a session's figure takes it: an SD that is not clear counts uncut where the power is clear."""
    uncut = one.uncut[key][0] if key == "sd_hz" and "centroid_hz" in one.values else math.nan
    return one.values.get(key, uncut)


def noise_in(room: str, rng: np.random.Generator) -> np.ndarray:
    """A room's noise under a sound and beside it."""
    noise = hiss(ROOMS[room], rng, 2 * SIDE + LONG)
    if room != "babble":
        return noise
    knots = rng.normal(0.0, 4.0, noise.size // 6600 + 3)
    return noise * np.asarray(10 ** (np.interp(np.arange(noise.size) / 6600, np.arange(knots.size), knots) / 20))


@lru_cache(maxsize=8)
def spectral_bank(n: int, kind: str = "typical") -> Bank:
    """Deviations and errors of ``n`` sounds in each room at each ratio."""
    rng = np.random.default_rng(7)
    shape, level_db = KINDS[kind]
    power = shape_of(shape).power(GRID)
    sounds = [10 ** (level_db / 20) * hiss(power, rng, LONG) for _ in range(n)]
    found: dict[tuple[str, float, str], Draws] = {}
    quiet = [measured(one, hiss(ROOMS["white"], rng, 2 * SIDE + LONG), 60.0) for one in sounds]
    truth = {key: float(np.mean([value_in(one, key) for one in quiet])) for key in SPECTRAL}
    for room in ROOMS:
        rooms = [noise_in(room, rng) for _ in sounds]
        for snr in SNRS:
            heard = [measured(sound, around.copy(), snr) for sound, around in zip(sounds, rooms, strict=True)]
            for key in SPECTRAL:
                off = np.array([value_in(one, key) - truth[key] for one in heard])
                reach = [one.uncut.get(key, (math.nan,) * 3) for one in heard]
                error = np.array([(high - low) / (2 * 1.959964) for _, low, high in reach])
                bands = LEVELS.get(key)
                powers = [[one.sums[band] for band in bands] for one in heard] if bands else None
                found[room, snr, key] = Draws(off, error, None if powers is None else np.array(powers))
    return found


@lru_cache(maxsize=1)
def length_bank() -> Bank:
    """Deviations of lengths, from whole invented probes (docs/evidence/room_lengths.csv); no room by name."""
    with LENGTHS.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    found = {}
    for snr in SNRS:
        for key in ("core_duration_ms", "duration_ms", "rise_ms", "level_re_vowel_db"):
            off = np.array([float(row[key]) for row in rows if float(row["snr_db"]) == snr and row[key]])
            found["", snr, key] = Draws(off, np.full(off.size, math.nan))
    return found


def summary(
    key: str, bank: Bank, place: tuple[str, float], figure: np.ndarray, rng: np.random.Generator
) -> MeasureSummary:
    """One session: the words' true figures (20,) as heard in a room."""
    drawn = bank[place[0], place[1], key]
    chosen = rng.integers(0, drawn.off.size, N_WORDS)
    values, errors = figure + drawn.off[chosen], drawn.error[chosen]
    words = tuple(
        WordValue(f"{i}.1.1", f"w{i}", float(value), error=float(error))
        for i, (value, error) in enumerate(zip(values, errors, strict=True))
        if math.isfinite(value)
    )
    known = np.array([word.value for word in words])
    sd = float(known.std(ddof=1)) if known.size > 1 else math.nan
    sums = {}
    if drawn.powers is not None:
        raised = drawn.powers[chosen] * np.column_stack([10 ** (figure / 10), np.ones(N_WORDS)])
        sums = {f"w{i}": (float(over), float(under)) for i, (over, under) in enumerate(raised)}
    return MeasureSummary(
        key, "house-15k/2", float(known.mean()) if known.size else math.nan, math.nan, math.nan, sd, len(words),
        len(sums) or len(words), N_WORDS, words=words, snr_db=place[1], sums=sums,
    )  # fmt: skip


def client(
    key: str,
    bank: Bank,
    places: Sequence[tuple[str, float]],
    rng: np.random.Generator,
    *,
    step: float = 0.0,
    k: int = 3,
) -> Iterator[tuple[int, MeasureSummary]]:
    """Probes of one client in rooms, the first ``k`` of them the baseline, a step from then on."""
    token_sd, day_sd = SPREADS[key]
    own = rng.normal(0.0, 0.6 * token_sd, N_WORDS)
    for number, place in enumerate(places, start=1):
        figure = own + rng.normal(0.0, day_sd) + rng.normal(0.0, 0.8 * token_sd, N_WORDS)
        yield number, summary(key, bank, place, figure + (step if number > k else 0.0), rng)
