"""Probe recordings: what happens is told, and rooms and noise are as stated."""

from __future__ import annotations

import numpy as np
import pytest

from sibilant.synthetic import (
    ProbePlan,
    Room,
    SayPlan,
    child_speaker,
    in_room,
    probe,
    reverberated,
    room_response,
    say,
    typical_level_db,
    woman,
)
from sibilant.terms import Prompt, Word

WORDS = {
    "seal": "S IY1 L", "castle": "K AE1 S AH0 L", "goose": "G UW1 S", "star": "S T AA1 R", "moon": "M UW1 N",
    "rice": "R AY1 S", "sun": "S AH1 N", "purse": "P ER1 S",
}  # fmt: skip
PROMPTS = tuple(Prompt(w, (Word(w, tuple(p.split())),)) for w, p in WORDS.items())


def test_everything_planned_happens_in_order() -> None:
    plan = ProbePlan(repeats=2, false_starts=2, noises=5, second_voice=3, missing=(3,), pause_s=(0.4, 0.6))
    spoken = probe(PROMPTS, child_speaker(1), 9, plan=plan)
    truth = spoken.truth
    assert truth.missing == (3,)
    kinds = [s.kind for s in truth.stretches]
    assert kinds.count("word") == 7 + 2 and kinds.count("false_start") == 2 and kinds.count("other_voice") == 3
    assert sum(k in ("breath", "cough", "click", "scrape") for k in kinds) == 5
    said = [s.prompt_index for s in truth.words]
    assert said == sorted(said) and 3 not in said
    for before, after in zip(truth.stretches, truth.stretches[1:], strict=False):
        assert before.interval.offset_s < after.interval.onset_s
    attempts: dict[int, list[int]] = {}
    for stretch in truth.words:
        attempts.setdefault(stretch.prompt_index, []).append(stretch.attempt)
        assert stretch.complete == (stretch.kind == "word")
    assert all(v == list(range(1, len(v) + 1)) for v in attempts.values())


def test_truth_is_where_the_sound_is() -> None:
    spoken = probe(PROMPTS, woman(1), 4, plan=ProbePlan(snr_db=None))
    x, rate = spoken.samples.astype(float), spoken.sampling_rate_hz
    covered = np.zeros(x.size, dtype=bool)
    for stretch in spoken.truth.stretches:
        covered[round((stretch.interval.onset_s - 0.05) * rate) : round((stretch.interval.offset_s + 0.1) * rate)] = (
            True
        )
        for s in stretch.sibilants:
            assert stretch.interval.onset_s - 0.05 < s.onset_s < s.offset_s < stretch.interval.offset_s + 0.05
            inside = x[round(s.onset_s * rate) : round(s.offset_s * rate)]
            high = np.abs(np.fft.rfft(inside)) ** 2
            f = np.fft.rfftfreq(inside.size, 1 / rate)
            assert high[f > 2000].sum() > 0.9 * high.sum()
    assert np.abs(x[~covered]).max() < 0.002


def test_models_come_first_in_another_voice() -> None:
    spoken = probe(PROMPTS[:3], woman(1), 4, plan=ProbePlan(modelled=True))
    assert [s.kind for s in spoken.truth.stretches] == ["model", "word"] * 3
    assert len({s.speaker for s in spoken.truth.stretches}) == 2


def test_added_and_typed_sibilants_are_told() -> None:
    says = SayPlan(types=("lateral",), added={5: "S"})
    spoken = probe(PROMPTS, woman(1), 4, says=says)
    moon = next(s for s in spoken.truth.words if s.prompt_index == 5)
    assert [s.slot_index for s in moon.sibilants] == [0]
    assert {s.kind for s in spoken.truth.sibilants} == {"lateral"}


