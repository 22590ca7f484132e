"""A take at the server: stretches looked at, kept exactly, asked again, continued, finished, thrown away."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
import soundfile as sf

from sibilant import lexicon, store
from sibilant.clinic import clients, removing, take
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.store import drafts
from sibilant.suitability.stretch import spoilt

RATE = 44_100
PLAIN = {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False, "voiceIsolation": False}
HOLDS = """
import pathlib, sys
from sibilant import store
with store.open_caseload(pathlib.Path(sys.argv[1])) as one, store.takes_alone(one):
    print("held", flush=True)
    sys.stdin.read()
"""
LISTED = "word\nseal\nbus\nfossil\n"


def words_of(said) -> list[np.ndarray]:
    """The samples of each word with what surrounds it, as the page would cut them."""
    ends = [round((one.interval.offset_s + 0.4) * RATE) for one in said.truth.words]
    return [said.samples[a:b] for a, b in zip([0, *ends[:-1]], ends, strict=True)]


@pytest.fixture
def begun(served):
    """A take of three words."""
    given = {"listed": LISTED, "cue": "S", "keep": "all", "rate": RATE, "microphone": PLAIN, "device": "headset"}
    status, state = served.told("/do/take/begin?client=C-7QXK", given)
    assert status == 200 and state["words"] == ["seal", "bus", "fossil"] and state["place"] == 1
    return state


def stretch(served, state, samples, then: str = "next"):
    """Send one stretch."""
    path = f"/do/take/stretch?client=C-7QXK&take={state['take']}&place={state['place']}&then={then}"
    return served.sent(path, samples)


def test_a_take_becomes_a_session_with_each_word_in_its_own_recording(served, begun, spoken) -> None:
    state = begun
    for samples in words_of(spoken("seal bus fossil")):
        status, state = stretch(served, state, samples)
        assert status == 200 and state["again"] == ""
    folder = served.folder / "takes" / "C-7QXK"
    assert len(list(folder.glob("*.wav"))) == 3
    status, kept = served.told("/do/take/finish?client=C-7QXK", {})
    assert status == 200 and [row["heard"] for row in kept["words"]] == ["heard"] * 3
    assert not folder.exists()
    assert not any("_hz" in key or "_ms" in key for row in kept["words"] for key in row), "no figures"
    with store.open_caseload(served.folder) as one:
        case = store.read_case(one, "C-7QXK")
    (session,) = case.sessions
    assert session.on == dt.datetime.now(dt.UTC).date(), "the day it was recorded, whatever day was used last"
    assert (session.device, session.cue, session.keep) == ("headset", "spontaneous", "all")
    assert session.list_form.startswith("list-") and "44.1 kHz" in session.note
    assert [token.prompt for token in case.tokens] == ["seal", "bus", "fossil"]


def test_what_is_kept_is_what_was_sent_to_the_bit(served, begun, spoken) -> None:
    samples = words_of(spoken("seal bus fossil"))[0]
    stretch(served, begun, samples)
    read, rate = sf.read(served.folder / "takes" / "C-7QXK" / "0001.wav", dtype="float32")
    assert rate == RATE and np.array_equal(read, samples)


def test_a_spoilt_stretch_is_asked_again_and_not_used(served, begun, spoken) -> None:
    good = words_of(spoken("seal bus fossil"))[0]
    lost, cut, far = good.copy(), np.clip(good * 20, -1, 1), good * 0.002
    lost[20_000 : 20_000 + round(0.01 * RATE)] = 0
    for samples, words in (
        (lost, "10 ms of sound were lost"),
        (cut, "too loud"),
        (far, "too quiet"),
        (good[:9000], "no word stands clear"),
        (np.zeros(RATE, np.float32), "no sound arrives"),
    ):
        status, state = stretch(served, begun, samples)
        assert status == 200 and words in state["again"] and state["place"] == 1 and state["said"] == [0, 0, 0]
    assert not list((served.folder / "takes" / "C-7QXK").glob("*.wav"))
    assert stretch(served, begun, good)[1]["again"] == ""


def test_limits_of_what_is_asked_again(spoken) -> None:
    good = words_of(spoken("seal bus fossil"))[1]
    for lost_ms, asked in ((2.5, False), (3.1, True)):
        bad = good.copy()
        bad[10_000 : 10_000 + round(lost_ms * RATE / 1000)] = 0
        assert bool(spoilt(bad, RATE)) is asked, lost_ms
    for n_flat, asked in ((2, False), (3, True)):
        bad = good.copy()
        bad[10_000 : 10_000 + n_flat] = 1.0
        assert bool(spoilt(bad, RATE)) is asked, n_flat


def test_again_keeps_both_and_the_first_whole_one_counts(served, begun, spoken) -> None:
    first, second, third = words_of(spoken("seal bus fossil"))
    _, state = stretch(served, begun, first, "again")
    assert state["place"] == 1 and state["said"] == [1, 0, 0]
    other = words_of(spoken("seal bus fossil", seed=5))[0]
    _, state = stretch(served, state, other)
    assert state["place"] == 2 and state["said"] == [2, 0, 0]
    for samples in (second, third):
        _, state = stretch(served, state, samples)
    _, kept = served.told("/do/take/finish?client=C-7QXK", {})
    rows = [(row["prompt"], row["attempt"], row["counts"]) for row in kept["words"]]
    assert rows == [("seal", 1, True), ("seal", 2, False), ("bus", 1, True), ("fossil", 1, True)]


def test_a_skipped_word_is_kept_as_not_heard(served, begun, spoken) -> None:
    first, _, third = words_of(spoken("seal bus fossil"))
    _, state = stretch(served, begun, first)
    status, state = served.told("/do/take/step?client=C-7QXK", {"take": state["take"], "place": 2})
    assert status == 200 and state["place"] == 3
    _, state = served.told("/do/take/step?client=C-7QXK", {"take": state["take"], "place": 3, "back": True})
    assert state["place"] == 2
    _, state = served.told("/do/take/step?client=C-7QXK", {"take": state["take"], "place": 2})
    stretch(served, state, third)
    _, kept = served.told("/do/take/finish?client=C-7QXK", {})
    assert [(row["prompt"], row["heard"]) for row in kept["words"]] == [
        ("seal", "heard"), ("bus", "not heard"), ("fossil", "heard"),
    ]  # fmt: skip
    status, queue = served.told("/do/judge/queue?client=C-7QXK", {"session": 1, "rater": "R1"})
    assert [one["prompt"] for one in queue["left"]] == ["seal", "bus", "fossil"], "it can be judged all the same"
    assert [one["has_sound"] for one in queue["left"]] == [True, False, True]


def test_of_eight_stretches_for_one_word_one_is_kept(served, begun, spoken) -> None:
    word = words_of(spoken("seal bus fossil"))[0]
    sent = [(word * np.float32(1 - n / 100)).astype(np.float32) for n in range(8)]
    with ThreadPoolExecutor(len(sent)) as threads:
        answers = list(threads.map(lambda samples: stretch(served, begun, samples), sent))
    (kept,) = [n for n, (status, _) in enumerate(answers) if status == 200]
    refused = [(status, told["error"]) for n, (status, told) in enumerate(answers) if n != kept]
    assert refused == [(400, "word 1 is not the one under way (2); load the page again")] * 7
    (file,) = (served.folder / "takes" / "C-7QXK").glob("*.wav")
    assert np.array_equal(sf.read(file, dtype="float32")[0], sent[kept]), "what was answered as kept is what lies there"


def test_two_programs_take_turns_in_a_take(served, begun, spoken, monkeypatch) -> None:
    """Another page on the same caseload goes on with the take: the lock is the folder's, not one program's."""
    command = [sys.executable, "-c", HOLDS, str(served.folder)]
    word = words_of(spoken("seal bus fossil"))[0]
    monkeypatch.setattr(drafts, "LONGEST_WAIT_S", 0.3)
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "held\n"
        status, told = stretch(served, begun, word)
        assert status != 200 and "another program is at work in a take" in told["error"]
        other.communicate("")
    assert stretch(served, begun, word)[0] == 200


def test_after_a_crash_it_goes_on_and_the_older_page_is_refused(served, begun, spoken) -> None:
    first, second, _ = words_of(spoken("seal bus fossil"))
    stretch(served, begun, first)
    page = served.asked("GET", "/capture?client=C-7QXK")[2].decode()
    assert "A probe was begun and not finished" in page and "1 of them said" in page
    again = {"rate": RATE, "microphone": PLAIN}
    status, state = served.told("/do/take/go-on?client=C-7QXK", again)
    assert status == 200 and state["place"] == 2 and state["take"] != begun["take"]
    status, answer = stretch(served, {**begun, "place": 2}, second)
    assert status == 409 and "continued in another window" in answer["error"]
    assert served.told("/do/take/go-on?client=C-7QXK", {**again, "rate": 48000})[0] == 409
    assert served.told("/do/take/begin?client=C-7QXK", {**again, "words": "core-a"})[0] == 409
    status, gone = served.told("/do/take/throw-away?client=C-7QXK", {})
    assert status == 200 and gone == {"erased": 1}
    assert not list((served.folder / "takes").rglob("*.wav"))


def test_a_broken_write_loses_nothing_that_was_kept(served, begun, spoken, monkeypatch) -> None:
    first, second, _ = words_of(spoken("seal bus fossil"))
    _, state = stretch(served, begun, first)

    def full(*_: object) -> None:
        from sibilant.errors import OutputError

        raise OutputError("0002.wav: can't be written (no space left on device); choose a folder that has room")

    with monkeypatch.context() as broken:
        broken.setattr("sibilant.clinic.take.store.write_draft", full)
        status, answer = stretch(served, state, second)
        assert status == 422 and "no space" in answer["error"]
    status, state = stretch(served, state, second)
    assert status == 200 and state["place"] == 3


def test_what_is_not_kept_is_erased(served, spoken) -> None:
    given = {"listed": LISTED, "cue": "S", "keep": "none", "rate": RATE, "microphone": PLAIN}
    _, state = served.told("/do/take/begin?client=C-7QXK", given)
    for samples in words_of(spoken("seal bus fossil")):
        _, state = stretch(served, state, samples)
    served.told("/do/take/finish?client=C-7QXK", {})
    sounds = [p for p in served.folder.rglob("*") if p.is_file() and p.read_bytes()[:4] in (b"RIFF", b"fLaC")]
    assert sounds == []


@pytest.mark.parametrize("what", ["audio", "all"])
def test_removing_a_client_takes_the_take_along(served, begun, spoken, what: str) -> None:
    stretch(served, begun, words_of(spoken("seal bus fossil"))[0])
    receipt = removing.remove_client(CaseloadHandle(served.folder), "C-7QXK", what, erase=True)
    assert any("take under way" in line for line in receipt.erased)
    assert not [p for p in (served.folder / "takes").rglob("*") if p.is_file()]


def test_a_processed_or_slow_microphone_is_refused(served) -> None:
    for name in PLAIN:
        status, answer = served.told("/do/microphone", {"rate": 48000, "microphone": {**PLAIN, name: True}})
        assert status == 409 and name in answer["error"]
    status, answer = served.told("/do/microphone", {"rate": 16000, "microphone": PLAIN})
    assert status == 409 and "16000" in answer["error"]
    assert served.told("/do/microphone", {"rate": 48000, "microphone": PLAIN})[0] == 200


def test_identifiers_of_the_machine_are_not_kept(served) -> None:
    given = {
        "words": "sh-a",
        "rate": RATE,
        "keep": "words",
        "microphone": {**PLAIN, "deviceId": "f00", "groupId": "ba"},
    }
    status, _ = served.told("/do/take/begin?client=C-7QXK", given)
    state = json.loads((served.folder / "takes" / "C-7QXK" / "take.json").read_text())
    assert status == 200 and state["microphone"] == PLAIN and state["form"] == "sh-a"


def test_every_list_survives_the_way_through_a_take() -> None:
    for name in lexicon.list_names():
        prompts = lexicon.builtin_list(name)
        if any(lexicon.BLANK in prompt.text for prompt in prompts):
            continue
        assert tuple(take._from_row(take._as_row(prompt), "") for prompt in prompts) == prompts, name


def test_a_trial_word_is_judged_by_the_recording_rules_and_not_kept(served, spoken) -> None:
    said = spoken("rice", lead_s=2.0)
    status, found = served.sent("/do/trial?rate=44100", said.samples)
    assert status == 200 and found["again"] == "" and found["verdict"]["durations"] == "usable"
    assert found["snr_4_10khz_db"] > 20
    assert not list(served.folder.rglob("*.wav"))
    assert "lost" in served.sent("/do/trial?rate=44100", np.concatenate([said.samples, np.zeros(500)]))[1]["again"]
    assert served.sent("/do/trial?rate=8000", said.samples)[0] == 409


def test_an_encrypted_caseload_keeps_a_take_sealed(tmp_path, spoken, monkeypatch) -> None:
    pytest.importorskip("cryptography", reason="the optional part for encryption is not installed")
    pytest.importorskip("sqlcipher3", reason="the optional part for encryption is not installed")
    from sibilant import web
    from sibilant.clinic import encryption, look

    monkeypatch.setenv("SIBILANT_PASSPHRASE", "six blue horses walk")
    monkeypatch.setenv("SIBILANT_NEW_PASSPHRASE", "six blue horses walk")
    folder = tmp_path / "case"
    clients.add_client(CaseloadHandle(folder), "7y4m", code="C-7QXK", fields={"invented": True})
    encryption.encrypt(CaseloadHandle(folder), tell=lambda code: None)
    request = take.TakeRequest(listed=LISTED, cue="S", sampling_rate_hz=RATE, microphone=PLAIN)
    state = take.begin(CaseloadHandle(folder), "C-7QXK", request)
    for n, samples in enumerate(words_of(spoken("seal bus fossil")), start=1):
        take.keep_stretch(CaseloadHandle(folder), "C-7QXK", samples, take=state["take"], place=n, onward=True)
    for path in (p for p in folder.rglob("*") if p.is_file()):
        content = path.read_bytes()
        assert b"RIFF" not in content and b"fossil" not in content and b"C-7QXK" not in content, path.name
        assert "7QXK" not in str(path.relative_to(folder))
    kept = take.finish(CaseloadHandle(folder), "C-7QXK")
    assert len(kept.words) == 3
    running = web.start(CaseloadHandle(folder))
    try:
        assert look.sound(CaseloadHandle(folder), "C-7QXK", 1, "1.1.1").recording.sampling_rate_hz == RATE
    finally:
        running.stop()
