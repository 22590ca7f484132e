"""Speech: pitch, formants, levels and spectra of what is said, by independent estimates."""

from __future__ import annotations

import numpy as np
import parselmouth
import pytest

from sibilant.synthetic import SIBILANT_TYPES, Spoken, child_speaker, man, say, sh_shape, shape_of, woman
from sibilant.synthetic.phones import PHONES
from sibilant.synthetic.score import VOWEL_RMS
from sibilant.terms import Prompt, Word

SPEAKERS = [man(3), woman(3), child_speaker(3)]


def as_parselmouth(spoken: Spoken) -> parselmouth.Sound:
    return parselmouth.Sound(spoken.samples.astype(np.float64), spoken.sampling_rate_hz)


@pytest.mark.parametrize("speaker", SPEAKERS, ids=lambda s: s.code)
def test_pitch_is_the_speakers(speaker) -> None:
    # Independent estimate: parselmouth's autocorrelation pitch over the vowel.
    spoken = say("L AA1 M", speaker, 2)
    pitch = as_parselmouth(spoken).to_pitch(pitch_floor=60, pitch_ceiling=500).selected_array["frequency"]
    heard = np.median(pitch[pitch > 0])
    assert heard == pytest.approx(speaker.f0_hz, rel=0.12)


@pytest.mark.parametrize("vowel", ["IY1", "EH1", "AE1", "AA1", "UW1", "AH1"])
def test_formants_are_where_asked(vowel) -> None:
    # Independent estimate: parselmouth's Burg formants in the vowel's middle, for a man (harmonics close together).
    speaker = man(3)
    spoken = say(f"HH {vowel} D", speaker, 4)
    phone = next(p for p in spoken.truth.stretches[0].phones if p.phone == vowel[:-1])
    formants = as_parselmouth(spoken).to_formant_burg(maximum_formant=5000.0)
    t = phone.interval.onset_s + 0.35 * phone.interval.duration_s
    wanted = np.array(PHONES[vowel[:-1]].formants_hz) * speaker.tract_scale
    for k in (1, 2):
        assert formants.get_value_at_time(k, t) == pytest.approx(wanted[k - 1], rel=0.12, abs=60.0)


def test_diphthong_moves() -> None:
    spoken = say("B AY1", man(3), 4)
    phone = spoken.truth.stretches[0].phones[-1].interval
    formants = as_parselmouth(spoken).to_formant_burg(maximum_formant=5000.0)
    early, late = (formants.get_value_at_time(2, phone.onset_s + k * phone.duration_s) for k in (0.25, 0.75))
    assert late > early + 400


@pytest.mark.parametrize("kind", SIBILANT_TYPES)
def test_said_sibilants_have_the_given_spectrum(kind) -> None:
    # 40 tokens pooled: the mean of their centroids over 1-15 kHz against the mean of the tokens' exact centroids.
    speaker = woman(7)
    heard, true = [], []
    for seed in range(40):
        spoken = say("S IY1 L", speaker, seed, sibilant_type=kind, durations={"S": 0.18})
        sibilant = spoken.truth.sibilants[0]
        assert sibilant.kind == kind
        heard.append(centroid(middle_half(spoken), spoken.sampling_rate_hz))
        true.append(sibilant.shape.moments((1000.0, 15000.0)).centroid_hz)
    assert np.mean(heard) == pytest.approx(np.mean(true), rel=0.01)


def middle_half(spoken: Spoken) -> np.ndarray:
    sibilant = spoken.truth.sibilants[0].interval
    quarter = sibilant.duration_s / 4
    rate = spoken.sampling_rate_hz
    return spoken.samples[round((sibilant.onset_s + quarter) * rate) : round((sibilant.offset_s - quarter) * rate)]


def centroid(x: np.ndarray, rate: int) -> float:
    power = np.abs(np.fft.rfft(x * np.hanning(x.size))) ** 2
    f = np.fft.rfftfreq(x.size, 1 / rate)
    inside = (f >= 1000) & (f <= 15000)
    return float((f * power)[inside].sum() / power[inside].sum())


@pytest.mark.parametrize("level_db", [0.0, -7.5, -15.0, -25.0])
def test_level_against_the_vowel_is_as_given(level_db) -> None:
    heard = []
    for seed in range(20):
        spoken = say("S AA1 L", woman(2), seed, sibilant_level_db=level_db, durations={"S": 0.2})
        assert spoken.truth.sibilants[0].level_db == level_db
        vowel = next(p for p in spoken.truth.stretches[0].phones if p.phone == "AA").interval
        quarter, rate = vowel.duration_s / 4, spoken.sampling_rate_hz
        part = spoken.samples[round((vowel.onset_s + quarter) * rate) : round((vowel.offset_s - quarter) * rate)]
        assert np.sqrt(np.mean(part.astype(float) ** 2)) == pytest.approx(VOWEL_RMS, rel=1e-3)
        heard.append(np.mean(middle_half(spoken).astype(float) ** 2))
    assert 10 * np.log10(np.mean(heard)) - 20 * np.log10(VOWEL_RMS) == pytest.approx(level_db, abs=0.5)


