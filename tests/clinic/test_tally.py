"""An encrypted caseload can't be mixed from two times: pages, sounds and words of takes put in without a key.

Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import itertools
import shutil
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import clients
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError
from sibilant.store.schema import METADATA
from sibilant.terms.clinic import Consent, Event

PASSPHRASE = "six blue horses walk"
CODE = "C-7QXK"
PAGE = 4096


@pytest.fixture
def sealed(tmp_path: Path, material: ModuleType, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None) -> Path:
    """An encrypted caseload with one client who agreed, and an event."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    consent = Consent(dt.date(2026, 1, 12), "parent (invented)")
    with store.open_caseload(tmp_path / "case") as one:
        store.add_client(one, material.client(consent=consent))
        store.add_event(one, CODE, Event(dt.date(2026, 2, 1), "an invented cold"))
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    return tmp_path / "case"


def withdrawn(folder: Path) -> bool:
    with store.open_caseload(folder) as one:
        consent = store.get_client(one, CODE).consent
        return consent is not None and consent.withdrawn_on is not None


def rows(folder: Path) -> list[list[tuple[object, ...]]]:
    """Every row of every table."""
    with store.open_caseload(folder) as one, one.read() as connection:
        return [
            [tuple(row) for row in connection.exec_driver_sql(f"SELECT * FROM {table.name} ORDER BY 1")]
            for table in METADATA.sorted_tables
        ]


