"""House figures from version 2: real frication, peaks that are there, courses at ramps, length that does not count."""

from __future__ import annotations

import csv
import subprocess
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import fftconvolve, hilbert

from sibilant.acoustics import measure, moments, noise_spectrum
from sibilant.acoustics.cleared import cleared_moments
from sibilant.acoustics.moments import quadrature
from sibilant.acoustics.shape import level_values
from sibilant.acoustics.through import listen
from sibilant.audio import read_recording
from sibilant.methods import HOUSE_15K, get_method
from sibilant.terms import Interval, Recording, Source, Spectrum
from sibilant.terms.sums import pooled_level_db, pooled_mean_sd_hz

EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence"
RATE = 44100
KEYS = ("centroid_hz", "sd_hz", "low_mid_db", "mid_high_db")
ENVELOPES = ("steady", "am 20", "am 110", "am 220", "flutter 4", "flutter 6", "ramp 12", "ramp 24")
GLIDES = ("glide 1000", "glide 2000")
SHARED = Path(__file__).parents[3] / "shared" / "real_speech"


def envelope(kind: str, n_samples: int, rng: np.random.Generator) -> np.ndarray:
    """Gain of a sound: amplitude-modulated at full depth, fluctuating by 4 or 6 dB in 25 ms, or falling all along."""
    name, _, figure = kind.partition(" ")
    time = np.arange(n_samples) / RATE
    if name == "am":
        return 1 + np.cos(2 * np.pi * float(figure) * time + rng.uniform(0, 2 * np.pi))
    if name == "flutter":
        kernel = np.exp(-0.5 * (np.arange(-2200, 2200) / RATE / 0.0125) ** 2)
        slow = fftconvolve(rng.standard_normal(n_samples + 8000), kernel, "same")[2000 : 2000 + n_samples]
        return 10 ** (float(figure) * slow / np.sqrt(np.sum(kernel**2)) / 20)
    return 10 ** (-float(figure) * np.linspace(0, 1, n_samples) / 20) if name == "ramp" else np.ones(n_samples)


def blurred(power: np.ndarray, kind: str, grid_hz: np.ndarray) -> np.ndarray:
    """Power density of noise under an envelope: full modulation puts a sixth of the power a frequency up and down."""
    name, _, figure = kind.partition(" ")
    if name != "am":
        return power
    step = round(float(figure) / grid_hz[1])
    return power + (np.roll(power, step) + np.roll(power, -step)) / 4


def truth_of(power: np.ndarray, grid_hz: np.ndarray) -> dict[str, float]:
    found = moments(Spectrum(grid_hz.copy(), power.copy(), "exact"), HOUSE_15K.band_hz)
    bands = ((550.0, 3000.0), (3000.0, 7000.0), (7000.0, 15000.0))
    levels = [10 * np.log10(np.sum(quadrature(grid_hz, band, 1)[0] * power)) for band in bands]
    return found | {"low_mid_db": float(levels[0] - levels[1]), "mid_high_db": float(levels[1] - levels[2])}


def frication(power: np.ndarray, kind: str, n_samples: int, rng: np.random.Generator, noise_like) -> np.ndarray:
    """Noise of a spectrum under an envelope, or gliding upwards by so many Hz within 100 ms and with all its band."""
    hiss = noise_like(power, n_samples, rng)
    name, _, figure = kind.partition(" ")
    if name != "glide":
        return hiss * envelope(kind, n_samples, rng)
    shift_hz = float(figure) * (np.arange(n_samples) - n_samples / 2) / (0.1 * RATE)
    shift_hz = np.clip(shift_hz, -float(figure) / 2, float(figure) / 2)
    return (hilbert(hiss) * np.exp(2j * np.pi * np.cumsum(shift_hz) / RATE)).real


def covered(power, kind: str, duration_ms: float, n_tokens: int, grid_hz, noise_like, bounded) -> dict[str, float]:
    rng = np.random.default_rng([(*ENVELOPES, *GLIDES).index(kind), int(duration_ms)])
    n_samples, pad = int(RATE * duration_ms / 1000), int(0.02 * RATE)
    joined = np.concatenate([frication(power, kind, n_samples + 2 * pad, rng, noise_like) for _ in range(n_tokens)])
    recording = Recording((joined / np.abs(joined).max()).astype(np.float32), RATE, Source("invented", ""))
    starts = [k * (n_samples + 2 * pad) / RATE + 0.02 for k in range(n_tokens)]
    sounds = [bounded(s, s + duration_ms / 1000) for s in starts]
    found = measure(recording, sounds, HOUSE_15K)
    gliding = kind in GLIDES
    truth = mean_truth(recording, sounds) if gliding else truth_of(blurred(power, kind, grid_hz), grid_hz)
    return {key: float(np.mean([m.low[key] <= truth[key] <= m.high[key] for m in found])) for key in KEYS}


