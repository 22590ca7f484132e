"""What each analysis choice does to the same invented tokens, against what it does to recorded women's and men's /s/.

The invented groups are lopsided humps with a lower shoulder, a floor and some low-frequency sound. Their parameters
were fitted by least squares to one row of the reference only (M1, SD, skewness and kurtosis over 1 to 15 kHz, and the
spread of M1 between speakers), and the low-frequency sound to the row "lower limit 0 Hz"; every other effect is
foretold. Invented data - not a person.
"""

from __future__ import annotations

import csv
import dataclasses
import subprocess
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from sibilant.acoustics import measure
from sibilant.methods import OPEN_ADULT
from sibilant.terms import Method, MicrophoneResponse, Recording, SibilantInterval, Window

ROOT = Path(__file__).parents[2]
REFERENCE = ROOT.parent / "shared" / "reference" / "method_effect_adult.csv"
EVIDENCE = ROOT / "docs" / "evidence" / "acoustics_method_effects.csv"
PLAIN = "reference 1-15 kHz power multitaper middle half no pre-emphasis"
HALF = "upper limit 11.025 kHz (22.05 kHz sampling)"
FOURIER = "40 ms Hamming FFT 0-11.025 kHz no pre-emphasis"
LOSS_HZ = np.arange(100.0, 22001.0, 50.0)


@dataclasses.dataclass(frozen=True)
class Group:
    """A group's speakers: how many, mean and SD of M1, and the fitted shape."""

    n: int
    mean_hz: float
    sd_hz: float
    top_hz: float
    below_hz: float
    above_hz: float
    floor_db: float
    shoulder_db: float
    low_db: float

    def powers(self, grid_hz: np.ndarray) -> list[np.ndarray]:
        """Power of each speaker: the shape stretched along frequency, by quantiles of a normal."""
        z = norm.ppf((np.arange(self.n) + 0.5) / self.n)
        return [self._power(grid_hz / (1 + s * self.sd_hz / self.mean_hz), grid_hz) for s in z / z.std(ddof=1)]

    def _power(self, f: np.ndarray, grid_hz: np.ndarray) -> np.ndarray:
        width = np.where(f < self.top_hz, self.below_hz, self.above_hz)
        power = np.exp(-0.5 * ((f - self.top_hz) / width) ** 2)
        power += 10 ** (self.shoulder_db / 10) * np.exp(-0.5 * ((f - 0.62 * self.top_hz) / (0.12 * self.top_hz)) ** 2)
        power += 10 ** (self.floor_db / 10) / (1 + (grid_hz / 14000) ** 8)
        return power + 10 ** (self.low_db / 10) * np.exp(-grid_hz / 300)


GROUPS = {
    "women": Group(10, 8662, 713, 7562.28, 500.0, 2180.67, -14.14, -17.52, -4.30),
    "men": Group(6, 6667, 996, 5907.96, 1027.25, 2070.36, -20.88, -12.0, -8.59),
}


def loss(name: str, lost_db: np.ndarray) -> MicrophoneResponse:
    """A loss, as the gain that would be divided out to bring it about."""
    return MicrophoneResponse(name, tuple(LOSS_HZ), tuple(float(v) for v in lost_db))


def fourier(pre_emphasis: float | None) -> Method:
    return Method(
        "fourier", 1, (0.0, 11025.0), (Window("middle", 0.0, 40.0),), rate_hz=22050.0, taper="hamming", n_tapers=1,
        average="none", pre_emphasis=pre_emphasis,
    )  # fmt: skip


def band(low_hz: float, high_hz: float, **changes: object) -> Method:
    return dataclasses.replace(OPEN_ADULT, band_hz=(low_hz, high_hz), **changes)  # type: ignore[arg-type]


CHANGES: dict[str, tuple[Method, MicrophoneResponse | None, float | None]] = {
    PLAIN: (OPEN_ADULT, None, None),
    "upper limit 8 kHz (16 kHz sampling)": (band(1000, 8000), None, None),
    "upper limit 10 kHz": (band(1000, 10000), None, None),
    HALF: (band(1000, 11025), None, None),
    "upper limit 12 kHz": (band(1000, 12000), None, None),
    "upper limit 16 kHz (32 kHz sampling)": (band(1000, 16000), None, None),
    "upper limit 20 kHz": (band(1000, 20000), None, None),
    "lower limit 0 Hz": (band(0, 15000), None, None),
    "lower limit 300 Hz": (band(300, 15000), None, None),
    "lower limit 550 Hz": (band(550, 15000), None, None),
    "lower limit 1500 Hz": (band(1500, 15000), None, None),
    "lower limit 2000 Hz": (band(2000, 15000), None, None),
    "microphone loss 0.5 dB per kHz above 5 kHz": (
        OPEN_ADULT, loss("half", 0.5 * np.maximum(LOSS_HZ - 5000, 0) / 1000), None),
    "microphone loss 1 dB per kHz above 5 kHz": (
        OPEN_ADULT, loss("one", np.maximum(LOSS_HZ - 5000, 0) / 1000), None),
    "microphone shelf -6 dB above 8 kHz": (OPEN_ADULT, loss("shelf", np.where(LOSS_HZ > 8000, 6.0, 0.0)), None),
    "added white noise SNR 20 dB in band": (OPEN_ADULT, None, 20.0),
    "added white noise SNR 10 dB in band": (OPEN_ADULT, None, 10.0),
    "amplitude instead of power spectrum (1-11.025 kHz; compare 8132/6554)": (
        band(1000, 11025, weighting="amplitude"), None, None),
    FOURIER: (fourier(None), None, None),
    "40 ms Hamming FFT 0-11.025 kHz with 0.98 pre-emphasis": (fourier(0.98), None, None),
}  # fmt: skip
COMPARED_WITH = dict.fromkeys(CHANGES, PLAIN) | {
    "amplitude instead of power spectrum (1-11.025 kHz; compare 8132/6554)": HALF,
    "40 ms Hamming FFT 0-11.025 kHz with 0.98 pre-emphasis": FOURIER,
    FOURIER: HALF,
}


