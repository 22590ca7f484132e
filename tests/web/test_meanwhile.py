"""The page open while the command line changes the same caseload; and how often a request reads a case.

Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.store import cases
from sibilant.terms.clinic import Consent, Device

CODE, OTHER = "C-7QXK", "C-M4RT"
NOON = dt.datetime(2026, 3, 4, 12, tzinfo=dt.UTC)
RANGE = "centroid_hz,s,6400,900,24,5,9,both,Invented data – not a person,initial,any,house-15k,Invented source (2020)"
HEAD = "measure,phone,mean,sd,n_speakers,age_low_y,age_high_y,sex,population,position,cue,method,citation"
ADDRESSES = (
    "/", "/capture", "/judge", "/review", "/progress", "/progress?measure=core_duration_ms", "/progress/months.svg",
    "/report?kind=monthly&form=html", "/do/review/tokens?session=1", "/do/review/token?session=1&key=1.1.1",
    "/do/review/voices?session=1", "/do/judge/after?session=1&rater=R1",
)  # fmt: skip


def fill(folder: Path, material: ModuleType) -> None:
    """Two clients; the first with four judged sessions."""
    consent = Consent(dt.date(2026, 1, 2), "parent (invented)")
    with store.open_caseload(folder, who="T1", clock=lambda: NOON) as one:
        client = material.client(consent=consent)
        store.add_client(one, client)
        store.add_client(one, replace(client, code=OTHER))
        store.add_device(one, Device("desk", "condenser", "Room 4"))
        for number in range(1, 5):
            tokens = [material.token(i, {"centroid_hz": 6000.0 + i, "core_duration_ms": 100.0}) for i in range(20)]
            recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {"verdict": "usable"})
            prompts = tuple(material.prompt_of(i) for i in range(20))
            new = store.NewSession(
                replace(material.session(number), number=0), prompts, (recording,), material.new_sounds(tokens)
            )
            store.keep_session(one, new)
            heard = [material.judgement(f"{i}.1.1", "correct", on=NOON) for i in range(1, 21)]
            store.add_judgements(one, CODE, number, heard)


@pytest.fixture
def page(tmp_path: Path, material: ModuleType, serving: Any) -> Iterator[Any]:
    """A page that was opened on that caseload and has shown the client."""
    fill(tmp_path / "kept", material)
    for served in serving(tmp_path / "served", tmp_path / "kept"):
        assert served.asked("GET", "/")[0] == 200
        yield served


def got(page: Any, address: str) -> tuple[int, str]:
    """What an address answers of the client."""
    sign = "&" if "?" in address else "?"
    status, _, body = page.asked("GET", f"{address}{sign}client={page.handle}")
    return status, body.decode("utf-8", "replace")


def done(page: Any, *words: str) -> None:
    """A command at work in the page's caseload."""
    assert run([*words, "--caseload", str(page.folder)]) == 0


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_request_reads_the_case_once(page: Any, address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []
    real = cases.client_id  # every reading of a case begins with it

    def counted(connection: Any, code: str) -> int:
        read.append(code)
        return real(connection, code)

    monkeypatch.setattr(cases, "client_id", counted)
    status, body = got(page, address)
    assert status == 200, body
    assert read == [CODE]


def test_keeping_a_correction_reads_the_case_once(page: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []
    real = cases.client_id
    monkeypatch.setattr(cases, "client_id", lambda connection, code: read.append(code) or real(connection, code))
    given = {"session": 1, "rater": "R1", "prompt_index": 2, "attempt": 1, "slot": 1, "voice": "other"}
    status, answer = page.told(f"/do/review/save?client={page.handle}", given)
    assert status == 200 and answer["checked"] == 1 and answer["of"] == 20 and read == [CODE]


def test_a_session_moved_meanwhile_is_seen_and_takes_no_judgement(page: Any) -> None:
    asked = {"session": 4, "rater": "R2", "blind": False}
    status, queue = page.told(f"/do/judge/queue?client={page.handle}", asked)
    assert status == 200 and len(queue["left"]) == 20
    one = {"key": "1.1.1", "heard": "correct", "client": CODE, "session": 4, "rater": "R2", "turn": 1, "blind": False}
    assert page.told("/do/judge/one", {**one, "revision": queue["revision"]})[0] == 200
    assert page.told("/do/judge/one", {**one, "key": "2.1.1", "revision": queue["revision"]})[0] == 200, (
        "one's own judgements make nothing stale"
    )
    done(page, "session", "move", CODE, "4", "--to", OTHER)
    assert "session=4" not in got(page, "/judge")[1]
    with store.open_caseload(page.folder, clock=lambda: NOON) as kept:
        store.change_session(kept, CODE, 3, {"note": "looked at"})
    status, answer = page.told("/do/judge/one", {**one, "session": 3, "key": "3.1.1", "revision": queue["revision"]})
    assert status == 409 and "session moved meanwhile" in answer["error"] and "nothing was kept" in answer["error"]
    with store.open_caseload(page.folder) as kept:
        judged = [j.rater for token in store.read_case(kept, CODE).tokens for j in token.judgements]
        assert "R2" not in judged
        assert [s.number for s in store.sessions(kept, OTHER)] == [1]
    fresh = page.told(f"/do/judge/queue?client={page.handle}", {**asked, "session": 3})[1]
    assert page.told("/do/judge/one", {**one, "session": 3, "revision": fresh["revision"]})[0] == 200


def test_an_encrypted_caseload_is_served_on(page: Any, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", "six blue horses walk")
    before = got(page, "/progress")
    done(page, "caseload", "encrypt")
    assert not (page.folder / "caseload.sqlite").exists()
    after = got(page, "/progress")
    assert after == before and before[0] == 200
    one = {"key": "1.1.1", "heard": "correct", "client": CODE, "session": 1, "rater": "R2", "turn": 1, "blind": False}
    assert page.told("/do/judge/one", one)[0] == 200
    done(page, "caseload", "decrypt")
    assert got(page, "/progress")[0] == 200
    with store.open_caseload(page.folder) as kept:
        assert not kept.encrypted
        judged = [j.rater for token in store.read_case(kept, CODE).tokens for j in token.judgements]
        assert judged.count("R2") == 1


def test_a_range_added_meanwhile_is_in_the_next_report(page: Any, tmp_path: Path) -> None:
    report = "/report?kind=monthly&form=html&range=yes"
    assert "Invented source (2020)" not in got(page, report)[1]
    given = tmp_path / "mine.csv"
    given.write_text(f"{HEAD}\n{RANGE}\n", encoding="utf-8")
    done(page, "ranges", "add", str(given))
    assert "Invented source (2020)" in got(page, report)[1]
    assert len(CaseloadHandle(page.folder).ranges()) == 1
