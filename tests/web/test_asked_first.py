"""Questions that the page asks: a list of which few words were heard, a voice before each, a device not stated.

Invented data – not a person.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sibilant import audio, lexicon, synthetic
from sibilant.clinic import clients, doubts, probe, sessions, voices
from sibilant.clinic.caseload import CaseloadHandle

RATE = 44_100
CLIENT = "C-7QXK"
WORDS = ("seal", "bus", "fossil", "sock", "rice", "sun")


def taken(served, words: tuple[str, ...], stretches: list[np.ndarray]) -> None:
    """A take of a list, one stretch a word, as the page's own script sends it."""
    served.asked("GET", "/")  # the page gives its handles out
    told = {"listed": "word\n" + "\n".join(words) + "\n", "cue": "S", "rate": RATE, "microphone": {}}
    status, take = served.told(f"/do/take/begin?client={served.handle}", told)
    assert status == 200, take
    for place, samples in enumerate(stretches, start=1):
        asked = f"client={served.handle}&take={take['take']}&place={place}&then=next"
        status, answer = served.sent(f"/do/take/stretch?{asked}", samples)
        assert status == 200 and not answer["again"], answer


def said_as(word: str, seed: int, *, modelled: bool = False) -> np.ndarray:
    plan = synthetic.ProbePlan(lead_s=0.5, pause_s=(0.9, 1.0), snr_db=35, sampling_rate_hz=RATE, modelled=modelled)
    spoken = synthetic.probe([lexicon.expect(word)], synthetic.child_speaker(3), seed, plan=plan)
    return 0.5 * spoken.samples / np.abs(spoken.samples).max()


def test_a_model_before_each_word_is_asked_about_and_answered_by_a_button(served, browse) -> None:
    taken(served, WORDS, [said_as(word, n, modelled=True) for n, word in enumerate(WORDS)])
    page = browse()
    page.goto(served.running.address)
    page.goto(f"{served.base}/capture?client={served.handle}")
    page.click("#finish-now")
    page.wait_for_selector("#question:not([hidden])", timeout=60_000)
    words = page.inner_text("#question-words")
    assert "another voice came before" in words and "of 6 words" in words and "line of their own" in words
    assert "--" not in words, "no option of the command line is told on the page"
    assert sessions.list_sessions(CaseloadHandle(served.folder), CLIENT) == []
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#kept:not([hidden])", timeout=60_000)
    (row,) = sessions.list_sessions(CaseloadHandle(served.folder), CLIENT)
    assert row["cue"] == "model"

    # the replies are confirmed as a set by one key, once the least certain are heard, and taken back
    n = voices.waiting(CaseloadHandle(served.folder), CLIENT, 1)["n"]
    assert n >= 4
    page.goto(f"{served.base}/review?client={served.handle}&session=1")
    page.wait_for_selector("#whose:not([hidden])")
    page.keyboard.press("v")
    assert voices.waiting(CaseloadHandle(served.folder), CLIENT, 1)["n"] == n, "not before they are heard"
    for k in range(3):
        page.click(f"#whose-hear button >> nth={k}")
        page.wait_for_function(
            "k => document.querySelectorAll('#whose-hear button')[k].innerText.includes('heard')", arg=k
        )
    page.keyboard.press("v")
    page.wait_for_function(f"() => document.querySelector('#whose-words').innerText.startsWith('{n} were confirmed')")
    assert voices.waiting(CaseloadHandle(served.folder), CLIENT, 1)["n"] == 0
    page.click("#whose-undo")
    page.wait_for_selector("#whose-set:not([hidden])")
    assert voices.waiting(CaseloadHandle(served.folder), CLIENT, 1)["n"] == n and page.wrong == []


def test_a_list_of_which_few_words_were_heard_is_asked_about(served, monkeypatch: pytest.MonkeyPatch) -> None:
    """What counts as few is tested elsewhere; here it is whether the page asks and keeps nothing until answered."""
    taken(served, WORDS[:2], [said_as(word, n) for n, word in enumerate(WORDS[:2])])
    monkeypatch.setattr(doubts, "SURE_SHARE", 2.0)
    monkeypatch.setattr(doubts, "FEWEST_MISSING", 0)
    status, answer = served.told(f"/do/take/finish?client={served.handle}", {})
    assert status == 409 and answer["answers"] == ["anyway"] and "of the 2 words" in answer["error"]
    assert sessions.list_sessions(CaseloadHandle(served.folder), CLIENT) == []
    status, answer = served.told(f"/do/take/finish?client={served.handle}", {"anyway": True})
    assert status == 200 and answer["session"] == 1


def test_sessions_without_a_device_are_asked_after_all_at_once(served, tmp_path: Path, browse) -> None:
    listed = tmp_path / "list.csv"
    listed.write_text("word\nseal\n", encoding="utf-8")
    for n in (1, 2):
        audio.write_wav(tmp_path / f"{n}.wav", said_as("seal", n), RATE)
        probe.keep_probe(
            CaseloadHandle(served.folder), CLIENT, probe.ProbeRequest([tmp_path / f"{n}.wav"], str(listed))
        )
    page = browse()
    page.goto(served.running.address)
    page.goto(f"{served.base}/?client={served.handle}")
    assert "Which device was used?" in page.inner_text("main")
    page.select_option("#device-used", "headset")
    page.click("text=State it for those ticked")
    page.wait_for_load_state("load")
    assert {row["device"] for row in sessions.list_sessions(CaseloadHandle(served.folder), CLIENT)} == {"headset"}
    assert "Which device was used?" not in page.inner_text("main")
    page.goto(f"{served.base}/capture?client={served.handle}")
    assert page.input_value("#device") == "headset"
    sessions.change_sessions(CaseloadHandle(served.folder), CLIENT, (2,), {"device": "tablet"})
    page.reload()
    assert page.input_value("#device") == "tablet", "the one used last is filled in"


def test_when_therapy_runs_is_said_on_the_page(served, browse) -> None:
    page = browse()
    page.goto(served.running.address)
    page.goto(f"{served.base}/?client={served.handle}")
    page.fill("#therapy-starts-now", "2026-02-02")
    page.click("text=Keep these days")
    page.wait_for_load_state("load")
    assert clients.show_client(CaseloadHandle(served.folder), CLIENT)["therapy"] == "starts on 2026-02-02"
    page.click("text=When therapy of this sound runs: starts on 2026-02-02")
    page.fill("#therapy-pauses-now", "2026-07-01")
    page.click("text=Keep these days")
    page.wait_for_load_state("load")
    assert (
        "paused on 2026-07-01" in clients.show_client(CaseloadHandle(served.folder), CLIENT)["therapy"]
        and page.wrong == []
    )
    page.click("summary:has-text('Add a client')")
    page.fill("#age", "6y2m")
    page.check("#therapy_under_way")
    page.click("text=Add the client")
    page.wait_for_url("**added=yes**")
    (added,) = [row["client"] for row in clients.list_clients(CaseloadHandle(served.folder)) if row["client"] != CLIENT]
    assert clients.show_client(CaseloadHandle(served.folder), added)["therapy"] == "under way before the first probe"
