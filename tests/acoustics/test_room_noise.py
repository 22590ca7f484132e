"""One invented voice in unlike rooms: bias, coverage and emptied cells of figures with the noise taken out.

Truth is the generating spectrum through the same estimator: the mean spectrum of all the quiet tokens of a kind. The
rooms are invented (white; pink, 1/f; fan, 1/f down to 250 Hz over a tenth of white; babble, pink whose level wanders by
4 dB within 0.15 s; drifting, pink that rises by 3 dB from the pause before to the pause after), at ratios of the
typical /s/'s level to the noise's at 4-10 kHz; the weak kind is 6 dB under the typical one in the same rooms.
"""

from __future__ import annotations

import csv
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from scipy.fft import irfft, rfft

from sibilant.acoustics import noise_spectrum
from sibilant.acoustics.certainty import delta_halves
from sibilant.acoustics.cleared import Cleared, clear_moments, cleared_moments, level_reaches, moment_reaches
from sibilant.acoustics.frames import power_densities
from sibilant.acoustics.moments import weighted_sums
from sibilant.acoustics.noise import on_setup
from sibilant.acoustics.pieces import Region, variance_densities
from sibilant.acoustics.setup import prepare
from sibilant.acoustics.shape import level_values, moment_values
from sibilant.methods import HOUSE_15K
from sibilant.synthetic.shapes import shape_of
from sibilant.terms import Interval, NoiseSpectrum, Recording, Source
from sibilant.terms.sums import pooled_level_db

EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "acoustics_room_noise.csv"
RATE, LENGTH, N_FRAMES = 44100, 1 << 13, 6
GRID = np.fft.rfftfreq(LENGTH, 1 / RATE)
SETUP = prepare(HOUSE_15K, RATE, 882)
STARTS = tuple(441 * k for k in range(N_FRAMES))
N_SAMPLES = STARTS[-1] + 882
SNRS = (40, 30, 25, 20, 15, 12)
KINDS = {
    "woman": (shape_of("typical"), 0.0),
    "man": (shape_of("typical", 0.85), 0.0),
    "child": (shape_of("typical", 1.12), 0.0),
    "theta-like": (shape_of("frontal"), 0.0),
    "lateral": (shape_of("lateral"), 0.0),
    "retracted": (shape_of("retracted"), 0.0),
    "whistled": (shape_of("whistled"), 0.0),
    "weak": (shape_of("typical"), -6.0),
}
ROOMS = ("white", "pink", "fan", "babble", "drifting")
APART = ("babble", "drifting")
LEVELS = {"low_mid_db": ("low", "mid"), "mid_high_db": ("mid", "high")}


def in_band(power: np.ndarray) -> float:
    return float(np.sum(power[(GRID >= 4000) & (GRID <= 10000)]))


def noise_of(power: np.ndarray, n_tokens: int, n_samples: int, rng: np.random.Generator) -> np.ndarray:
    """Gaussian noise (n_tokens, n_samples) whose power at 4-10 kHz is one."""
    weight = np.sqrt(power / in_band(power) * LENGTH)
    weight *= np.sqrt(0.5)
    made = [irfft(rfft(rng.standard_normal(LENGTH)) * weight, LENGTH)[:n_samples] for _ in range(n_tokens)]
    return np.array(made, dtype=np.float32)


def room_power(room: str) -> np.ndarray:
    if room == "white":
        return np.ones_like(GRID)
    falling = 1 / np.maximum(GRID, 50.0)
    return falling if room != "fan" else 1 / np.maximum(GRID, 250.0) + 0.1 / 6000


@dataclass(frozen=True)
class Under:
    """Noise under each token (t, n), and the spectrum that its pauses gave."""

    samples: np.ndarray
    spectra: list[NoiseSpectrum]