def mean_truth(recording: Recording, sounds: list) -> dict[str, float]:
    """Truth of a gliding sound: the mean spectrum of all tokens over the region measured."""
    heard = listen(recording, [sound.interval for sound in sounds], HOUSE_15K, None)
    assert heard[0] is not None
    exact = np.mean([one.rows[0] for one in heard if one is not None], axis=0)[np.newaxis]
    found = cleared_moments(exact, heard[0].setup) | level_values(exact, heard[0].setup)
    return {key: float(column[0]) for key, column in found.items()}


@pytest.mark.parametrize("kind", (*ENVELOPES, *GLIDES))
def test_intervals_hold_for_frication_that_moves(kind: str, paper, grid_hz, noise_like, bounded) -> None:
    # Asked: 93 to 97 %; before, fluctuating frication was covered in 55 to 88 %. A tenth here: 3.9 points allowed. An
    # interval without end would hold everything: in the mean no more than 98.5 %.
    shares: list[float] = []
    for shape in ("hump", "narrow hump") if kind in GLIDES else ("hump", "flat band"):
        found = covered(paper[shape], kind, 150.0, 120, grid_hz, noise_like, bounded)
        assert all(share >= 0.93 - 0.045 for share in found.values()), (shape, found)
        shares += found.values()
    assert np.mean(shares) <= 0.985, shares


def test_intervals_are_not_widened_without_end(paper, tokens_like) -> None:
    # Steady noise: no wider than a tenth over version 1, whose intervals hold there.
    tokens = tokens_like(paper["hump"], 60, 150.0, 8)
    widths = []
    for method in (get_method("house-15k/1"), HOUSE_15K):
        found = measure(tokens.recording, tokens.sounds, method)
        widths.append(np.mean([one.high["centroid_hz"] - one.low["centroid_hz"] for one in found]))
    assert 0.95 < widths[1] / widths[0] < 1.1


PLAIN = {"slope": -2.0, "steep slope": -5.0, "flat": 0.0, "shelf": None}


def without_peak(name: str, grid_hz: np.ndarray) -> np.ndarray:
    if name == "shelf":
        return np.where(grid_hz > 5000, 1.0, 10**-1.5)
    return 10 ** (PLAIN[name] * grid_hz / 10000)


def given(power: np.ndarray, n_tokens: int, duration_ms: float, tokens_like) -> float:
    tokens = tokens_like(power, n_tokens, duration_ms, 31)
    found = measure(tokens.recording, tokens.sounds, HOUSE_15K)
    return float(np.mean(["peak_hz" in one.values for one in found]))


@pytest.mark.parametrize("name", PLAIN)
def test_no_peak_where_there_is_none(name: str, grid_hz, tokens_like) -> None:
    # Issue: at most 5 %; 41 to 54 % of tokens of a slope of -2 dB/kHz were given one. A tenth: 100 tokens, 4.4 points.
    assert given(without_peak(name, grid_hz), 100, 120.0, tokens_like) <= 0.05 + 0.044


def test_a_hump_of_6_db_is_found(hump, tokens_like) -> None:
    assert given(1 + hump(6500, 700, 10**0.6 - 1), 100, 120.0, tokens_like) >= 0.95


def test_length_does_not_count_in_the_amplitude_difference(paper, tokens_like) -> None:
    # Issue: +4.1 dB at 45 ms and +1.0 at 300 before.
    means = []
    for duration_ms in (45.0, 300.0):
        tokens = tokens_like(paper["hump"], 100, duration_ms, 3)
        found = measure(tokens.recording, tokens.sounds, HOUSE_15K)
        means.append(np.mean([one.values["amplitude_difference_db"] for one in found]))
    assert abs(means[0] - means[1]) < 0.6