def test_a_withdrawn_consent_is_not_undone_by_putting_older_pages_back(sealed: Path) -> None:
    """Every set of pages that the withdrawal changed; on the code before, two of them undid it without a word."""
    database = sealed / "caseload.sealed"
    old = database.read_bytes()
    older = rows(sealed)
    clients.change_client(CaseloadHandle(sealed), CODE, {"consent": {"withdrawn_on": dt.date(2026, 11, 1)}})
    new = database.read_bytes()
    assert not (sealed / "caseload.sealed-wal").exists() and withdrawn(sealed)
    new = database.read_bytes()
    pages = range(min(len(old), len(new)) // PAGE)
    changed = [n for n in pages if old[n * PAGE : (n + 1) * PAGE] != new[n * PAGE : (n + 1) * PAGE]]
    assert len(changed) >= 3
    noticed = shown = 0
    for many in range(1, len(changed)):
        for some in itertools.combinations(changed, many):
            mixed = bytearray(new)
            for n in some:
                mixed[n * PAGE : (n + 1) * PAGE] = old[n * PAGE : (n + 1) * PAGE]
            database.write_bytes(bytes(mixed))
            try:
                shows = withdrawn(sealed)
            except CaseloadError:
                noticed += 1
                continue
            shown += shows
            if not shows:  # then every row is the older copy's: what is newer are pages that hold nothing
                assert rows(sealed) == older, some
    assert noticed > 0.9 * (2 ** len(changed) - 2) and shown
    database.write_bytes(new)
    assert withdrawn(sealed)


def test_the_line_and_the_way_out(
    sealed: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    with store.open_caseload(sealed) as one:
        store.rekey(one, PASSPHRASE, tell=told.append)
    with store.open_caseload(sealed) as one:
        with one.engine.execution_options(writing=True).begin() as connection:  # a row changed, and not its tally
            connection.exec_driver_sql("UPDATE clients SET checksum = '0000000000000000'")
    assert run(["client", "list", "--caseload", str(sealed)]) == 3
    captured = capsys.readouterr()
    assert "parts are of different times" in captured.err and captured.err.count("\n") == 1
    monkeypatch.setenv("SIBILANT_RECOVERY_CODE", told[0])
    monkeypatch.setenv("SIBILANT_NEW_PASSPHRASE", PASSPHRASE)
    assert run(["caseload", "passphrase", "--recover", "--caseload", str(sealed)]) == 0
    with store.open_caseload(sealed) as one:
        assert store.codes(one) == (CODE,)


def test_a_flipped_bit_in_any_page_is_called_damage(sealed: Path) -> None:
    database = sealed / "caseload.sealed"
    whole = database.read_bytes()
    said = []
    for n in range(len(whole) // PAGE):
        bad = bytearray(whole)
        bad[n * PAGE + 100] ^= 1
        database.write_bytes(bytes(bad))
        try:
            rows(sealed)
        except CaseloadError as refused:
            said.append(str(refused))
    assert len(said) > 3 and not [line for line in said if "damaged" not in line], set(said)


def test_settings_of_another_time_are_noticed(sealed: Path) -> None:
    with store.open_caseload(sealed) as one:
        store.remember(one, {"last_client": CODE})
    with store.open_caseload(sealed) as one:
        with one.engine.execution_options(writing=True).begin() as connection:
            connection.exec_driver_sql("UPDATE settings SET value = 'C-M4RT' WHERE key = 'last_client'")
    with pytest.raises(CaseloadError, match="parts are of different times"):
        store.open_caseload(sealed)


def test_every_way_to_write_brings_the_tally_up(sealed: Path, tmp_path: Path) -> None:
    """After each the caseload opens again, and so do a decrypted one, one encrypted again, and backups of both."""
    handle = CaseloadHandle(sealed)
    clients.hold_client(handle, CODE, "records asked for")
    clients.hold_client(handle, CODE, "")
    clients.add_event(handle, CODE, "another invented cold", dt.date(2026, 3, 1))
    clients.remove_event(handle, CODE, 1)
    with store.open_caseload(sealed) as one:
        store.remember(one, {"last_client": CODE})
        store.write_backup(one, tmp_path / "sealed.backup")
        store.decrypt(one)
    with store.open_caseload(sealed) as one:
        store.add_event(one, CODE, Event(dt.date(2026, 4, 1), "while plain"))
        store.write_backup(one, tmp_path / "own.backup", passphrase=PASSPHRASE)
        assert one.setting("tally") == ""
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    for name, n_events in (("sealed", 1), ("own", 2)):
        store.restore_backup(tmp_path / f"{name}.backup", tmp_path / name, ask=lambda: PASSPHRASE)
        with store.open_caseload(tmp_path / name) as one:
            assert len(store.events_of(one, CODE)) == n_events
    with store.open_caseload(sealed) as one:
        assert one.setting("tally")


def pieces(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("takes/*/*")}


def test_a_word_of_a_take_thrown_away_does_not_open_in_another(sealed: Path) -> None:
    """The same names, the same key; on the code before, it was taken as this take's own."""
    with store.open_caseload(sealed) as one:
        store.write_draft(one, CODE, "take.json", b"first state")
        store.write_draft(one, CODE, "0001.wav", b"first word")
        first = pieces(sealed)
        store.erase_drafts(one, CODE)
        store.write_draft(one, CODE, "take.json", b"second state")
        store.write_draft(one, CODE, "0001.wav", b"second word")
        second = pieces(sealed)
        assert set(first) == set(second)
        where = next(iter(sealed.glob("takes/*")))
        for name, content in first.items():  # one piece, and then all of them: the whole take thrown away
            (where / name).write_bytes(content)
        for piece in ("take.json", "0001.wav"):
            with pytest.raises(CaseloadError, match="bytes have changed"):
                store.read_draft(one, CODE, piece)
        for name, content in second.items():
            (where / name).write_bytes(content)
        assert store.read_draft(one, CODE, "0001.wav") == b"second word"


def test_what_can_not_be_noticed_an_older_copy_as_a_whole(sealed: Path, tmp_path: Path) -> None:
    """Said in the documentation; here so that the sentence stays true."""
    kept = shutil.copytree(sealed, tmp_path / "kept")
    clients.change_client(CaseloadHandle(sealed), CODE, {"consent": {"withdrawn_on": dt.date(2026, 11, 1)}})
    shutil.rmtree(sealed)
    shutil.copytree(kept, sealed)
    assert not withdrawn(sealed)
