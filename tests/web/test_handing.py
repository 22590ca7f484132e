"""What a clinician keeps beside the probes, hands on and takes in, by plain requests to the page. Invented data."""

from __future__ import annotations

import io
import json
import zipfile
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pytest
import soundfile

from sibilant import audio, store
from sibilant.clinic import clients, goals, probe, runs, sessions, visits
from sibilant.clinic.caseload import CaseloadHandle


@pytest.fixture(autouse=True)
def seen(served: Any) -> None:
    """Look at the start, where clients get what stands for them in addresses."""
    served.asked("GET", "/")


def form(served: Any, path: str, **fields: str) -> tuple[int, dict[str, str], bytes]:
    """Send a form of the invented client."""
    body = urlencode({"client": served.handle, **fields}).encode()
    return served.asked("POST", path, body, content_type="application/x-www-form-urlencoded")  # type: ignore[no-any-return]


def handed(served: Any, path: str, fields: dict[str, Any], *files: tuple[str, bytes]) -> tuple[int, Any]:
    """Hand over fields and files as the page's scripts do."""
    sizes = {"sizes": [len(content) for _, content in files], "names": [name for name, _ in files]}
    head = json.dumps({**fields, **sizes}).encode()
    body = len(head).to_bytes(4, "little") + head + b"".join(content for _, content in files)
    status, _, answer = served.asked("POST", f"{path}?client={served.handle}", body)
    return status, json.loads(answer)


def shown(served: Any, place: str) -> str:
    status, _, body = served.asked("GET", f"{place}?client={served.handle}")
    assert status == 200, (place, body[:300])
    return str(body.decode("utf-8"))


def test_goals_visits_and_practice_are_kept_shown_and_taken_out(served: Any) -> None:
    case = CaseloadHandle(served.folder)
    aim = {
        "part": "goal",
        "behaviour": "says /s/ in words",
        "level": "word",
        "cue": "spontaneous",
        "criterion": "90% x1",
    }
    status, _, body = form(served, "/goals", **aim)
    assert status == 303, body.split(b"alert")[-1][:200]
    assert form(served, "/goals", part="visit", kind="attended", minutes="30")[0] == 303
    marks = [{"said": "sun", "word": "sun", "heard": "correct", "cue": "model"}]
    assert served.told(f"/do/practise/said?client={served.handle}", {"level": "word", "marks": marks}) == (
        200,
        {"kept": 1},
    )
    text = shown(served, "/goals")
    for wanted in ("says /s/ in words", "20 or more sounds, in one probe", "30 minutes", "1 of 1", "sun"):
        assert wanted in text, wanted
    assert form(served, "/goals", part="ended", number="1", ended="met")[0] == 303
    assert goals.list_goals(case, "C-7QXK")[0]["ended"].startswith("met on")
    day = next(iter(clients.show_client(case, "C-7QXK")["treated"].values()))
    for part, more in (("sheet-back", {"on": day}), ("run-gone", {"number": "1"}), ("visit-gone", {"number": "1"})):
        assert form(served, "/goals", part=part, **more)[0] == 303
    assert not visits.list_visits(case, "C-7QXK") and not runs.list_runs(case, "C-7QXK")
    assert clients.show_client(case, "C-7QXK")["treated"] == {}
    status, _, body = form(served, "/goals", part="goal", behaviour="x", level="word", criterion="most")
    assert status == 400 and b"write share, sessions running" in body


def test_a_client_goes_out_as_a_zip_and_comes_in_again(served: Any) -> None:
    status, heads, content = form(served, "/share/export", new_code="yes")
    assert status == 200 and "export.zip" in heads["content-disposition"]
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        assert {"clients.csv", "goals.csv", "export.json"} <= set(packed.namelist())
    status, told = handed(served, "/do/share/import", {}, ("export.zip", content))
    assert status == 200 and "0 sessions kept" in told["lines"][0], told
    with CaseloadHandle(served.folder).opened() as one:
        assert len(store.codes(one)) == 2
    clients.add_event(CaseloadHandle(served.folder), "C-7QXK", "came with Anna")
    status, _, body = form(served, "/share/export")
    assert status == 409 and b"looks like a name" in body
    assert form(served, "/share/export", allowed="Anna")[0] == 200


def test_what_is_no_export_is_one_line_and_nothing_is_kept(served: Any) -> None:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        packed.writestr("../../outside.csv", "x")
    for name, content in (("a.zip", b"no zip"), ("a.zip", stream.getvalue()), ("a.csv", b"on\n")):
        status, told = handed(served, "/do/share/import", {}, (name, content))
        assert status in (400, 409, 422) and "\n" not in told["error"], told
    assert not (served.folder.parent / "outside.csv").exists()


def test_the_caseload_is_backed_up_as_one_file(served: Any) -> None:
    status, heads, content = form(served, "/share/backup")
    assert status == 200 and ".backup" in heads["content-disposition"]
    assert zipfile.is_zipfile(io.BytesIO(content))


def test_values_and_words_are_looked_up_and_a_recording_is_told_without_being_kept(served: Any, spoken: Any) -> None:
    text = shown(served, "/ranges")
    assert "Where none fits" in text and "7y4m" in text
    status, told = handed(served, "/do/ranges", {}, ("own.csv", b"measure\n"))
    assert status in (400, 422) and told["error"]
    status, _, body = served.asked("GET", "/look?text=straw")
    assert status == 200 and "/s/ initial in str" in body.decode()
    said = spoken("seal bus")
    sound = io.BytesIO()
    soundfile.write(sound, np.asarray(said.samples, "float32"), 44_100, format="WAV")
    status, told = handed(served, "/do/look/measure", {"say": "seal, bus"}, ("a.wav", sound.getvalue()))
    assert status == 200 and [row[0] for row in told["rows"]] == ["seal", "bus"], told
    with CaseloadHandle(served.folder).opened() as one:
        assert store.sessions(one, "C-7QXK") == ()


def test_a_name_in_a_form_is_asked_about_and_the_form_is_sent_again_when_it_is_none(served: Any) -> None:
    fields = {"on": "2026-01-20", "kind": "illness", "text": "Anna had a cold"}
    status, _, body = form(served, "/details/event", **fields)
    assert status == 200 and b"Is this a name?" in body and b"Anna had a cold" in body
    assert clients.list_events(CaseloadHandle(served.folder), "C-7QXK") == []
    assert form(served, "/details/event", **fields, no_name="yes")[0] == 303
    assert len(clients.list_events(CaseloadHandle(served.folder), "C-7QXK")) == 1


def test_a_day_is_put_right_where_level_cue_and_way_are_not_stated(served: Any, spoken: Any, tmp_path: Any) -> None:
    """Found by a whole month on the page: "not stated" was refused, and with it the whole form."""
    said = spoken("seal")
    audio.write_wav(tmp_path / "1.wav", said.samples, said.sampling_rate_hz)
    (tmp_path / "list.csv").write_text("word\nseal\n", encoding="utf-8")
    case = CaseloadHandle(served.folder)
    probe.keep_probe(case, "C-7QXK", probe.ProbeRequest([tmp_path / "1.wav"], str(tmp_path / "list.csv")))
    fields = {"session": "1", "on": "2026-03-02", "level": "", "cue": "", "elicited": "", "phase": "", "device": ""}
    assert form(served, "/session/change", **fields)[0] == 303
    (row,) = sessions.list_sessions(case, "C-7QXK")
    assert (row["on"], row["level"], row["cue"], row["elicited"]) == ("2026-03-02", "", "", "")
