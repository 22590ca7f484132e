"""What a clinician does between probes, on the page alone: recordings brought in, things put right. Invented data."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import av
import numpy as np
import pytest

from sibilant import audio, lexicon, synthetic
from sibilant.clinic import clients, probe, sessions
from sibilant.clinic.caseload import CaseloadHandle

RATE = 44_100
CLIENT = "C-7QXK"
OTHER = "C-M4RT"
WORDS = "seal bus fossil sock rice sun"


def said(words: str, seed: int = 3) -> np.ndarray:
    plan = synthetic.ProbePlan(lead_s=0.5, pause_s=(0.9, 1.0), snr_db=35, sampling_rate_hz=RATE)
    spoken = synthetic.probe([lexicon.expect(w) for w in words.split()], synthetic.child_speaker(3), seed, plan=plan)
    return (0.5 * spoken.samples / np.abs(spoken.samples).max()).astype(np.float32)


def as_m4a(path: Path, samples: np.ndarray) -> Path:
    """A phone's kind of file: AAC in an MP4 container, by PyAV."""
    with av.open(str(path), "w", format="mp4") as held:
        stream = held.add_stream("aac", rate=RATE, layout="mono")
        stream.bit_rate = 192_000
        frame = av.AudioFrame.from_ndarray(samples[None, :], format="fltp", layout="mono")
        frame.sample_rate = RATE
        for packet in (*stream.encode(frame), *stream.encode(None)):
            held.mux(packet)
    return path


def opened_at(browse, served, place: str, **size: int):
    page = browse(**size)
    page.goto(served.running.address)
    page.goto(f"{served.base}/{place}{'&' if '?' in place else '?'}client={served.handle}")
    return page


def test_a_phone_recording_is_brought_in_and_a_wrong_list_is_asked_about(browse, served, tmp_path: Path) -> None:
    """Wrong list, then the right one; the day of the file; the same file a second time; then what was noted changed."""
    file = as_m4a(tmp_path / "memo.m4a", said(WORDS))
    noon = dt.datetime(2026, 3, 4, 12).timestamp()
    os.utime(file, (noon, noon))
    own = tmp_path / "LIST.csv"
    own.write_text("word\n" + WORDS.replace(" ", "\n") + "\n", encoding="utf-8")
    page = opened_at(browse, served, "bring")
    page.set_input_files("#files", file)
    page.wait_for_selector("#looked:has-text('durations')")
    assert page.input_value("#on") == "2026-03-04" and "short for the 20 words" in page.inner_text("#looked-asked")
    page.click("#keep-it")
    page.wait_for_selector("#question:not([hidden])", timeout=60_000)
    words = page.inner_text("#question-words")
    assert "is it the list that was spoken" in words and "--" not in words
    assert sessions.list_sessions(CaseloadHandle(served.folder), CLIENT) == []
    page.click("#back-to-it")
    page.select_option("#words", "")
    page.set_input_files("#own-list", own)
    page.wait_for_function("() => !document.querySelector('#keep-it').disabled")
    page.select_option("#device", "headset")
    page.click("#keep-it")
    page.wait_for_selector("#kept:not([hidden])", timeout=60_000)
    assert page.inner_text("#found").count("heard") == 6 and "Hz" not in page.inner_text("#kept")
    (row,) = sessions.list_sessions(CaseloadHandle(served.folder), CLIENT)
    assert (row["on"], row["device"], row["cue"]) == ("2026-03-04", "headset", "spontaneous")

    page.click("#to-session")
    page.fill("#on", "2026-03-02")
    page.select_option("#elicited", "picture")
    page.click("text=Keep these changes")
    page.wait_for_url("**done=changed**")
    (row,) = sessions.list_sessions(CaseloadHandle(served.folder), CLIENT)
    assert (row["on"], row["elicited"], row["device"]) == ("2026-03-02", "picture", "headset")

    page.goto(f"{served.base}/bring?client={served.handle}")
    page.set_input_files("#files", file)
    page.wait_for_selector("#looked:has-text('kept already')")
    assert page.is_disabled("#keep-it") and page.wrong == []


