"""Whistles that glide are found tonal; plain, lateral and real typical hisses are not.

The thresholds were set on the open recordings (``../shared/real_speech``), so that their false alarms are no honest
figure; those of unseen speakers stand in ``docs/methods.md``. The invented spectra were not used.
"""

from __future__ import annotations

import csv
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from sibilant.acoustics.tonality import Ridge, ridges
from sibilant.audio import read_recording
from sibilant.methods import HOUSE_7K, HOUSE_15K
from sibilant.terms import Interval, Method, Recording

RATE = 44100
LENGTH = 16384
GRID = np.fft.rfftfreq(LENGTH, 1 / RATE)
SHARED = Path(__file__).parents[3] / "shared" / "real_speech"
PHONES = {"s": "s", "z": "z", "ʃ": "ʃ", "ʂ": "ʃ", "ɕ": "ʃ"}
EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "acoustics_tonality.csv"


def resonance(centre_hz: float, width_hz: float) -> np.ndarray:
    return 1 / (1 + ((GRID - centre_hz) / (width_hz / 2)) ** 2)


def plain_power(rng: np.random.Generator) -> np.ndarray:
    """A lopsided hump at 5.5 to 9.5 kHz with one to three resonances 600 to 1500 Hz wide over it."""
    centre = rng.uniform(5500, 9500)
    width = np.where(centre > GRID, rng.uniform(600, 1500), rng.uniform(1500, 4000))
    power = np.exp(-0.5 * ((GRID - centre) / width) ** 2) + 10 ** -rng.uniform(2.5, 4)
    for _ in range(rng.integers(1, 4)):
        power = power * (1 + rng.uniform(0, 3) * resonance(rng.uniform(3500, 12000), rng.uniform(600, 1500)))
    return power


def lateral_power(rng: np.random.Generator) -> np.ndarray:
    """Two or three humps at 2 to 5 kHz, 600 to 1200 Hz wide, over a floor."""
    power = np.full(GRID.size, 10 ** -rng.uniform(2, 3.5))
    for _ in range(rng.integers(2, 4)):
        power = power + rng.uniform(0.2, 1) * resonance(rng.uniform(2000, 5000), rng.uniform(600, 1200)) ** 2
    return power


def hiss(power: np.ndarray, n_samples: int, rng: np.random.Generator) -> np.ndarray:
    noise = np.fft.irfft(np.fft.rfft(rng.standard_normal(LENGTH)) * np.sqrt(power / np.mean(power)))
    return noise[:n_samples]


def whistle(n_samples: int, rng: np.random.Generator, rate: int = RATE) -> tuple[np.ndarray, float, float]:
    """A band of noise 100 to 400 Hz wide gliding at up to 6 Hz a ms either way; its width and middle frequency."""
    width, glide, middle = rng.uniform(100, 400), rng.uniform(-6, 6), rng.uniform(4200, min(9500, 0.39 * rate))
    slow = rng.standard_normal(2 * LENGTH) + 1j * rng.standard_normal(2 * LENGTH)
    slow = np.fft.ifft(np.fft.fft(slow) * (np.abs(np.fft.fftfreq(2 * LENGTH, 1 / rate)) < width / 2))[:n_samples]
    time = np.arange(n_samples) / rate
    phase = 2 * np.pi * (middle * time + 1000 * glide * (time**2 / 2 - time * time[-1] / 2))
    tone = (slow * np.exp(1j * phase)).real
    return tone / np.sqrt(np.mean(tone**2)), width, middle


def whistled(hissing: np.ndarray, level_db: float, rng: np.random.Generator) -> np.ndarray:
    """A hiss with a whistle, of the hiss's own power changed by ``level_db``."""
    tone, _, _ = whistle(hissing.size, rng)
    return hissing + tone * np.sqrt(np.mean(hissing**2)) * 10 ** (level_db / 20)


def invented(kind: str, n_samples: int, rng: np.random.Generator) -> np.ndarray:
    power = lateral_power(rng) if kind == "lateral" else plain_power(rng)
    hissing = hiss(power, n_samples, rng)
    return whistled(hissing, float(kind.split()[1]), rng) if kind.startswith("whistled") else hissing


def found_in(kind: str, n_tokens: int, seed: int, recorded) -> list[Ridge]:
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(n_tokens):
        duration_s = rng.uniform(0.07, 0.25)
        samples = invented(kind, int((duration_s + 0.04) * RATE), rng)
        ridge = ridges(recorded(samples), [Interval(0.02, 0.02 + duration_s)], HOUSE_15K)[0]
        assert ridge is not None
        found.append(ridge)
    return found


@pytest.mark.parametrize(
    ("kind", "least", "most"),
    [("whistled 0", 0.92, 1.0), ("whistled 3", 0.95, 1.0), ("plain", 0.0, 0.01), ("lateral", 0.0, 0.02)],
)
def test_a_seeded_tenth(kind: str, least: float, most: float, recorded) -> None:
    tonal = np.mean([ridge.tonal for ridge in found_in(kind, 100, 31, recorded)])
    assert least <= tonal <= most


