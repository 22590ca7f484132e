"""The bin: out of every read, back again as it was, erased in its time; what never goes there. Invented data."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import shutil
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import clients, removing
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, RefusedError
from sibilant.store.binned import CARRIED
from sibilant.store.schema import CLIENTS, LENDERS, METADATA, TALLIES
from sibilant.terms.clinic import Consent, Event
from sibilant.terms.kept import Judgement

CODE, OTHER = "C-7QXK", "C-M4RT"
NOW = dt.datetime(2026, 11, 2, 9, 0, tzinfo=dt.UTC)
READS = (
    ["client", "list", "--json"],
    ["client", "show", OTHER, "--json"],
    ["client", "show", CODE, "--json"],
    ["session", "list", CODE, "--json"],
    ["session", "list", OTHER, "--json"],
    ["session", "show", CODE, "1", "--json"],
    ["session", "show", CODE, "2", "--json"],
    ["event", CODE, "--list", "--json"],
    ["device", "list", "--json"],
    ["progress", CODE, "--json"],
    ["progress", OTHER, "--json"],
    ["agree", CODE, "--json"],
    ["agree", OTHER, "--json"],
    ["plan", "--measure", "centroid_hz", "--change", "500", "--client", CODE, "--json"],
    ["judge", CODE, "--from", "none.csv", "--json"],
    ["caseload", "check", "--json"],
    ["caseload", "status", "--json"],
)
WRITES = (
    ["report", CODE, "--kind", "monthly", "--to", "OUT.html"],
    ["export", CODE, "--to", "OUT", "--audio", "--json"],
    ["practice", CODE, "--level", "word", "--to", "OUT.html"],
)
"""Every verb that reads a caseload, the comparisons among them; a verb that is missing here fails the last test."""


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> dt.datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


def sound(number: int) -> bytes:
    """What stands for a kept word."""
    return b"invented bytes, no sound %d" % number


def keep(one: store.Caseload, material: ModuleType, code: str, number: int, held_on: dt.date) -> None:
    """A session of four words, each kept and judged."""
    names = [store.keep_clip(one, sound(100 * number + i), ".flac") for i in range(4)]
    clips = tuple(store.NewClip(i + 1, 1, name, ".flac", 0.0) for i, name in enumerate(names))
    prompts = tuple(material.prompt_of(i) for i in range(4))
    tokens = material.new_sounds(material.token(i, {"centroid_hz": 6000.0 + 10 * i + number}) for i in range(4))
    recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
    session = replace(material.session(1), client=code, on=held_on, note=f"planted {code}")
    kept = store.keep_session(one, store.NewSession(session, prompts, (recording,), tokens, clips))
    case = store.read_case(one, code, session=kept.number)
    marks = [
        Judgement(token.key, "correct", "R1", NOW + dt.timedelta(seconds=i)) for i, token in enumerate(case.tokens)
    ]
    store.add_judgements(one, code, kept.number, marks)


@pytest.fixture
def handle(tmp_path: Path, material: ModuleType, clock: Clock) -> CaseloadHandle:
    """Two clients with two sessions each, and an event."""
    consent = Consent(dt.date(2026, 1, 12), "parent (invented)")
    with store.open_caseload(tmp_path / "case", clock=clock) as one:
        for place, code in enumerate((CODE, OTHER)):
            store.add_client(one, replace(material.client(consent=consent), code=code))
            for number in (1, 2):
                keep(one, material, code, 10 * place + number, dt.date(2026, 9, 7 * number))
        store.add_event(one, CODE, Event(dt.date(2026, 9, 1), "planted event"))
    return CaseloadHandle(tmp_path / "case", clock=clock)


def held(handle: CaseloadHandle, code: str = CODE) -> store.Rows:
    with handle.opened() as one:
        return store.dump_client(one, code)


def trail(handle: CaseloadHandle) -> list[tuple[str, str, str]]:
    with handle.opened() as one:
        return sorted((entry.action, entry.subject, entry.detail) for entry in store.audit_trail(one))


def sounds_there(folder: Path) -> int:
    return len(list(folder.glob("audio/??/*")))


def remove(handle: CaseloadHandle, what: str, *, erase: bool = False) -> object:
    if what == "session":
        return removing.remove_session(handle, CODE, 2, erase=erase)
    return removing.remove_client(handle, CODE, what, erase=erase)  # type: ignore[arg-type]


@pytest.mark.parametrize("what", ["session", "audio", "all"])
def test_there_and_back_as_it_was(handle: CaseloadHandle, what: str) -> None:
    before, lines = held(handle), trail(handle)
    receipt = remove(handle, what)
    assert receipt.erased == () and receipt.in_bin and receipt.until == dt.date(2026, 12, 2)  # type: ignore[attr-defined]
    assert sounds_there(handle.folder) == 16  # the sound stays in its files
    assert [row["what"] for row in removing.list_bin(handle)] == [what]
    done = removing.restore_session(handle, CODE, 2) if what == "session" else removing.restore_client(handle, CODE)
    assert done["client"] == CODE and removing.list_bin(handle) == []
    assert held(handle) == before
    assert set(lines) <= set(trail(handle))  # and what the trail said of it
    assert sounds_there(handle.folder) == 16
    with handle.opened() as one:
        assert store.look_at_rows(one).damaged == () and store.look_at_sounds(one).found == {}


def told(folder: Path, arguments: list[str], capsys: pytest.CaptureFixture[str], out: Path) -> tuple[object, ...]:
    """All that a command says and writes."""
    shutil.rmtree(out.parent, ignore_errors=True)
    out.parent.mkdir()
    named = [str(out) + one.removeprefix("OUT") if one.startswith("OUT") else one for one in arguments]
    code = run([*named, "--caseload", str(folder)])
    captured = capsys.readouterr()
    files = {
        str(path.relative_to(out.parent)): path.read_bytes() for path in sorted(out.parent.rglob("*")) if path.is_file()
    }
    return code, without_moments(captured.out), without_moments(captured.err), files


def without_moments(text: str) -> str:
    """Text without the audit trail's lines on the removal itself, which say how it was removed."""
    try:
        found = json.loads(text)
    except ValueError:
        return text
    if isinstance(found, dict):
        found["audit"] = [one for one in found.get("audit", []) if one["did"] not in REMOVALS]
        for counted in ("rows", "sounds", "sounds_encrypted"):
            found.pop(counted, None)
    return json.dumps(found)