@lru_cache(maxsize=8)
def under(room: str, n_tokens: int) -> Under:
    """A third of a second before and after each token, and the token's own stretch between, one noise throughout."""
    rng = np.random.default_rng([ROOMS.index(room), n_tokens])
    side, samples, spectra = round(0.33 * RATE), [], []
    power, total = room_power(room), 2 * round(0.33 * RATE) + N_SAMPLES
    weight = np.sqrt(0.5 * np.interp(np.fft.rfftfreq(1 << 15, 1 / RATE), GRID, power) / in_band(power) * LENGTH)
    for _ in range(n_tokens):
        noise = irfft(rfft(rng.standard_normal(1 << 15)) * weight, 1 << 15)[:total]
        if room == "babble":
            knots = rng.normal(0.0, 4.0, total // 6600 + 3)
            noise = noise * 10 ** (np.interp(np.arange(total) / 6600, np.arange(knots.size), knots) / 20)
        if room == "drifting":
            noise = noise * 10 ** (np.linspace(-1.5, 1.5, total) / 20)
        recording = Recording(noise.astype(np.float32), RATE, Source("invented", ""))
        ends = [Interval(0.0, side / RATE)], [Interval((side + N_SAMPLES) / RATE, total / RATE)]
        found = noise_spectrum(recording, *ends)
        assert found is not None
        samples.append(noise[side : side + N_SAMPLES].astype(np.float32))
        spectra.append(found)
    return Under(np.array(samples), spectra)


def heard(samples: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Averaged spectra and both variance densities, each (t, m)."""
    shares = np.full(N_FRAMES, 1 / N_FRAMES)
    found = []
    for one in samples:
        grid = power_densities(one, STARTS, SETUP)
        found.append((np.mean(grid, axis=0), *variance_densities([Region(one, STARTS, shares, grid)], SETUP)[0]))
    return tuple(np.array(part) for part in zip(*found, strict=True))  # type: ignore[return-value]


def cells(kind: str, n_tokens: int, rooms: tuple[str, ...], snrs: tuple[int, ...]) -> Iterator[dict[str, object]]:
    shape, level_db = KINDS[kind]
    sound = noise_of(shape.power(GRID), n_tokens, N_SAMPLES, np.random.default_rng(list(KINDS).index(kind)))
    quiet = heard(sound)[0]
    exact = np.mean(quiet, axis=0)[np.newaxis]
    truth = {
        key: float(column[0]) for key, column in (cleared_moments(exact, SETUP) | level_values(exact, SETUP)).items()
    }
    before = {key: float(column[0]) for key, column in moment_values(exact, SETUP).items()}
    for room in rooms:
        beside = under(room, n_tokens)
        for snr in snrs:
            gain = 10 ** (-(snr + level_db) / 20)
            mixed = heard(sound + np.float32(gain) * beside.samples)
            for row in measured(mixed, beside, gain**2, truth, before):
                yield {"kind": kind, "room": room, "snr_db": snr, "n_tokens": n_tokens, **row}


def cleared_of(mixed: tuple[np.ndarray, ...], beside: Under, scale: float) -> Cleared:
    placed = [on_setup(one, SETUP) for one in beside.spectra]
    noise, drift = (scale * np.array([pair[part] for pair in placed]) for part in (0, 1))
    times_s = np.array([one.dof for one in beside.spectra])[:, np.newaxis] / (2 * SETUP.correlation_hz)
    return Cleared(mixed[0], noise, mixed[1], mixed[2], noise**2 / times_s, drift)


def measured(mixed, beside: Under, scale: float, truth, before) -> Iterator[dict[str, object]]:
    cleared = cleared_of(mixed, beside, scale)
    reaches, stands = moment_reaches(cleared, SETUP), clear_moments(cleared, SETUP)
    plain = moment_values(cleared.observed, SETUP) | level_values(cleared.observed, SETUP)
    nominal = delta_halves(cleared.observed, SETUP, np.full(len(cleared.observed), SETUP.effective_s(STARTS)))
    for key in ("centroid_hz", "sd_hz"):
        value, low, high = reaches[key]
        yield {
            "measure": key, "truth": truth[key], "unit": "%",
            "bias": 100 * (np.nanmean(value) - truth[key]) / truth[key],
            "coverage_95": np.mean((low <= truth[key]) & (truth[key] <= high)), "emptied": np.mean(~stands[key]),
            "bias_version_1": 100 * (np.mean(plain[key]) - before[key]) / before[key],
            "coverage_version_1": np.mean(np.abs(plain[key] - before[key]) <= nominal[key]),
        }  # fmt: skip
    sums = weighted_sums(cleared.rows, SETUP.level_weights)
    pooled = [dict(zip(("low", "mid", "high"), row, strict=True)) for row in sums / np.max(sums)]
    for key, (value, low, high, clear) in level_reaches(cleared, SETUP).items():
        over, under_ = LEVELS[key]
        swapped = key == "mid_high_db" and truth[key] < 0
        yield {
            "measure": key, "truth": truth[key], "unit": "dB",
            "bias": pooled_level_db(pooled, over, under_).value - truth[key] if not swapped
            else -pooled_level_db(pooled, under_, over).value - truth[key],
            "coverage_95": np.mean((low <= truth[key]) & (truth[key] <= high)), "emptied": np.mean(~clear),
            "bias_version_1": np.mean(plain[key]) - truth[key],
            "coverage_version_1": np.mean(np.abs(plain[key] - truth[key]) <= nominal[key]),
        }  # fmt: skip


def allowed(key: str, snr: int) -> float:
    """Asked: the mean within 0.7 % down to 20 dB and 1.5 % at 12, the SD within 1.5 and 3 %, levels within 0.5 dB."""
    return {"centroid_hz": (0.7, 1.5), "sd_hz": (1.5, 3.0)}.get(key, (0.5, 0.5))[snr < 20]


@pytest.mark.parametrize("kind", ["woman", "retracted", "whistled", "weak"])
def test_a_voice_stays_put_when_the_room_changes(kind: str) -> None:
    for row in cells(kind, 160, ("white", "pink"), (40, 20, 12)):
        scatter = 2.5 / np.sqrt(160) * 100 * 0.06
        if row["measure"] in ("centroid_hz", "sd_hz") and row["emptied"] < 0.05:
            assert abs(row["bias"]) <= allowed(row["measure"], row["snr_db"]) + scatter, row
            assert row["coverage_95"] >= 0.93 - 0.06, row
        if row["snr_db"] == 20 and row["measure"] == "centroid_hz":
            assert row["emptied"] == 0.0, row
        if row["snr_db"] == 12 and row["room"] == "white" and kind != "weak" and row["measure"] == "sd_hz":
            assert abs(row["bias_version_1"]) > 4.0, "the check could fail: without it the room shows"


def test_uncut_sums_stay_unbiased_where_nearly_all_are_buried() -> None:
    # A quarter of the cells or more are emptied; what is left alone would read high, the pooled sums do not.
    rows = [row for row in cells("man", 400, ("white",), (15, 12)) if row["measure"] == "low_mid_db"]
    assert any(0.25 < row["emptied"] < 1.0 for row in rows)
    assert all(abs(row["bias"]) < 0.5 for row in rows), rows


def test_what_is_buried_at_20_db_no_knowledge_of_the_noise_would_lift() -> None:
    """Low under mid band, pink noise: with the noise's spectrum known exactly the weak and whistled stay empty.

    The plain sum is the only unbiased linear estimate for sounds of any shape; its error is then that of the noise
    under the sound itself, about one over the root of bandwidth times length.
    """
    noise = heard(noise_of(room_power("pink"), 60, N_SAMPLES, np.random.default_rng(9)))[0].mean(axis=0)
    for kind, least in (("weak", 0.9), ("whistled", 0.98), ("lateral", 0.0)):
        shape, level_db = KINDS[kind]
        sound = noise_of(shape.power(GRID), 60, N_SAMPLES, np.random.default_rng(5))
        gain = 10 ** (-(20 + level_db) / 20)
        mixed = heard(sound + np.float32(gain) * noise_of(room_power("pink"), 60, N_SAMPLES, np.random.default_rng(6)))
        known = np.broadcast_to(gain**2 * noise, mixed[0].shape)
        nothing = np.zeros_like(known)
        reaches = level_reaches(Cleared(mixed[0], known, mixed[1], mixed[2], nothing, nothing), SETUP)
        emptied = float(np.mean(~reaches["low_mid_db"][3]))
        assert least <= emptied <= (1.0 if least else 0.0), (kind, emptied)


@pytest.mark.parametrize("kind", ["woman", "weak"])
def test_intervals_hold_in_babble(kind: str) -> None:
    # Before the wandering of the pauses was counted: mean 78, SD 68, low-mid 71 % at 20 dB (weak); before intervals
    # held what the sums don't refute, the SD 43 % at 12 dB, nearly all of it buried.
    rows = list(cells(kind, 120, ("babble",), (25, 20, 12)))
    for row in rows:
        assert row["coverage_95"] >= 0.93 - 0.07, row
    # Neither withholding nor an interval without end would do: the mean is given, and not everything is held.
    good = [row for row in rows if row["snr_db"] >= 20]
    assert all(row["emptied"] <= 0.05 for row in good if row["measure"] == "centroid_hz"), rows
    assert np.mean([row["coverage_95"] for row in good]) <= 0.985, rows


def place_of(row: dict[str, object]) -> tuple[int, int, int]:
    return list(KINDS).index(str(row["kind"])), ROOMS.index(str(row["room"])), SNRS.index(int(str(row["snr_db"])))


@pytest.mark.long
@pytest.mark.parametrize("room", ROOMS)
def test_rooms_in_full(room: str) -> None:
    """4,000 tokens a cell; replaces a room's rows in docs/evidence/acoustics_room_noise.csv, kind by kind."""
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=EVIDENCE.parent, capture_output=True, text=True, check=False
    ).stdout.strip()
    misses = []
    for kind in KINDS:
        rows = [{**row, "commit": commit} for row in cells(kind, 4000, (room,), SNRS)]
        told = [{k: f"{v:.4g}" if isinstance(v, float) else v for k, v in row.items()} for row in rows]
        places = {place_of(row) for row in rows}
        with EVIDENCE.open(encoding="utf-8", newline="") as stream:
            told += [row for row in csv.DictReader(stream) if place_of(row) not in places]
        with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, list(told[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(sorted(told, key=place_of))
        misses += [row for row in rows if room not in APART and row["emptied"] < 0.05 and missed(row)]
    assert not misses, misses


def missed(row: dict[str, object]) -> bool:
    """Outside the bias asked for, or coverage outside 93-97 % by more than 4 Monte-Carlo standard errors."""
    margin = 4 * np.sqrt(0.05 * 0.95 / float(str(row["n_tokens"])))
    off = abs(float(str(row["bias"]))) > allowed(str(row["measure"]), int(str(row["snr_db"])))
    return off or not 0.93 - margin <= float(str(row["coverage_95"])) <= 0.97 + margin