def test_duration_as_given() -> None:
    for wanted in (0.08, 0.15, 0.25):
        for seed in range(5):
            spoken = say("AH0 S IY1", woman(2), seed, durations={"S": wanted})
            assert spoken.truth.sibilants[0].interval.duration_s == pytest.approx(wanted, abs=0.022)


def test_closures_are_silent_and_nasals_are_not() -> None:
    spoken = say("S T AA1 R", woman(2), 3)
    closure = next(p for p in spoken.truth.stretches[0].phones if p.phone == "T").interval
    rate = spoken.sampling_rate_hz
    part = spoken.samples[round((closure.onset_s + 0.008) * rate) : round((closure.onset_s + 0.03) * rate)]
    assert np.abs(part).max() < 1e-4
    spoken = say("S N OW1", woman(2), 3)
    nasal = next(p for p in spoken.truth.stretches[0].phones if p.phone == "N").interval
    part = spoken.samples[round((nasal.onset_s + 0.02) * rate) : round((nasal.offset_s - 0.01) * rate)]
    assert np.sqrt(np.mean(part.astype(float) ** 2)) > 0.01


def test_vowels_are_weak_where_sibilants_are_strong() -> None:
    # A vowel lies 20 to 45 dB lower over 4-10 kHz than as a whole (measured on open real clips: 19 to 42 dB).
    for speaker in SPEAKERS:
        spoken = say("M AE1 N", speaker, 3)
        vowel = next(p for p in spoken.truth.stretches[0].phones if p.phone == "AE").interval
        rate = spoken.sampling_rate_hz
        part = spoken.samples[round((vowel.onset_s + 0.04) * rate) : round((vowel.offset_s - 0.04) * rate)]
        power = np.abs(np.fft.rfft(part * np.hanning(part.size))) ** 2
        f = np.fft.rfftfreq(part.size, 1 / rate)
        drop = 10 * np.log10(power.sum() / power[(f > 4000) & (f < 10000)].sum())
        assert 15 < drop < 45


def test_same_seed_same_sound_and_every_phone_can_be_said() -> None:
    first, second = say("S T R IH1 NG", woman(1), 5), say("S T R IH1 NG", woman(1), 5)
    assert np.array_equal(first.samples, second.samples)
    assert first.truth == second.truth
    assert not np.array_equal(first.samples, say("S T R IH1 NG", woman(1), 6).samples)
    for name, phone in PHONES.items():
        text = name + "1" if phone.manner == "vowel" else f"AH0 {name} AA1"
        spoken = say(text, child_speaker(2), 1)
        assert np.isfinite(spoken.samples).all() and np.abs(spoken.samples).max() < 1.0


def test_left_out_sibilants_make_no_sound_but_are_told() -> None:
    spoken = say("S T AA1 R", woman(1), 5, sibilant_type="omitted")
    assert spoken.truth.sibilants == () and spoken.truth.stretches[0].omitted == (1,)
    spoken = say("S IY1 S", woman(1), 5, sibilant_type=("omitted", "lateral"))
    assert [s.slot_index for s in spoken.truth.sibilants] == [2]


def test_prompts_and_other_rates() -> None:
    prompt = Prompt("goose bus", (Word("goose", ("G", "UW1", "S")), Word("bus", ("B", "AH1", "S"))))
    for rate in (16000, 22050, 48000, 96000):
        spoken = say(prompt, woman(1), 2, sampling_rate_hz=rate)
        assert [s.word_index for s in spoken.truth.sibilants] == [0, 1]
        assert spoken.sampling_rate_hz == rate


def test_wrong_questions_are_refused() -> None:
    with pytest.raises(ValueError, match="ARPABET"):
        say("S QQ1", woman(1), 1)
    with pytest.raises(ValueError, match="nothing to say"):
        say("", woman(1), 1)
    with pytest.raises(ValueError, match="not known"):
        say("S IY1", woman(1), 1, sibilant_type="funny")
    with pytest.raises(ValueError, match="one for each"):
        say("S IY1", woman(1), 1, sibilant_type=("typical", "lateral"))


def test_own_ways_of_a_speaker() -> None:
    from dataclasses import replace

    speaker = replace(woman(1), types={"mine": shape_of("lateral")}, levels_db={"mine": -20.0}, level_spread_db=0.0)
    sibilant = say("S IY1", speaker, 1, sibilant_type="mine").truth.sibilants[0]
    assert sibilant.kind == "mine" and sibilant.level_db == pytest.approx(speaker.s_level_db - 20.0)
    assert speaker.sh == woman(1).sh != sh_shape(2.0)