def ramped(snr_db: float, paper, noise_like, recorded, bounded, n_tokens: int = 40) -> list:
    """A steady spectrum with 30 ms ramps in white noise, measured with its pauses."""
    rng, found = np.random.default_rng(2), []
    for _ in range(n_tokens):
        hiss = noise_like(paper["hump"], int(0.15 * RATE), rng)
        ramp = np.sin(np.pi / 2 * np.linspace(0, 1, int(0.03 * RATE))) ** 2
        gain = np.ones(hiss.size)
        gain[: ramp.size], gain[-ramp.size :] = ramp, ramp[::-1]
        samples = np.zeros(int(0.9 * RATE))
        samples[int(0.35 * RATE) : int(0.35 * RATE) + hiss.size] = hiss / hiss.std() * gain
        samples += rng.standard_normal(samples.size) * 10 ** (-snr_db / 20) * 1.42
        recording = recorded(samples)
        noise = noise_spectrum(recording, [Interval(0.0, 0.34)], [Interval(0.55, 0.9)])
        found.append(measure(recording, [bounded(0.353, 0.497)], HOUSE_15K, noise=[noise])[0])
    return found


def test_courses_do_not_bow_at_ramps_in_noise(paper, noise_like, recorded, bounded) -> None:
    # Truth on paper: no course at all. Before: -59 to -749 Hz of bow at 30 and 20 dB.
    for snr_db in (20.0, 12.0):
        found = ramped(snr_db, paper, noise_like, recorded, bounded)
        bow = np.array([one.values["centroid_course_2_hz"] for one in found])
        assert abs(bow.mean()) < 3 * bow.std() / np.sqrt(bow.size) + 10
        held = [one.low["centroid_course_2_hz"] <= 0 <= one.high["centroid_course_2_hz"] for one in found]
        assert np.mean(held) >= 0.8


def test_movement_beyond_chance(bounded, noise_like, hump) -> None:
    # A glide of 2000 Hz over 300 ms: over its middle half, straight, SD 2000 * 0.5 / sqrt(12) = 289 Hz (less at the
    # frames' centres); a steady sound about 0.
    rng = np.random.default_rng(4)
    steady, gliding = [], []
    for _ in range(20):
        n = int(0.34 * RATE)
        slow = [noise_like(hump(0, 500) + 1e-6, n, rng) for _ in range(2)]
        for found, reach in ((steady, 0.0), (gliding, 2000.0)):
            phase = 2 * np.pi * np.cumsum(7000 + reach * np.linspace(-0.5, 0.5, n)) / RATE
            samples = slow[0] * np.cos(phase) - slow[1] * np.sin(phase)
            recording = Recording((samples / np.abs(samples).max()).astype(np.float32), RATE, Source("invented", ""))
            found.append(measure(recording, [bounded(0.02, 0.32)], HOUSE_15K)[0].values["centroid_movement_hz"])
    assert np.mean(gliding) == pytest.approx(250, abs=70)
    assert np.mean(steady) < 60


def test_buried_cells_say_so_and_keep_their_uncut_sums(paper, noise_like, recorded, bounded) -> None:
    found = ramped(6.0, paper, noise_like, recorded, bounded, 30)
    buried = [one for one in found if "low_mid_db" not in one.values]
    assert len(buried) > 3 and all("buried" in one.flags and "low_mid_db" in one.uncut for one in buried)
    clean = ramped(60.0, paper, noise_like, recorded, bounded, 30)
    truth = pooled_level_db([one.sums for one in clean], "low", "mid").value
    pooled = pooled_level_db([one.sums for one in found], "low", "mid")
    assert pooled.at_most > truth and (np.isnan(pooled.value) or abs(pooled.value - truth) < 3 * pooled.error)
    mean, spread = pooled_mean_sd_hz([one.sums for one in found])
    assert mean == pytest.approx(7000, rel=0.02) and spread == pytest.approx(1530, rel=0.1)


def test_without_a_pause_nothing_is_taken_out_and_said(paper, tokens_like) -> None:
    tokens = tokens_like(paper["hump"], 2, 150.0, 8)
    found = measure(tokens.recording, tokens.sounds, HOUSE_15K)
    assert all("uncorrected" in one.flags and "centroid_hz" in one.values for one in found)