def test_a_file_that_is_no_sound_is_one_line(browse, served, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("no sound", encoding="utf-8")
    page = opened_at(browse, served, "bring")
    page.set_input_files("#files", tmp_path / "notes.txt")
    page.wait_for_selector("#looked span")
    assert page.is_disabled("#keep-it")
    for body in (b"", b"\x05\x00\x00\x00{}", b"\xff\xff\xff\xff{}", b'\x1c\x00\x00\x00{"sizes": [9], "names": []}'):
        status, _, answer = served.asked("POST", f"/do/bring/keep?client={served.handle}", body)
        assert status == 400 and b"did not arrive whole" in answer, body


@pytest.fixture
def one_session(served, tmp_path: Path) -> Path:
    """A session of one word, and a second client."""
    listed = tmp_path / "list.csv"
    listed.write_text("word\nseal\n", encoding="utf-8")
    audio.write_wav(tmp_path / "1.wav", said("seal"), RATE)
    probe.keep_probe(CaseloadHandle(served.folder), CLIENT, probe.ProbeRequest([tmp_path / "1.wav"], str(listed)))
    clients.add_client(CaseloadHandle(served.folder), "8y2m", code=OTHER, fields={"invented": True})
    return served.folder


def test_a_session_is_moved_and_removed_after_one_question(browse, served, one_session: Path) -> None:
    page = opened_at(browse, served, "session")
    page.click("summary:has-text('another client')")
    page.select_option("#to", label="C-M4RT · 8y2m")
    page.click("text=Move session 1")
    page.wait_for_url("**done=moved**")
    assert "session 1 of C-M4RT" in page.inner_text("main") and "C-" not in page.url
    assert sessions.list_sessions(CaseloadHandle(one_session), CLIENT) == []
    page.click("text=Remove session 1 …")
    assert "Remove session 1 of C-M4RT?" in page.inner_text("h1")
    page.click("text=No, keep it")
    assert len(sessions.list_sessions(CaseloadHandle(one_session), OTHER)) == 1
    page.click("text=Remove session 1 …")
    page.click("button:has-text('Remove this session')")
    page.wait_for_selector("text=Receipt")
    assert "not erased" in page.inner_text("main") and sessions.list_sessions(CaseloadHandle(one_session), OTHER) == []
    page.click("main a:has-text('the bin')")
    page.click("text=Bring it back")
    page.wait_for_selector("text=Nothing lies in the bin")
    assert len(sessions.list_sessions(CaseloadHandle(one_session), OTHER)) == 1 and "C-" not in page.url
    page.goto(f"{served.base}/remove?client={OTHER}&what=session&number=1")
    page.check("text=Erase it at once instead")
    page.click("button:has-text('Remove this session')")
    page.wait_for_selector("h2:has-text('Erased')")
    assert sessions.list_sessions(CaseloadHandle(one_session), OTHER) == []
    assert page.wrong == []


def test_consent_hold_events_and_removal_of_a_client(browse, served, one_session: Path) -> None:
    page = opened_at(browse, served, "details")
    page.click("text=Measure all kept sounds again")
    page.wait_for_selector("h1:has-text('Measured again')")
    assert "nothing to measure again" in page.inner_text("[role=status]")
    page.click("text=Back to the details")
    page.fill("#event-on", "2026-03-02")
    page.select_option("#event-kind", "teeth")
    page.fill("#event-text", "upper incisors lost")
    page.click("text=Add the event")
    page.wait_for_selector("text=2026-03-02 · teeth: upper incisors lost")
    page.fill("#because", "records asked for")
    page.click("text=Put on hold")
    page.wait_for_selector("text=On hold: records asked for")
    page.click("text=Remove everything …")
    page.click("button:has-text('Remove everything')")
    page.wait_for_selector("[role=alert]:has-text('hold')")
    page.goto(f"{served.base}/details?client={served.handle}")
    page.click("text=Let go of the hold")
    page.wait_for_url("**done=hold**")
    page.click("summary:has-text('who agreed')")
    page.select_option("#by", "guardian")
    page.check("#scope-teaching")
    page.click("text=Keep this consent")
    page.wait_for_url("**done=consent**")
    page.click("summary:has-text('Consent is withdrawn')")
    page.fill("#withdrawn_on", "2026-04-01")
    page.click("text=Keep the withdrawal")
    page.wait_for_selector("text=Withdrawn on 2026-04-01")
    consent = clients.show_client(CaseloadHandle(one_session), CLIENT)["consent"]
    assert (consent["by"], consent["teaching"], consent["research"]) == ("guardian", True, False)
    page.click("summary:has-text('Change them')")
    page.fill("#hearing", "passed screening")
    page.fill("#rule", "90% x3 n10")
    page.select_option("#method", "house-10k")
    page.click("text=Keep these >> nth=-1")
    page.wait_for_url("**done=described**")
    assert clients.show_client(CaseloadHandle(one_session), CLIENT)["move_up"]["n_sessions"] == 3
    assert clients.show_client(CaseloadHandle(one_session), CLIENT)["method"] == "house-10k"
    page.click("text=remove the event of")
    page.click("button:has-text('Remove this event')")
    page.wait_for_selector("text=removed")
    assert clients.list_events(CaseloadHandle(one_session), CLIENT) == []
    page.goto(f"{served.base}/details?client={served.handle}")
    page.click("text=Remove everything …")
    page.click("button:has-text('Remove everything')")
    page.wait_for_selector("text=Receipt")
    assert [row["client"] for row in clients.list_clients(CaseloadHandle(one_session))] == [OTHER] and page.wrong == []


def test_devices_and_the_listeners_code_are_settings(browse, served) -> None:
    page = opened_at(browse, served, "settings")
    page.fill("#name", "phone")
    page.fill("#distance_cm", "30")
    page.click("text=Register it")
    page.wait_for_selector("td:has-text('30 cm')")
    page.fill("#rater", "Mary")
    page.click("text=Fill it in from now on")
    page.wait_for_selector("[role=alert]:has-text('never a name')")
    page.goto(f"{served.base}/settings")
    page.fill("#rater", "R7")
    page.click("text=Fill it in from now on")
    page.wait_for_url("**done=listener**")
    page.click("text=Check that every row")
    page.wait_for_selector(".line:has-text('whole')")
    assert page.input_value("#rater") == "R7" and page.wrong == []


def test_a_mark_is_changed_and_put_back_and_all_stay_in_the_trail(browse, served, tmp_path: Path) -> None:
    from sibilant import store
    from sibilant.clinic import judge

    listed = tmp_path / "list.csv"
    listed.write_text("word\nseal\nbus\n", encoding="utf-8")
    audio.write_wav(tmp_path / "1.wav", said("seal bus"), RATE)
    probe.keep_probe(CaseloadHandle(served.folder), CLIENT, probe.ProbeRequest([tmp_path / "1.wav"], str(listed)))
    queue = judge.queue(CaseloadHandle(served.folder), CLIENT, 1, rater="R1")
    for one in queue.left:
        judge.record(CaseloadHandle(served.folder), queue, one.key, "correct")
    page = opened_at(browse, served, "again?session=1")
    page.wait_for_selector("#words button:has-text('● correct')")
    page.focus("#words button >> nth=0")
    for key in ("ArrowDown", "d", "4", "Enter"):
        page.keyboard.press(key)
    page.wait_for_selector("#words button:has-text('◐ distorted · lateral')")
    assert "before correct" in page.inner_text("#kept-one")
    page.keyboard.press("z")
    page.wait_for_selector("#words button >> nth=1 >> text=● correct")
    page.keyboard.press("Enter")  # what stands is not kept a second time
    page.wait_for_selector("#kept-one:has-text('bus: ● correct, as it stands')")
    page.mouse.click(1270, 790)
    page.keyboard.press("ArrowUp")
    assert page.inner_text("#prompt") == "seal" and page.wrong == []
    with store.open_caseload(served.folder) as opened:
        bus = next(token for token in store.read_case(opened, CLIENT).tokens if token.prompt == "bus")
    assert [j.heard for j in bus.judgements] == ["correct", "distorted", "correct"]
    page.goto(f"{served.base}/agree?client={served.handle}")
    assert "Agreement" in page.inner_text("h1")


def test_a_report_is_read_and_filled_in_before_it_is_made(browse, served) -> None:
    page = opened_at(browse, served, "reports?kind=discharge")
    article = page.inner_text("article")
    assert "Closing report" in article and "Invented data – not a person" in article
    page.fill("text=Follow-up plan and dates >> xpath=../textarea", "A probe in three months.")
    page.select_option("#form", "html")
    with page.expect_download() as download:
        page.click("text=Make the report")
    made = Path(download.value.path()).read_text(encoding="utf-8")
    assert download.value.suggested_filename == "report-discharge.html" and CLIENT not in page.url
    assert "Follow-up plan and dates: A probe in three months." in made and "Function at start and now" in made
    page.goto(f"{served.base}/plan?client={served.handle}&change=400")
    assert page.locator("tbody tr").count() > 3 and page.wrong == []