REMOVALS = {"put into the bin", "session removed", "audio removed", "client exported"}


@pytest.mark.parametrize("what", ["session", "audio", "all"])
def test_what_lies_in_the_bin_is_met_by_no_read_export_or_comparison(
    handle: CaseloadHandle, what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every reading verb says of a caseload with something in the bin what it says of one where that was erased."""
    erased = shutil.copytree(handle.folder, tmp_path / "erased" / "case")
    remove(handle, what)
    remove(replace(handle, folder=Path(erased)), what, erase=True)
    out = tmp_path / "written" / "OUT"
    for arguments in (*READS, *WRITES):
        told_here = told(handle.folder, list(arguments), capsys, out)
        told_there = told(Path(erased), list(arguments), capsys, out)
        assert told_here == told_there, arguments
        if what == "all" and OTHER not in arguments:
            assert "planted event" not in str(told_here) and f"planted {CODE}" not in str(told_here)


def test_no_reading_verb_is_left_out() -> None:
    from sibilant_cli.main import COMMANDS

    tried = {arguments[0] for arguments in (*READS, *WRITES)}
    without_a_caseload = {"demo", "check", "measure", "corpus", "study", "expect", "lists", "ranges"}
    only_bring_in = {"probe", "import", "review"}  # what they read first is tried below, by the same recording
    elsewhere = {"page"}  # calls the same verbs; its place is tried in tests/web
    assert set(COMMANDS) - tried - without_a_caseload - only_bring_in - elsewhere <= {"goal", "visit"}


def test_the_same_recording_brought_again_offers_to_restore(handle: CaseloadHandle) -> None:
    removing.remove_session(handle, CODE, 2)
    with handle.opened() as one, pytest.raises(RefusedError, match=f"sibilant session restore {CODE} 2"):
        store.refuse_kept(one, [f"{2:064d}"])
    removing.restore_session(handle, CODE, 2)
    removing.remove_client(handle, CODE, "all")
    with handle.opened() as one, pytest.raises(RefusedError, match=f"sibilant client restore {CODE}"):
        store.refuse_kept(one, [f"{1:064d}"])


def test_a_number_that_is_taken_and_a_recording_kept_again(handle: CaseloadHandle, material: ModuleType) -> None:
    removing.remove_session(handle, CODE, 2)
    with handle.opened() as one:
        keep(one, material, CODE, 55, dt.date(2026, 10, 5))  # becomes session 2
    assert removing.restore_session(handle, CODE, 2)["session"] == 3
    removing.remove_client(handle, CODE, "all")
    with pytest.raises(RefusedError, match="lies in the bin"):
        clients.add_client(handle, "7y4m", code=CODE)


def test_its_time_is_over(handle: CaseloadHandle, clock: Clock, caplog: pytest.LogCaptureFixture) -> None:
    (handle.folder / "caseload.toml").write_text("bin_days = 10\n", encoding="utf-8")
    removing.remove_session(handle, CODE, 2)
    removing.remove_client(handle, OTHER, "all")
    clock.now = NOW + dt.timedelta(days=9)
    assert len(removing.list_bin(handle)) == 2 and not caplog.records
    clock.now = NOW + dt.timedelta(days=10)
    assert removing.list_bin(handle) == []  # any opening looks
    said = " ".join(record.getMessage() for record in caplog.records)
    assert "erased: " in said and f"session 2 of {CODE}" in said and "backups and copies" in said
    content = b"".join(path.read_bytes() for path in handle.folder.rglob("*") if path.is_file())
    assert OTHER.encode() not in content and hashlib.sha256(sound(11)).hexdigest().encode() not in content
    assert sounds_there(handle.folder) == 4
    with pytest.raises(CaseloadError, match="not in the bin"):
        removing.restore_session(handle, CODE, 2)


def test_a_hold_keeps_what_lies_there_and_lets_nothing_in(handle: CaseloadHandle, clock: Clock) -> None:
    removing.remove_session(handle, CODE, 2)
    clients.hold_client(handle, CODE, "records asked for")
    clock.now = NOW + dt.timedelta(days=400)
    assert len(removing.list_bin(handle)) == 1
    for what in ("session", "audio", "all"):
        for erase in (False, True):
            with pytest.raises(RefusedError, match="on hold"):
                removing.remove_session(handle, CODE, 1, erase=erase) if what == "session" else remove(
                    handle, what, erase=erase
                )
    clients.hold_client(handle, CODE, "")
    assert removing.list_bin(handle) == []


@pytest.mark.parametrize("what", ["session", "audio", "all"])
def test_withdrawn_consent_and_a_request_for_erasure_never_come_by_the_bin(
    handle: CaseloadHandle, what: str, caplog: pytest.LogCaptureFixture
) -> None:
    removing.remove_session(handle, CODE, 1)
    clients.change_client(handle, CODE, {"consent": {"withdrawn_on": dt.date(2026, 11, 1)}})
    assert removing.list_bin(handle) == [] and "session 1" in caplog.text  # what lay there went with its receipt
    receipt = remove(handle, what)
    assert receipt.erased and not receipt.in_bin and removing.list_bin(handle) == []  # type: ignore[attr-defined]
    removing.remove_client(handle, OTHER, "all")
    gone = removing.remove_client(handle, OTHER, "all", erase=True)  # asked for when it lies in the bin already
    assert "from the bin" in gone.erased[0] and removing.list_bin(handle) == []
    content = b"".join(path.read_bytes() for path in handle.folder.rglob("*") if path.is_file())
    assert OTHER.encode() not in content


def test_a_backup_holds_the_bin_and_a_killed_removal_leaves_it_whole(handle: CaseloadHandle, tmp_path: Path) -> None:
    before = held(handle)
    removing.remove_client(handle, CODE, "all")
    with handle.opened() as one:
        store.write_backup(one, tmp_path / "one.backup")
    store.restore_backup(tmp_path / "one.backup", tmp_path / "back", ask=lambda: "")
    back = replace(handle, folder=tmp_path / "back")
    removing.restore_client(back, CODE)
    assert held(back) == before


def test_on_the_command_line(handle: CaseloadHandle, capsys: pytest.CaptureFixture[str]) -> None:
    at = ["--caseload", str(handle.folder)]
    assert run(["session", "remove", CODE, "2", *at]) == 0
    assert "set aside in the bin until " in capsys.readouterr().out
    assert run(["client", "bin", *at]) == 0 and "session" in capsys.readouterr().out
    assert run(["session", "restore", CODE, "2", "--json", *at]) == 0
    assert json.loads(capsys.readouterr().out)["session"] == 2
    assert run(["client", "remove", CODE, "--all", "--erase", "--json", *at]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["erased"] and found["in_bin"] == [] and found["until"] is None
    assert run(["client", "restore", CODE, *at]) == 3 and "not in the bin" in capsys.readouterr().err


def test_every_table_that_hangs_on_a_client_goes_along() -> None:
    """A table that a later format adds is carried into the bin, or made anew: what a client lends, its digest."""
    hang = {CLIENTS}
    for table in METADATA.sorted_tables:
        if any(key.column.table in hang for key in table.foreign_keys):
            hang.add(table)
    assert hang == {*CARRIED, LENDERS, TALLIES}