def neighbours(bounded, key: str, phones: tuple[str, ...]) -> tuple[int, float, float]:
    """Neighbouring 41 ms pieces of real sounds: pairs, share that differs, and share once a straight drift is out."""
    with (SHARED / "marks_more.csv").open(encoding="utf-8", newline="") as stream:
        marks = [row for row in csv.DictReader(stream) if row["kind"] != "other" and row["phone"] in phones]
    before, after = [], []
    for row in marks:
        recording = read_recording(SHARED / row["file"])
        if recording.sampling_rate_hz < 32000:
            continue
        start, stop = float(row["start_s"]) + 0.015, float(row["end_s"]) - 0.015
        edges = [start + 0.041 * k for k in range(int((stop - start) / 0.041) + 1)]
        if len(edges) < 4:
            continue
        found = measure(recording, [bounded(a, b) for a, b in pairwise(edges)], HOUSE_15K)
        if any(key not in one.low or not np.isfinite(one.low[key]) for one in found):
            continue
        values = np.array([one.values[key] for one in found])
        errors = np.array([(one.high[key] - one.low[key]) / 2 / 1.959964 for one in found])
        step = np.arange(values.size) - (values.size - 1) / 2
        slope = step / np.sum(step**2)
        for k in range(values.size - 1):
            plain = np.zeros(values.size)
            plain[k], plain[k + 1] = -1.0, 1.0
            for kept, weights in ((before, plain), (after, plain - slope)):
                kept.append(abs(np.sum(weights * values)) > 1.959964 * np.sqrt(np.sum((weights * errors) ** 2)))
    return len(before), float(np.mean(before)), float(np.mean(after))


@pytest.mark.long
def test_coverage_of_moving_frication_in_full(paper, grid_hz, noise_like, bounded) -> None:
    """1,000 tokens a cell; writes docs/evidence/acoustics_moving.csv, neighbouring pieces of real sounds last."""
    n_tokens = 1000
    rows: list[list[object]] = []
    for shape in ("flat band", "hump", "narrow hump"):
        for duration_ms in (60.0, 100.0, 150.0, 300.0):
            for kind in ENVELOPES if shape == "flat band" else (*ENVELOPES, *GLIDES):
                found = covered(paper[shape], kind, duration_ms, n_tokens, grid_hz, noise_like, bounded)
                rows += [[shape, kind, duration_ms, key, n_tokens, f"{share:.3f}"] for key, share in found.items()]
    invented = list(rows)
    if SHARED.exists():
        for name, phones in (("real /s/", ("s",)), ("real /ʃ/", ("ʃ", "ʂ", "ɕ"))):
            for key in KEYS[:2]:
                n_pairs, before, after = neighbours(bounded, key, phones)
                for what, share in (("as they are", before), ("straight drift out", after)):
                    rows.append([name, f"neighbouring pieces, {what}", 41.0, key, n_pairs, f"{1 - share:.3f}"])
    _write("acoustics_moving.csv", ["shape", "envelope", "duration_ms", "measure", "n_tokens", "coverage_95"], rows)
    margin = 4 * np.sqrt(0.05 * 0.95 / n_tokens)
    low = [row for row in invented if float(str(row[-1])) < 0.93 - margin]
    assert len(low) <= len(rows) // 50, low
    for kind in (*ENVELOPES, *GLIDES):
        assert np.mean([float(str(row[-1])) for row in invented if row[1] == kind]) <= 0.975, kind


@pytest.mark.long
def test_peaks_in_full(grid_hz, hump, tokens_like) -> None:
    """1,000 tokens a cell; writes docs/evidence/acoustics_peaks.csv."""
    spectra = {name: without_peak(name, grid_hz) for name in PLAIN}
    spectra |= {f"hump of 6 dB, SD {w} Hz": 1 + hump(6500, w, 10**0.6 - 1) for w in (500, 700, 1000)}
    rows = [
        [name, duration_ms, 1000, f"{given(power, 1000, duration_ms, tokens_like):.3f}"]
        for name, power in spectra.items()
        for duration_ms in (60.0, 120.0, 250.0)
    ]
    _write("acoustics_peaks.csv", ["spectrum", "duration_ms", "n_tokens", "peak_given"], rows)
    assert all(float(str(r[-1])) <= 0.05 for r in rows if str(r[0]) in PLAIN), rows
    assert all(float(str(r[-1])) >= 0.95 for r in rows if str(r[0]).startswith("hump") and r[1] != 60.0), rows


def _write(name: str, head: list[str], rows: list[list[object]]) -> None:
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=EVIDENCE.parent, capture_output=True, text=True, check=False
    ).stdout.strip()
    with (EVIDENCE / name).open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, lineterminator="\n").writerows([[*head, "commit"], *([*row, commit] for row in rows)])
