"""Probes of other kinds: several recordings, a model before each word, held sounds, words not said. Invented data."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sibilant import audio, lexicon, store, synthetic
from sibilant.clinic import clients, judge, probe, review, summarise
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import RefusedError, UsageError
from sibilant.terms.clinic import Case

RATE = 44_100


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A caseload with one client."""
    clients.add_client(CaseloadHandle(tmp_path / "case"), "7y4m", code="C-7QXK", fields={"invented": True})
    return tmp_path / "case"


def spoken(path: Path, words: str, seed: int, *, missing: tuple[str, ...] = ()) -> Path:
    """A recording of an invented child saying words."""
    prompts = [lexicon.expect(word) for word in words.split() if word not in missing]
    said = synthetic.probe(prompts, synthetic.child_speaker(3), seed)
    audio.write_wav(path, said.samples, said.sampling_rate_hz)
    return path


def case_of(folder: Path) -> Case:
    """What is kept."""
    with store.open_caseload(folder) as one:
        return store.read_case(one, "C-7QXK")


def test_several_recordings_each_with_its_own_prompts(folder: Path, tmp_path: Path) -> None:
    first = spoken(tmp_path / "a.wav", "seal bus", 1)
    second = spoken(tmp_path / "b.wav", "fossil sock", 2)
    listed = tmp_path / "list.csv"
    listed.write_text("word,recording\nseal,a.wav\nbus,a.wav\nfossil,b.wav\nsock,b.wav\n", encoding="utf-8")
    kept = probe.keep_probe(CaseloadHandle(folder), None, probe.ProbeRequest([first, second], str(listed)))
    tokens = case_of(folder).tokens
    assert [(token.prompt_index, token.prompt) for token in tokens] == [
        (1, "seal"),
        (2, "bus"),
        (3, "fossil"),
        (4, "sock"),
    ]
    assert kept.session.list_form.startswith("list-") and len(kept.session.recordings) == 2
    assert all(b"a.wav" not in path.read_bytes() for path in folder.rglob("*") if path.is_file())


def test_a_list_said_in_two_recordings_counts_each_word_once(folder: Path, tmp_path: Path) -> None:
    paths = [spoken(tmp_path / f"{n}.wav", "seal bus", n) for n in (1, 2)]
    listed = tmp_path / "list.csv"
    listed.write_text("word\nseal\nbus\n", encoding="utf-8")
    probe.keep_probe(CaseloadHandle(folder), None, probe.ProbeRequest(paths, str(listed)))
    assert [token.prompt_index for token in case_of(folder).tokens] == [1, 2, 3, 4]
    queue = judge.queue(CaseloadHandle(folder), None, None, rater="R1")
    for one in queue.left:
        judge.record(CaseloadHandle(folder), queue, one.key, "correct")
    summary = summarise.case_view(CaseloadHandle(folder))[0].summaries[0].measures["core_duration_ms"]
    assert summary.n_measured == 4 and summary.n_words == 2


def test_a_word_not_said_is_counted_and_can_be_judged(folder: Path, tmp_path: Path) -> None:
    listed = tmp_path / "list.csv"
    listed.write_text("word\nseal\nbus\nfossil\nsock\nrice\n", encoding="utf-8")
    path = spoken(tmp_path / "a.wav", "seal bus fossil sock rice", 4, missing=("fossil",))
    kept = probe.keep_probe(CaseloadHandle(folder), None, probe.ProbeRequest([path], str(listed)))
    rows = {row["prompt"]: row["heard"] for row in kept.words}
    assert rows["fossil"] == "not heard" and rows["seal"] == "heard"
    judged = tmp_path / "j.csv"
    rows_judged = "".join(f"{i},1,1,{'no_response' if i == 3 else 'correct'}\n" for i in range(1, 6))
    judged.write_text("prompt_index,attempt,slot,accuracy\n" + rows_judged, encoding="utf-8")
    done = judge.judge_from(CaseloadHandle(folder), None, None, judged, rater="R1")
    assert (done["correct"], done["scored"]) == (4, 4)
    summary = summarise.case_view(CaseloadHandle(folder))[0].summaries[0].measures["core_duration_ms"]
    assert summary.counted == "measured 4 of 5 expected, left out: prompt_missing 1"


