"""The one pipeline: findings, attempts, methods and refusals, on invented speech with known truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sibilant.audio import recording_from_samples
from sibilant.lexicon import builtin_list, expect
from sibilant.methods import HOUSE_7K, HOUSE_10K, HOUSE_15K, OPEN_ADULT
from sibilant.pipeline import analyse, analyse_marked, measure_again
from sibilant.synthetic import ProbePlan, SayPlan, Spoken, child_speaker, probe, woman
from sibilant.tables import Labels, sound_rows
from sibilant.terms import MEASURES, Edge, Interval, Mark, Recording, SibilantInterval
from sibilant.words import READER

PROMPTS = builtin_list("core-a")[:8]


def heard(spoken: Spoken) -> Recording:
    """Return invented speech as a recording."""
    return recording_from_samples(np.asarray(spoken.samples), spoken.sampling_rate_hz)


@pytest.fixture(scope="module")
def clean() -> Recording:
    return heard(probe(PROMPTS, woman(4), 4))


def test_every_expected_sibilant_has_a_row_in_order(clean: Recording) -> None:
    found = analyse(clean, PROMPTS)
    assert [s.prompt_text for s in found.sounds] == [p.text for p in PROMPTS]
    assert {s.finding for s in found.sounds} == {"found"}
    assert [m.sound_id for m in found.measurements] == [s.id for s in found.sounds]
    assert all("centroid_hz" in m.measures.values for m in found.measurements)
    assert not found.missing and not found.strays


def test_a_sound_stands_once_and_has_a_measurement_and_a_row_a_method(clean: Recording) -> None:
    both = analyse(clean, PROMPTS, methods=(HOUSE_15K, HOUSE_7K))
    n = len(both.sounds)
    assert n == len(PROMPTS) and len(both.measurements) == 2 * n
    for one, other in zip(both.measurements[:n], both.measurements[n:], strict=True):
        assert (one.sound_id, one.method, other.method) == (other.sound_id, HOUSE_15K, HOUSE_7K)
        assert other.measures.values["centroid_hz"] < 7500 < one.measures.band_hz[1]  # type: ignore[index]
    rows = sound_rows(both.sounds, both.measurements, Labels())
    assert [(row["prompt_index"], row["method"]) for row in rows] == [
        (place, method.label) for place in range(1, n + 1) for method in (HOUSE_15K, HOUSE_7K)
    ]
    for one, other in zip(rows[::2], rows[1::2], strict=True):
        assert (one["onset_s"], one["offset_s"]) == (other["onset_s"], other["offset_s"])
        assert one["centroid_hz"] != other["centroid_hz"]


def test_measured_again_there_is_one_measurement_a_sound(clean: Recording) -> None:
    first = analyse(clean, PROMPTS)
    again = measure_again(clean, first.sounds, OPEN_ADULT)
    assert {one.method for one in again} == {OPEN_ADULT}
    assert [one.sound_id for one in again] == [sound.id for sound in first.sounds]
    assert measure_again(clean, first.sounds, HOUSE_15K) == first.measurements


def test_a_missing_word_is_missing_or_doubted_and_nothing_shifts() -> None:
    spoken = probe(PROMPTS, woman(4), 6, plan=ProbePlan(missing=(3,)))
    found = analyse(heard(spoken), PROMPTS)
    rows = {s.prompt_index: s for s in found.sounds}
    assert set(rows) == set(range(1, 9))
    assert rows[3].finding in ("prompt_missing", "unsure") and rows[3].edges is None
    truth = {s.prompt_index: s.sibilants[0].interval for s in spoken.truth.words}
    for index, sound in rows.items():
        if sound.finding == "found":
            assert sound.edges is not None
            assert sound.edges.interval.overlap_s(truth[index]) > 0.5 * truth[index].duration_s


def test_a_left_out_sibilant_is_a_question_and_an_added_one_an_extra() -> None:
    prompts = (expect("snow"), expect("tar"), expect("sun"), expect("led"))
    says = SayPlan(("omitted", "", "", ""), added={2: "S"})
    found = analyse(heard(probe(prompts, child_speaker(2), 2, says=says)), prompts)
    by_place = {index: [s for s in found.sounds if s.prompt_index == index] for index in range(1, 5)}
    assert [t.finding for t in by_place[1]] == ["no_frication"]
    assert [t.finding for t in by_place[2]] == ["none_expected", "extra"]
    assert [t.finding for t in by_place[3]] == ["found"]
    assert [t.finding for t in by_place[4]] == ["none_expected"]


def test_every_slot_says_its_word_how_sure_its_place_is_and_where_to_listen() -> None:
    prompts = (expect("Lucy passed a biscuit."), expect("snow"), expect("sun"))
    found = analyse(heard(probe(prompts, woman(4), 5, says=SayPlan(("", "omitted", "")))), prompts)
    rows = sound_rows(found.sounds, found.measurements, Labels("a.wav"))
    assert [(row["word"], row["word_index"], row["level"]) for row in rows] == [
        ("lucy", 1, "sentence"), ("passed", 2, "sentence"), ("biscuit", 4, "sentence"), ("snow", 1, "word"),
        ("sun", 1, "word"),
    ]  # fmt: skip
    assert all(0.0 <= float(str(row["slot_probability"])) <= 1.0 and row["reader"] == READER for row in rows)
    assert [("onset_s" in row, "place_onset_s" in row) for row in rows] == [
        (True, False), (True, False), (True, False), (False, True), (True, False),
    ]  # fmt: skip
    place = [float(str(rows[3][name])) for name in ("word_onset_s", "place_onset_s", "place_offset_s", "word_offset_s")]
    assert place == sorted(place)


def test_without_prompts_every_sibilant_is_reported(clean: Recording) -> None:
    found = analyse(clean)
    assert len(found.sounds) == len(PROMPTS)
    assert {(s.finding, s.prompt_text, s.prompt_index) for s in found.sounds} == {("extra", "", 0)}


def test_given_edges_are_kept_as_reviewed(clean: Recording) -> None:
    sound = analyse(clean, PROMPTS).sounds[0]
    assert sound.edges is not None
    edges = sound.edges.interval
    given = Interval(edges.onset_s + 0.01, edges.offset_s - 0.01)
    again = analyse_marked(clean, [Mark(given)]).sounds[0].edges
    assert again is not None
    assert again.interval == given and again.boundary == "reviewed"
    assert again.automatic.onset_s == pytest.approx(edges.onset_s, abs=0.003)


def test_a_method_wider_than_the_recording_leaves_spectra_empty_with_the_reason(clean: Recording) -> None:
    from scipy.signal import resample_poly

    narrow = recording_from_samples(resample_poly(clean.samples, 1, 2).astype(np.float32), 22050)
    found = analyse(narrow, PROMPTS)
    assert len(found.measurements) == len(PROMPTS)
    for one in found.measurements:
        assert "centroid_hz" not in one.measures.values and "duration_ms" in one.measures.values
        assert "band_too_wide" in one.flags


def test_one_prompt_and_nothing_like_it_is_unsure_not_missing() -> None:
    spoken = probe((expect("seal"),), woman(4), 8)
    found = analyse(heard(spoken), (expect("window"),))
    assert {s.finding for s in found.sounds} <= {"unsure", "extra", "none_expected"}


def test_recordings_of_unlike_bandwidth_are_measured_in_one_band(tmp_path: Path) -> None:
    """The need of job.md F23: one clip at 44.1 and 22.05 kHz (soxr, an independent resampler) within 2 %."""
    import soxr

    import sibilant
    from sibilant.audio import read_recording, write_wav
    from sibilant.listening.measure import MeasureRequest, measure, shown_rows

    clip = read_recording(sibilant.reference_sounds() / "ktuberling-stick.ogg", channel=1)
    write_wav(tmp_path / "full.wav", clip.samples, 44100)
    write_wav(tmp_path / "half.wav", soxr.resample(clip.samples, 44100, 22050, "VHQ"), 22050)
    asked = MeasureRequest(
        [tmp_path / "full.wav", tmp_path / "half.wav"], say="stick, moon", method_names=("house-15k", "house-7k"),
        same_band=True,
    )  # fmt: skip
    rows = shown_rows(measure(asked))
    found = [row for row in rows if row["finding"] == "found"]
    assert [row["finding"] for row in rows if row["prompt"] == "moon"] == ["prompt_missing"] * 2
    methods = [row["method"] for row in found]
    assert methods[:2] == methods[2:] and methods[0].startswith("house-15k-to-") and methods[1] == "house-7k/2"
    for full, half in zip(found[:2], found[2:], strict=True):
        assert half["centroid_hz"] == pytest.approx(full["centroid_hz"], rel=0.02)
        assert half["sd_hz"] == pytest.approx(full["sd_hz"], rel=0.02)


def test_a_clip_measured_again_gives_the_recordings_figures() -> None:
    """A quarter of a second around each word, with the noise and cut kept of the whole: to the digit, house methods."""
    from dataclasses import replace as changed

    prompts = builtin_list("core-a")[:4]
    spoken = probe(prompts, woman(3), 3, plan=ProbePlan(snr_db=25.0))
    whole = recording_from_samples(spoken.samples, spoken.sampling_rate_hz)
    found = analyse(whole, prompts, methods=(HOUSE_15K, HOUSE_10K))
    assert any(support.noise is not None for support in found.kept.support.values())

    def moved(sound: SibilantInterval, by_s: float) -> SibilantInterval:
        def later(interval: Interval) -> Interval:
            return Interval(interval.onset_s + by_s, interval.offset_s + by_s)

        def edge(one: Edge) -> Edge:
            return changed(one, time_s=one.time_s + by_s)

        return changed(
            sound, automatic=later(sound.automatic), core=later(sound.core), onset=edge(sound.onset),
            offset=edge(sound.offset),
        )  # fmt: skip

    compared = 0
    by_id = {sound.id: sound for sound in found.sounds}
    for measured in found.measurements:
        sound = by_id[measured.sound_id]
        if sound.edges is None or sound.utterance is None:
            continue
        word, rate = sound.utterance.interval, whole.sampling_rate_hz
        first = max(0, round((word.onset_s - 0.25) * rate))
        clip = recording_from_samples(whole.samples[first : round((word.offset_s + 0.25) * rate)], rate)
        spoken_at = changed(
            sound.utterance, interval=Interval(word.onset_s - first / rate, word.offset_s - first / rate)
        )
        shifted = changed(sound, utterance=spoken_at, edges=moved(sound.edges, -first / rate))
        (again,) = measure_again(clip, [shifted], measured.method, kept=found.kept)
        for key, value in measured.measures.values.items():
            decimals = MEASURES[key].decimals
            assert round(again.measures.values[key], decimals) == round(value, decimals), (sound.id, key)
        compared += "centroid_hz" in measured.measures.values
    assert compared >= 6