@dataclass(frozen=True)
class Real:
    phone: str
    speaker: str
    recording: Recording
    interval: Interval

    @property
    def method(self) -> Method:
        return HOUSE_15K if self.recording.sampling_rate_hz >= 32000 else HOUSE_7K

    def with_whistle(self, level_db: float, rng: np.random.Generator) -> Recording:
        """The same sound with a whistle under its own envelope, ``level_db`` over its power above 1 kHz."""
        rate, samples = self.recording.sampling_rate_hz, self.recording.samples.astype(np.float64)
        inside = slice(int(self.interval.onset_s * rate), int(self.interval.offset_s * rate))
        own = samples[inside]
        high = np.fft.irfft(np.fft.rfft(own) * (np.fft.rfftfreq(own.size, 1 / rate) > 1000), own.size)
        window = np.ones(rate // 100) / (rate // 100)
        tone = whistle(own.size, rng, rate)[0] * np.sqrt(np.convolve(high**2, window, mode="same"))
        samples[inside] += tone * np.sqrt(np.mean(high**2) / np.mean(tone**2)) * 10 ** (level_db / 20)
        return Recording(samples.astype(np.float32), rate, self.recording.source)


@pytest.fixture(scope="module")
def real() -> list[Real]:
    if not (SHARED / "manifest.csv").exists():
        pytest.skip("the marked clips (../shared/real_speech) are not here")
    with (SHARED / "manifest.csv").open(encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["marked_start_s"]]
    with (SHARED / "marks_more.csv").open(encoding="utf-8", newline="") as stream:
        speakers = {row["file"]: row["speaker"] for row in rows}
        more = [row for row in csv.DictReader(stream) if row["kind"] != "other"]
    marks = {(r["file"], r["target"], r["marked_start_s"], r["marked_end_s"]) for r in rows}
    marks |= {(r["file"], r["phone"], r["start_s"], r["end_s"]) for r in more}
    made = []
    for file, phone, onset, offset in sorted(marks):
        interval = Interval(float(onset), float(offset))
        if phone in PHONES and interval.duration_ms >= 50:
            sound = read_recording(SHARED / file)
            made.append(Real(PHONES[phone], speakers.get(file, file), sound, interval))
    return made


def share_tonal(sounds: list[Real], level_db: float | None, seed: int = 4) -> float:
    rng = np.random.default_rng(seed)
    found = []
    for sound in sounds:
        recording = sound.recording if level_db is None else sound.with_whistle(level_db, rng)
        ridge = ridges(recording, [sound.interval], sound.method)[0]
        found.append(ridge is not None and ridge.tonal)
    return float(np.mean(found))


def test_real_sounds(real: list[Real]) -> None:
    # issue: at most 2 % of typical /s/ and 3 % of /ʃ/; whistles 100 to 400 Hz wide at the hiss's own level in 95 %
    assert len(real) > 150
    assert share_tonal([r for r in real if r.phone == "s"], None) <= 0.02
    assert share_tonal([r for r in real if r.phone == "ʃ"], None) <= 0.03
    assert share_tonal([r for r in real if r.recording.sampling_rate_hz >= 32000], 0.0) >= 0.95


def test_ridge_follows_the_glide(recorded) -> None:
    # Paper: the whistle's middle frequency at the token's middle, 150 Hz give or take.
    rng = np.random.default_rng(3)
    tone, _, middle = whistle(int(0.2 * RATE), rng)
    ridge = ridges(recorded(tone + 0.01 * rng.standard_normal(tone.size)), [Interval(0.0, 0.2)], HOUSE_15K)[0]
    assert ridge is not None and ridge.tonal
    assert np.median(ridge.frequency_hz) == pytest.approx(middle, abs=250)


def test_none_where_nothing_can_be_said(recorded) -> None:
    assert ridges(recorded(np.zeros(44100)), [Interval(0.2, 0.4)], HOUSE_15K) == [None]
    assert ridges(recorded(np.ones(1000)), [Interval(0.0, 0.02)], HOUSE_15K) == [None]
    assert (
        len(ridges(recorded(np.random.default_rng(1).standard_normal(8000), 16000), [Interval(0.1, 0.3)], HOUSE_7K))
        == 1
    )


LEVELS_DB = (3.0, 0.0, -1.5, -3.0, -4.5, -6.0)


@pytest.mark.long
def test_whistles_and_false_alarms_in_full(real: list[Real], recorded) -> None:
    """Writes docs/evidence/acoustics_tonality.csv: false alarms, and the share found by a whistle's level."""
    invented_kinds = ("plain", "lateral", *(f"whistled {level:g}" for level in LEVELS_DB))
    shares: list[tuple[str, str, str, int, float]] = []
    for kind in invented_kinds:
        share = float(np.mean([r.tonal for r in found_in(kind, 1000, 77, recorded)]))
        shares.append(("invented spectra", "no", kind, 1000, share))
    for phone in ("s", "ʃ", "z"):
        own = [r for r in real if r.phone == phone]
        shares.append(("open recordings", "yes", f"{phone} as it is", len(own), share_tonal(own, None)))
    wide = [r for r in real if r.recording.sampling_rate_hz >= 32000]
    for level_db in LEVELS_DB:
        found = [share_tonal(wide, level_db, seed) for seed in range(5)]
        shares.append(("open recordings", "yes", f"whistled {level_db:g}", 5 * len(wide), float(np.mean(found))))
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=EVIDENCE.parent, capture_output=True, text=True, check=False
    ).stdout.strip()
    with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
        head = ["material", "used_for_the_rule", "kind", "n_tokens", "share_tonal", "commit"]
        rows = [[*row[:4], f"{row[4]:.4f}", commit] for row in shares]
        csv.writer(stream, lineterminator="\n").writerows([head, *rows])
    by_kind = {(row[0], row[2]): row[4] for row in shares}
    for material in ("invented spectra", "open recordings"):
        assert by_kind[material, "whistled 0"] >= 0.95
    assert by_kind["invented spectra", "plain"] < 0.01 and by_kind["invented spectra", "lateral"] < 0.01
