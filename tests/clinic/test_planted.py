"""Signs planted in every field, the client erased, every byte searched: what is found is what the receipt names.

The folder plain and encrypted, and all files of a PostgreSQL server where SIBILANT_TEST_POSTGRES names one; the
browser's profile is searched in tests/web/test_doors.py. Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import importlib.util
import os
from pathlib import Path
from types import ModuleType

import pytest
import sqlalchemy as sa

from sibilant import store
from sibilant.clinic import exchange, removing
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.store import removal
from sibilant.store.schema import METADATA
from sibilant.terms.clinic import Device

POSTGRES = os.environ.get("SIBILANT_TEST_POSTGRES", "")
PASSPHRASE = "six blue horses walk"
CODE, WHO = "C-7QXK", "zqwho"
INSIDE = {("clients", "move_up"): "the clinic''s own rule", ("clients", "retention"): "eight years",
          ("clients", "consent"): "parent"}  # fmt: skip
"""Texts that stand inside a column of JSON."""
LEFT_OUT = {("clients", "held"), ("devices", "response")}
"""A hold keeps the client from being removed; a response is numbers."""
FIELDS = [(table, column) for table, columns in exchange.FREE_TEXT.items() for column in columns]
PLANTED = [field for field in FIELDS if field not in LEFT_OUT]
THE_CLINICS_OWN = {"zq-devices-name", "zq-devices-kind", "zq-devices-place", WHO}


def sign(table: str, column: str) -> str:
    return f"zq-{table}-{column}".replace("_", "-")


SIGNS = {*(sign(*field) for field in PLANTED), CODE, WHO, "zq-sound", "zq-take", "zq-audit", "zq-draft"}


def filled(folder: Path, material: ModuleType) -> None:
    """Something in every table, a sign in every field, a take under way, sound, and a session in the bin."""
    spec = importlib.util.spec_from_file_location("of_exchange", Path(__file__).parent / "test_exchange.py")
    assert spec is not None and spec.loader is not None
    exchanged = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(exchanged)
    exchanged.fill(folder, material)
    for path in folder.glob("audio/??/*"):
        if path.read_bytes() in (b"sound 1", b"sound 2"):
            path.unlink()  # others, with a sign, take their place
    with store.open_caseload(folder, who=WHO) as one:
        for number in (1, 2):
            sound = store.keep_clip(one, b"zq-sound %d" % number, ".flac")
            with one.change("planted", CODE, "zq-audit") as connection:
                clips = METADATA.tables["clips"]
                own = clips.c.session_id == number
                connection.execute(clips.update().where(own).values(sha256=sound, checksum=None))
        with one.change("planted", CODE, "zq-audit") as connection:
            for table, column in PLANTED:
                planted = METADATA.tables[table]
                value: object = sign(table, column)
                if (table, column) in INSIDE:
                    value = sa.func.replace(planted.c[column], INSIDE[table, column].replace("''", "'"), value)
                connection.execute(planted.update().values({column: value, "checksum": None}))
        assert store.look_at_rows(one).damaged == ()
        store.add_device(one, Device("another", "", ""))  # a line of the trail that is not the client's
        store.put_session(one, CODE, 3, dt.date(2027, 1, 1))
        store.write_draft(one, CODE, "take.json", b"zq-take")
        store.remember(one, {store.draft_key(CODE, "monthly"): "zq-draft"})


def in_rows(folder: Path) -> set[str]:
    """The signs in what the database gives back."""
    with store.open_caseload(folder) as one, one.read() as connection:
        text = repr([[tuple(row) for row in connection.execute(sa.select(t))] for t in METADATA.sorted_tables])
    return {one for one in SIGNS if one in text}


def in_files(folder: Path) -> dict[str, set[str]]:
    """By sign the first parts of the paths of the files whose bytes or names hold it."""
    found: dict[str, set[str]] = {}
    for path in folder.rglob("*"):
        below = path.relative_to(folder)
        content = str(below).encode() + (path.read_bytes() if path.is_file() else b"")
        for one in SIGNS:
            if one.encode() in content:
                found.setdefault(one, set()).add(below.parts[0])
    return found


@pytest.fixture(autouse=True)
def _passphrase(monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)


@pytest.mark.parametrize("form", ["plain", "encrypted"])
def test_what_is_found_is_what_the_receipt_names(form: str, tmp_path: Path, material: ModuleType) -> None:
    folder = tmp_path / "case"
    filled(folder, material)
    assert SIGNS - in_files(folder).keys() == set(), "each is found where it stands"
    if form == "encrypted":
        with store.open_caseload(folder) as one:
            store.erase_drafts(one, CODE)
            store.encrypt(one, PASSPHRASE, tell=lambda code: None)
        with store.open_caseload(folder) as one:
            store.write_draft(one, CODE, "take.json", b"zq-take")
    receipt = removing.remove_client(CaseloadHandle(folder), CODE, "all", erase=True)
    assert removal.THE_CLINICS_OWN in receipt.not_reached
    assert in_rows(folder) == THE_CLINICS_OWN
    assert in_files(folder).keys() == (THE_CLINICS_OWN if form == "plain" else set())
    assert not list(folder.glob("audio/??/*")) and not list(folder.glob("takes/*"))


def test_and_of_a_postgresql_server(tmp_path: Path, material: ModuleType) -> None:
    if not POSTGRES:
        pytest.skip("SIBILANT_TEST_POSTGRES names no database; .ci/run starts one on loopback")
    engine = sa.create_engine(sa.make_url(POSTGRES).set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql("DROP SCHEMA public CASCADE")
        connection.exec_driver_sql("CREATE SCHEMA public")
        data = Path(connection.exec_driver_sql("SHOW data_directory").scalar() or "")
        if not os.access(data, os.R_OK | os.X_OK):
            pytest.skip("the server's data folder can't be read by this user")
        folder = tmp_path / "case"
        folder.mkdir()
        kept = sa.make_url(POSTGRES)._replace(password=None).render_as_string(hide_password=False)
        (folder / "caseload.toml").write_text(f'url = "{kept}"\n', encoding="utf-8")
        filled(folder, material)
        connection.exec_driver_sql("ANALYZE")
        connection.exec_driver_sql("CHECKPOINT")
        in_records = SIGNS - {"zq-sound", "zq-take"}
        assert in_records - {one for one, where in in_files(data).items() if "base" in where} == set()
        receipt = removing.remove_client(CaseloadHandle(folder), CODE, "all", erase=True)
    engine.dispose()
    found = in_files(data)
    assert {one for one, where in found.items() if "base" in where} == THE_CLINICS_OWN
    assert {where for places in found.values() for where in places} <= {"base", "pg_wal"}
    assert {removal.POSTGRES_LOG, removal.THE_CLINICS_OWN} <= set(receipt.not_reached)
    assert in_files(folder) == {}