def test_after_a_model_nothing_counts_until_a_person_says_whose_voice_it_is(folder: Path, tmp_path: Path) -> None:
    listed = tmp_path / "list.csv"
    listed.write_text("word\nseal\nbus\nsock\n", encoding="utf-8")
    path = spoken(tmp_path / "a.wav", "seal bus sock", 5)
    kept = probe.keep_probe(
        CaseloadHandle(folder), None, probe.ProbeRequest([path], str(listed), cue="M", phase="treatment")
    )
    assert kept.session.cue == "model" and any("whose voice" in note.text for note in kept.notes)
    queue = judge.queue(CaseloadHandle(folder), None, None, rater="R1")
    tokens = [token for token in case_of(folder).tokens if token.sound.utterance is not None]
    assert {token.sound.utterance.voice for token in tokens} <= {"unsure", "other"}
    reviewed = tmp_path / "r.csv"
    rows = "".join(f"{token.prompt_index},{token.attempt},1,client,yes\n" for token in tokens[:1])
    reviewed.write_text("prompt_index,attempt,slot,voice,counts\n" + rows, encoding="utf-8")
    review.review_from(CaseloadHandle(folder), None, None, reviewed, rater="R1")
    first = next(token for token in case_of(folder).tokens if token.key == tokens[0].key)
    assert first.sound.utterance.voice == "client" and first.sound.utterance.counts
    assert queue.rater == "R1"


def test_held_sounds_are_a_measurement_of_their_own(folder: Path, tmp_path: Path) -> None:
    """Lengths to 20 ms, against the synthesiser's own."""
    random = np.random.default_rng(1)
    pieces = [random.normal(0, 1e-4, RATE)]
    for number, seconds in enumerate((3.0, 2.5, 2.0)):
        held = synthetic.sustained(synthetic.shape_of("typical"), seconds, number)
        pieces += [0.3 * held.samples / np.abs(held.samples).max(), random.normal(0, 1e-4, RATE)]
    audio.write_wav(tmp_path / "held.wav", np.concatenate(pieces).astype(np.float32), RATE)
    probe.keep_probe(CaseloadHandle(folder), None, probe.ProbeRequest([tmp_path / "held.wav"], "sustained"))
    queue = judge.queue(CaseloadHandle(folder), None, None, rater="R1")
    for one in queue.left:
        judge.record(CaseloadHandle(folder), queue, one.key, "correct")
    view, _ = summarise.case_view(CaseloadHandle(folder))
    assert [hold.duration_s for hold in view.sustained] == pytest.approx([3.0, 2.5, 2.0], abs=0.02)
    assert not view.summaries[0].measures  # never mixed with the length of /s/ in words


def test_cue_letters_and_names_and_what_is_refused(folder: Path, tmp_path: Path) -> None:
    path = spoken(tmp_path / "a.wav", "seal", 6)
    for changed in ({"cue": "loud"}, {"keep": "some"}, {"phase": "later"}):
        with pytest.raises(UsageError):
            probe.keep_probe(CaseloadHandle(folder), None, probe.ProbeRequest([path], "core-a", **changed))
    with pytest.raises(UsageError, match="--words"):
        probe.keep_probe(CaseloadHandle(folder), None, probe.ProbeRequest([path], ""))
    copy = tmp_path / "b.wav"
    copy.write_bytes(path.read_bytes())
    with pytest.raises(RefusedError, match="given twice"):
        probe.keep_probe(CaseloadHandle(folder), None, probe.ProbeRequest([path, copy], "core-a"))
