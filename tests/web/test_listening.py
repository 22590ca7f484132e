"""Judging and reviewing at the server: what is sent to the ear, what a person's word does, what is refused.

Invented data – not a person.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from sibilant import audio, store
from sibilant.clinic import judge, probe
from sibilant.clinic.caseload import CaseloadHandle

RATE = 44_100
WORDS = "seal bus fossil sock rice seal"


@pytest.fixture(scope="module")
def served(serving, tmp_path_factory: pytest.TempPathFactory, caseload: Path, spoken) -> Iterator[object]:
    """A page over one kept probe; the word seal is said twice in it."""
    folder = tmp_path_factory.mktemp("listening")
    for page in serving(folder, caseload):
        (folder / "list.csv").write_text("word\n" + "\n".join(WORDS.split()[:-1]) + "\n", encoding="utf-8")
        said = spoken("seal seal bus fossil sock rice")
        audio.write_wav(folder / "a.wav", said.samples, RATE)
        probe.keep_probe(
            CaseloadHandle(page.folder), "C-7QXK", probe.ProbeRequest([folder / "a.wav"], str(folder / "list.csv"))
        )
        yield page


def case_of(served):
    with store.open_caseload(served.folder) as one:
        return store.read_case(one, "C-7QXK")


def get(served, path: str):
    status, _, body = served.asked("GET", path)
    assert status == 200, body
    return json.loads(body)


def test_the_sound_is_the_kept_word_and_the_hiss_cut_to_the_sample(served) -> None:
    token = case_of(served).tokens[0]
    status, headers, body = served.asked("GET", f"/do/sound?client=C-7QXK&session=1&key={token.key}")
    samples = np.frombuffer(body, "<f4")
    with store.open_caseload(served.folder) as one:
        suffix, start_s = store.clip_of(one, token.clip)
        kept = audio.recording_from_bytes(store.clip_bytes(one, token.clip, suffix))
    assert status == 200 and np.array_equal(samples, kept.samples) and int(headers["x-rate"]) == RATE
    edges = token.sound.edges.interval
    for name, edge in (("x-first", edges.onset_s), ("x-last", edges.offset_s)):
        assert abs(int(headers[name]) - (edge - start_s) * RATE) <= 1.0


def test_a_queue_leads_nobody(served) -> None:
    status, queue = served.told("/do/judge/queue?client=C-7QXK", {"session": 1, "rater": "R5", "blind": True})
    assert status == 200 and queue["blind"] and queue["turn"] == 1
    assert {key for one in queue["left"] for key in one} == {"key", "prompt", "sound", "place", "of", "has_sound"}
    again = served.told("/do/judge/queue?client=C-7QXK", {"session": 1, "rater": "R5", "blind": True})[1]
    assert [one["key"] for one in again["left"]] == [one["key"] for one in queue["left"]], "the order is kept"


def test_a_judgement_is_a_persons_and_the_later_word_stands(served) -> None:
    key = case_of(served).tokens[0].key
    said = {"client": "C-7QXK", "session": 1, "rater": "R7", "turn": 1, "key": key}
    for wrong, words in (
        ({}, "nothing chosen yet"),
        ({"heard": "fine"}, "nothing chosen yet"),
        ({"heard": "distorted", "types": ["sweet"]}, "distortion"),
        ({"heard": "correct", "certainty": "perhaps"}, "certainty"),
        ({"heard": "correct", "line": 101}, "0 to 100"),
        ({"heard": "correct", "line": "x"}, "whole number"),
        ({"heard": "correct", "rater": ""}, "who listens"),
        ({"heard": "correct", "key": "9.9.9"}, "no token"),
        ({"heard": "correct", "note": "x" * 300}, "letters are too many"),
    ):
        status, answer = served.told("/do/judge/one", {**said, **wrong})
        assert status in (400, 422) and words in answer["error"], (wrong, answer)
    for heard, line in (("correct", None), ("approximation", 65)):
        assert served.told("/do/judge/one", {**said, "heard": heard, "line": line})[0] == 200
    made = [(one.heard, one.line) for one in case_of(served).tokens[0].judgements if one.rater == "R7"]
    assert made == [("correct", None), ("approximation", 65.0)]
    lines = get(served, "/do/judge/after?client=C-7QXK&session=1&rater=R7")["lines"]
    assert "0 of 1 correct" in lines[1] and not any("Hz" in line for line in lines)


def place_of(token, **more):
    slot = token.sound.slot
    return {"session": 1, "rater": "R2", "prompt_index": token.prompt_index, "attempt": token.attempt,
            "slot": slot.index if slot else 1, **more}  # fmt: skip


def test_whose_voice_and_which_attempt_counts(served) -> None:
    first, second = (token for token in case_of(served).tokens if token.prompt == "seal")
    assert (first.sound.utterance.counts, second.sound.utterance.counts) == (True, False)
    asked = get(served, f"/do/review/token?client=C-7QXK&session=1&key={first.key}")
    assert [(one["attempt"], one["counts"]) for one in asked["attempts"]] == [(1, True), (2, False)]
    status, _ = served.told("/do/review/save?client=C-7QXK", place_of(second, counts=True))
    assert status == 200
    first, second = (token for token in case_of(served).tokens if token.prompt == "seal")
    assert (first.sound.utterance.counts, second.sound.utterance.counts) == (False, True)
    assert served.told("/do/review/save?client=C-7QXK", place_of(first, voice="other"))[0] == 200
    first = case_of(served).tokens[0]
    assert first.sound.utterance.voice == "other" and first.reviewed


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"onset_s": 0.5}, "lies before its end"),
        ({"onset_s": 0.9, "offset_s": 0.5}, "lies before its end"),
        ({"onset_s": 0.0, "offset_s": 900.0}, "outside the kept word"),
        ({"onset_s": "x", "offset_s": 1.0}, "plain numbers"),
        ({"voice": "robot"}, "client, other, unsure"),
        ({"counts": "maybe"}, "counts or does not"),
        ({"prompt_index": 99}, "no token"),
        ({"prompt_index": None}, "needs its place"),
    ],
)
def test_a_correction_that_can_not_be(served, more: dict, words: str) -> None:
    before = case_of(served)
    token = next(token for token in before.tokens if token.prompt == "bus")
    status, answer = served.told("/do/review/save?client=C-7QXK", place_of(token, **more))
    assert status in (400, 422) and words in answer["error"], answer
    assert case_of(served) == before


def test_until_the_set_is_judged_no_figure_and_no_picture_is_sent(served) -> None:
    """Loudness alone, one step high, after the first mark as before it; then the figures of all."""
    token = next(token for token in case_of(served).tokens if token.prompt == "sock")
    path = f"?client=C-7QXK&session=1&key={token.key}"
    left = judge.queue(CaseloadHandle(served.folder), "C-7QXK", 1, rater="R8").left
    n_closed = 0
    for one in sorted(left, key=lambda each: each.key != token.key):
        shown = get(served, f"/do/review/token{path}")
        if not shown["opened"]:
            assert shown["figures"] == [] and shown["average"] is None
            _, headers, body = served.asked("GET", f"/do/review/strip{path}")
            assert (int(headers["x-steps"]), float(headers["x-top"])) == (1, 0.0)
            trace = np.frombuffer(body, np.uint8)
            assert trace.size == int(headers["x-times"]) and trace.max() == 255 and trace.min() < 100
            n_closed += 1
        said = {"client": "C-7QXK", "session": 1, "rater": "R8", "turn": 1, "key": one.key, "heard": "correct"}
        assert served.told("/do/judge/one", said)[0] == 200
    assert n_closed >= 3, "after one mark, and two, it is still closed"
    after = get(served, f"/do/review/token{path}")
    assert len(after["figures"]) == 2 and max(after["average"]["db"]) == 0.0
    with store.open_caseload(served.folder) as one:
        (kept,) = (t for t in store.read_case(one, "C-7QXK").tokens if t.key == token.key)
    label = after["average"]["method"]
    assert after["average"]["mean_hz"] == kept.measurements[label].measures.values["centroid_hz"]


def test_the_picture_spans_the_kept_word(served) -> None:
    token = next(token for token in case_of(served).tokens if token.prompt == "rice")
    status, headers, body = served.asked("GET", f"/do/review/strip?client=C-7QXK&session=1&key={token.key}")
    ink = np.frombuffer(body, np.uint8).reshape(int(headers["x-times"]), int(headers["x-steps"]))
    from_s, to_s = float(headers["x-from"]), float(headers["x-to"])
    edges = token.sound.edges.interval
    assert status == 200 and float(headers["x-top"]) == 15_000 and from_s < edges.onset_s < edges.offset_s < to_s
    times_s = from_s + (np.arange(ink.shape[0]) + 0.5) * (to_s - from_s) / ink.shape[0]
    hiss = ink[:, ink.shape[1] // 3 : 2 * ink.shape[1] // 3].mean(axis=1)
    inside = (times_s > edges.onset_s + 0.02) & (times_s < edges.offset_s - 0.02)
    assert hiss[inside].mean() > 2 * hiss[times_s < edges.onset_s - 0.3].mean(), "5 to 10 kHz is dark where it hisses"