@pytest.mark.parametrize("snr_db", [40.0, 25.0, 10.0])
def test_background_lies_as_far_below_the_typical_s_as_stated(snr_db) -> None:
    # Level over 4 to 10 kHz by FFT (Parseval): background in the lead against the speaker's typical plateau.
    speaker = woman(5)
    spoken = probe(PROMPTS, speaker, 3, plan=ProbePlan(snr_db=snr_db, lead_s=1.5))
    lead = spoken.samples[: int(1.3 * 44100)].astype(float)
    noise_db = 10 * np.log10(band_power(lead))
    assert typical_level_db(speaker) - noise_db == pytest.approx(snr_db, abs=0.4)
    plateaus = []
    for seed in range(12):
        said = say("S AA1 L", speaker, seed, durations={"S": 0.2}, sibilant_level_db=speaker.s_level_db)
        s = said.truth.sibilants[0]
        middle = said.samples[round((s.onset_s + 0.07) * 44100) : round((s.offset_s - 0.05) * 44100)].astype(float)
        plateaus.append(band_power(middle))
    assert 10 * np.log10(np.mean(plateaus)) == pytest.approx(typical_level_db(speaker), abs=0.8)


def band_power(x: np.ndarray, rate: int = 44100) -> float:
    power = np.abs(np.fft.rfft(x)) ** 2 * 2 / x.size**2
    f = np.fft.rfftfreq(x.size, 1 / rate)
    return float(power[(f >= 4000) & (f <= 10000)].sum())


@pytest.mark.parametrize("t60_s", [0.3, 0.6])
def test_room_decays_as_stated(t60_s) -> None:
    # Backward integration (Schroeder 1965, from memory), line from -5 to -25 dB, below 2 kHz where nothing is damped.
    from scipy.signal import butter, sosfilt

    slopes = []
    for seed in range(5):
        response = room_response(Room(t60_s, 0.0), 44100, seed)
        tail = sosfilt(butter(4, 1000.0, fs=44100, output="sos"), response[200:])
        decay = 10 * np.log10(np.cumsum(tail[::-1] ** 2)[::-1] / np.sum(tail**2) + 1e-12)
        inside = (decay < -5) & (decay > -25)
        slopes.append(np.polyfit(np.flatnonzero(inside) / 44100, decay[inside], 1)[0])
    assert -60 / np.mean(slopes) == pytest.approx(t60_s, rel=0.12)


def test_direct_to_reverberant_ratio_is_exact() -> None:
    response = room_response(Room(0.5, 6.0), 44100, 1)
    assert 10 * np.log10(response[0] ** 2 / np.sum(response[1:] ** 2)) == pytest.approx(6.0, abs=1e-9)
    x = np.random.default_rng(1).standard_normal(1000)
    assert np.array_equal(reverberated(x, Room(), 44100, 1), x)


def test_room_keeps_the_truth() -> None:
    dry = say("S AA1 K", woman(1), 1)
    wet = in_room(dry, woman(1), 1, room=Room(0.4), snr_db=20.0)
    assert wet.truth.sibilants == dry.truth.sibilants and wet.truth.snr_db == 20.0
    assert wet.samples.shape == dry.samples.shape


def test_long_background_has_no_seams() -> None:
    from sibilant.synthetic import background

    x = background(25 * 44100, 44100, -60.0, 3)
    levels = [10 * np.log10(band_power(x[k : k + 2205])) for k in range(0, x.size - 2205, 2205)]
    assert np.std(levels) < 1.0 and abs(np.mean(levels) + 60) < 0.4


def test_same_seed_same_probe_and_wrong_plans_refused() -> None:
    first, second = (probe(PROMPTS[:3], woman(1), 6) for _ in range(2))
    assert np.array_equal(first.samples, second.samples)
    with pytest.raises(ValueError, match="at least one"):
        probe((), woman(1), 1)
    with pytest.raises(ValueError, match="repeats"):
        probe(PROMPTS[:1], woman(1), 1, plan=ProbePlan(repeats=3))
    with pytest.raises(ValueError, match="pauses"):
        ProbePlan(pause_s=(2.0, 1.0))