def reference() -> dict[str, dict[str, float]]:
    with REFERENCE.open(encoding="utf-8", newline="") as stream:
        return {
            row["change"]: {key: float(value) for key, value in row.items() if key != "change" and value}
            for row in csv.DictReader(stream)
        }


def invented(
    group: Group, n_tokens: int, grid_hz: np.ndarray, tokens_like
) -> list[tuple[Recording, list[SibilantInterval]]]:
    """Tokens of 150 ms of each speaker."""
    made = [tokens_like(power, n_tokens, 150.0, 50 + k) for k, power in enumerate(group.powers(grid_hz))]
    return [(tokens.recording, list(tokens.sounds)) for tokens in made]


def with_noise(recording: Recording, snr_db: float) -> Recording:
    """White noise added, its power over 1 to 15 kHz so far below the sound's."""
    transform = np.abs(np.fft.rfft(recording.samples.astype(float))) ** 2
    frequency_hz = np.fft.rfftfreq(recording.samples.size, 1 / recording.sampling_rate_hz)
    inside = (frequency_hz >= 1000) & (frequency_hz <= 15000)
    density = np.mean(transform[inside]) / recording.samples.size * 10 ** (-snr_db / 10)
    noise = np.random.default_rng(1).standard_normal(recording.samples.size) * np.sqrt(density)
    return dataclasses.replace(recording, samples=(recording.samples + noise).astype(np.float32))


def means(made: list[tuple[Recording, list[SibilantInterval]]], change: str) -> tuple[float, float]:
    """Mean over speakers of their mean M1 and M3 under a change."""
    method, response, snr_db = CHANGES[change]
    of_speakers = []
    for recording, sounds in made:
        heard = recording if snr_db is None else with_noise(recording, snr_db)
        found = [one.values for one in measure(heard, sounds, method, response=response)]
        of_speakers.append([np.mean([values[key] for values in found]) for key in ("centroid_hz", "skewness")])
    first, second = np.mean(of_speakers, axis=0)
    return float(first), float(second)


def compare(group: str, changes: list[str], n_tokens: int, grid_hz: np.ndarray, tokens_like) -> list[list[object]]:
    """Rows: group, change, M1 and M3 of the reference and ours, effect on M1 of the reference and ours."""
    if not REFERENCE.exists():
        pytest.skip("the shared reference tables do not lie beside this checkout")
    known = reference()
    made = invented(GROUPS[group], n_tokens, grid_hz, tokens_like)
    ours = {change: means(made, change) for change in changes}
    rows: list[list[object]] = []
    for change in changes:
        base = COMPARED_WITH[change]
        theirs = (known[change][f"{group}_M1_hz"], known[change][f"{group}_M3"])
        effects = theirs[0] - known[base][f"{group}_M1_hz"], ours[change][0] - ours[base][0]
        rows.append([group, change, base, theirs[0], ours[change][0], *effects, theirs[1], ours[change][1]])
    return rows


def check(rows: list[list[object]]) -> None:
    """Signs agree for every effect above 100 Hz; sizes agree within 35 % or 100 Hz, whichever is more."""
    for group, change, _, _, _, theirs, ours, *_ in rows:
        assert isinstance(theirs, float) and isinstance(ours, float)
        if abs(theirs) > 100:
            assert np.sign(theirs) == np.sign(ours), (group, change, theirs, ours)
        assert abs(ours - theirs) <= max(100.0, 0.35 * abs(theirs)), (group, change, theirs, ours)


@pytest.mark.parametrize("group", ["women", "men"])
def test_the_largest_effects(group: str, grid_hz, tokens_like) -> None:
    changes = [PLAIN, "upper limit 8 kHz (16 kHz sampling)", HALF, "lower limit 2000 Hz",
               "microphone loss 1 dB per kHz above 5 kHz", "microphone shelf -6 dB above 8 kHz",
               "amplitude instead of power spectrum (1-11.025 kHz; compare 8132/6554)"]  # fmt: skip
    rows = compare(group, changes, 3, grid_hz, tokens_like)
    # M1 of 30 or 18 tokens of noise: about 110 Hz a token, so 25 Hz in the mean.
    assert rows[0][4] == pytest.approx(GROUPS[group].mean_hz, abs=90)
    check(rows)


@pytest.mark.long
def test_all_effects_in_full(grid_hz, tokens_like) -> None:
    """Twenty tokens a speaker; writes docs/evidence/acoustics_method_effects.csv."""
    rows = [row for group in GROUPS for row in compare(group, list(CHANGES), 20, grid_hz, tokens_like)]
    head = ["group", "change", "compared_with", "reference_m1_hz", "invented_m1_hz", "reference_effect_hz",
            "invented_effect_hz", "reference_m3", "invented_m3", "commit"]  # fmt: skip
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.strip()
    with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(head)
        for row in rows:
            numbers = [f"{value:.0f}" for value in row[3:7]] + [f"{value:.2f}" for value in row[7:]]  # type: ignore[str-bytes-safe]
            writer.writerow([*row[:3], *numbers, commit])
    check(rows)
