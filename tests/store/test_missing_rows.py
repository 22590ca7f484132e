"""A row that is gone, that an index hides, or that is of another time is noticed by whoever reads its client.

Each row of a client in turn, in each index that holds it. Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import itertools
import random
import shutil
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.errors import CaseloadError
from sibilant.store.owning import HANGING
from sibilant.terms.care import Goal, PracticeMark
from sibilant.terms.clinic import Case, Device, EarlierProbe, Event, MethodChoice
from sibilant.terms.kept import Correction
from sibilant.terms.lending import Given

CODE, OTHER = "C-7QXK", "C-M4RT"
DAY = dt.date(2026, 2, 1)
PASSPHRASE = "six blue horses walk"
READ = {table.name for table in HANGING} - {"surroundings", "judging_orders"} | {"methods", "devices"}
"""The tables of which a case is read, its client's own row aside."""
PAGE = 4096


def kept_client(one: store.Caseload, material: ModuleType, code: str, place: int) -> None:
    """A client with something in every table."""
    store.add_client(one, replace(material.client(), code=code))
    for number in (1, 2):
        tokens = [material.token(i, {"centroid_hz": 6000.0 + 40 * number + i}) for i in range(2)]
        recording = store.NewRecording(f"{10 * place + number:064d}", 44100, 30.0, {"snr": 33.5}, None)
        sound = store.keep_clip(one, f"{code} {number}".encode(), ".flac")
        new = store.NewSession(
            replace(material.session(number), number=0, client=code),
            tuple(material.prompt_of(i) for i in range(2)),
            (recording,),
            material.new_sounds(tokens),
            (store.NewClip(1, 1, sound, ".flac", 0.1),),
            (material.surroundings(1),),
        )
        with store.at_work(one):
            store.keep_session(one, new)
        store.add_judgements(one, code, number, [material.judgement(f"{i}.1.1", "correct") for i in (1, 2)])
    store.add_corrections(one, code, 1, [Correction("1.1.1", "R1", material.NOON, counts=True)])
    store.keep_order(one, code, 1, "R1", 1, ["1.1.1", "2.1.1"])
    store.add_event(one, code, Event(DAY, "an invented cold"))
    store.add_earlier(one, code, (EarlierProbe(DAY, "paper form", n_correct=3, n_scored=20),))
    store.add_goal(one, code, Goal(0, "says it in words", "word", "", 0.8, 20, 2, DAY))
    store.add_visit(one, code, DAY, "attended", 45)
    store.add_run(one, code, DAY, "word", (PracticeMark("seal", "correct"),))
    choice = MethodChoice(DAY, "house-10k", "house-15k")
    store.change_client(one, code, {"method": "house-10k"}, choice=choice)
    store.keep_given(one, code, {("centroid_hz", 2): Given(None, None, 0, DAY)})


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, material: ModuleType) -> Path:
    """A caseload of two clients, told apart by nothing but their codes."""
    folder = tmp_path_factory.mktemp("missing") / "kept"
    with store.open_caseload(folder) as one:
        store.add_device(one, Device("desk", added_on=DAY))
        for place, code in enumerate((CODE, OTHER)):
            kept_client(one, material, code, place)
    return folder


@pytest.fixture
def caseload(kept: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(kept, tmp_path / "caseload"))


def read(folder: Path, code: str = CODE) -> Case:
    with store.open_caseload(folder) as one:
        return store.read_case(one, code)


def holds(database: Path) -> Iterator[tuple[str, str, int]]:
    """Table, index and row for each index that holds rows, and each row."""
    with closing(sqlite3.connect(database)) as connection:
        tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for table in tables:
            rows = [number for (number,) in connection.execute(f'SELECT rowid FROM "{table}"')]
            for _, index, _, _, partial in connection.execute(f'PRAGMA index_list("{table}")').fetchall():
                yield from ((table, index, row) for row in rows if not partial)


def hide(database: Path, table: str, index: str, row: int) -> None:
    """Put in the place of an index one that lacks a row, as a page that lost an entry would."""
    with closing(sqlite3.connect(database)) as connection:
        columns = ", ".join(f'"{name}"' for _, _, name in connection.execute(f'PRAGMA index_info("{index}")'))
        key = next(name for name in ("id", "label", "key", "version_num") if name in columns_of(connection, table))
        (value,) = connection.execute(f'SELECT "{key}" FROM "{table}" WHERE rowid = ?', (row,)).fetchone()
        connection.execute(f'CREATE INDEX lacking ON "{table}" ({columns}) WHERE "{key}" <> \'{value}\'')
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute(
            "UPDATE sqlite_master SET rootpage = (SELECT rootpage FROM sqlite_master WHERE name = 'lacking')"
            " WHERE name = ?",
            (index,),
        )
        connection.execute("DELETE FROM sqlite_master WHERE name = 'lacking'")
        connection.commit()


def columns_of(connection: sqlite3.Connection, table: str) -> set[str]:
    return {column[1] for column in connection.execute(f'PRAGMA table_info("{table}")')}


def test_an_index_that_hides_a_row_is_told_by_whoever_reads_the_client(caseload: Path, tmp_path: Path) -> None:
    """The case is as it was or the reader is told; each table's own index by the client hides a row of theirs."""
    want = read(caseload)
    assert not want.set_aside
    told: Counter[str] = Counter()
    for n, (table, index, row) in enumerate(holds(caseload / "caseload.sqlite")):
        one = Path(shutil.copytree(caseload, tmp_path / f"{n}"))
        hide(one / "caseload.sqlite", table, index, row)
        try:
            case = read(one)
        except CaseloadError as refused:
            assert "\n" not in str(refused)
            told[table] += 1
            continue
        finally:
            shutil.rmtree(one)
        if case.set_aside:
            told[table] += 1
        else:
            assert case == want, (table, index, row)
    assert told.keys() >= READ, READ - told.keys()


def test_a_row_that_is_gone_is_told_by_whoever_reads_the_client(caseload: Path, tmp_path: Path) -> None:
    """Taken out whole, from its table and every index, so that the database's own check finds nothing odd."""
    for n, table in enumerate(table.name for table in HANGING):
        one = Path(shutil.copytree(caseload, tmp_path / f"{n}"))
        with closing(sqlite3.connect(one / "caseload.sqlite")) as connection:
            (first,) = connection.execute(f'SELECT min(id) FROM "{table}"').fetchone()
            connection.execute(f'DELETE FROM "{table}" WHERE id = ?', (first,))
            connection.commit()
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert read(one).set_aside and not read(one, OTHER).set_aside, table
        with store.open_caseload(one) as opened:
            assert any(name.startswith(CODE) for name in store.look_at_rows(opened).damaged), table


VERBS = (
    f"progress {CODE}", f"session list {CODE}", f"session show {CODE} 1", f"client show {CODE}", f"agree {CODE}",
    f"report {CODE} --kind monthly --to NEW/r.pdf", f"goal list {CODE}", f"judge {CODE} 1 --rater R1 --from JUDGED",
)  # fmt: skip


@pytest.mark.parametrize("verb", VERBS)
def test_each_verb_that_reads_a_client_says_so(
    verb: str, caseload: Path, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Through the log, whose usual place is standard error."""
    judged = tmp_path / "judged.csv"
    judged.write_text("prompt_index,attempt,slot,accuracy\n1,1,1,correct\n", encoding="utf-8")
    hide(caseload / "caseload.sqlite", "judgements", "ix_judgements_token_id", 1)
    words = verb.replace("NEW", str(tmp_path)).replace("JUDGED", str(judged)).split()
    assert run([*words, "--caseload", str(caseload)]) == 0
    assert "rows that are missing, or of another time" in caplog.text


def test_a_change_does_not_make_a_missing_row_forgotten(caseload: Path) -> None:
    hide(caseload / "caseload.sqlite", "judgements", "ix_judgements_token_id", 1)
    with store.open_caseload(caseload) as one:
        store.add_event(one, CODE, Event(DAY, "another invented cold"))
        store.move_session(one, OTHER, 2, CODE)
        assert store.read_case(one, CODE).set_aside and not store.read_case(one, OTHER).set_aside


def test_a_client_is_not_shown_under_anothers_code(caseload: Path) -> None:
    """The index of codes leads to another's row, as a flipped bit in it would."""
    with closing(sqlite3.connect(caseload / "caseload.sqlite")) as connection:
        connection.execute(f"CREATE INDEX other ON clients (CASE code WHEN '{CODE}' THEN '{OTHER}' ELSE '{CODE}' END)")
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute(
            "UPDATE sqlite_master SET rootpage = (SELECT rootpage FROM sqlite_master WHERE name = 'other')"
            " WHERE type = 'index' AND tbl_name = 'clients' AND sql IS NULL"
        )
        connection.execute("DELETE FROM sqlite_master WHERE name = 'other'")
        connection.commit()
    with store.open_caseload(caseload) as one:
        for look in (store.read_case, store.get_client):
            with pytest.raises(CaseloadError, match="row is damaged"):
                look(one, CODE)


def test_older_pages_of_a_clients_rows_are_noticed_when_the_client_is_read(
    caseload: Path, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None, material: ModuleType
) -> None:
    """Any of the pages that a judgement changed, put back: refused, or the older copy as a whole."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    with store.open_caseload(caseload) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    database = caseload / "caseload.sealed"
    older, old = read(caseload), database.read_bytes()
    with store.open_caseload(caseload) as one:
        store.add_judgements(one, CODE, 1, [material.judgement("1.1.1", "omitted")])
    newer, new = read(caseload), database.read_bytes()
    assert newer != older
    pages = range(min(len(old), len(new)) // PAGE)
    changed = [n for n in pages if old[n * PAGE : (n + 1) * PAGE] != new[n * PAGE : (n + 1) * PAGE]]
    sets = [some for many in range(1, len(changed)) for some in itertools.combinations(changed, many)]
    found: Counter[str] = Counter()
    for some in random.Random(7).sample(sets, min(len(sets), 150)):
        mixed = bytearray(new)
        for n in some:
            mixed[n * PAGE : (n + 1) * PAGE] = old[n * PAGE : (n + 1) * PAGE]
        database.write_bytes(bytes(mixed))
        try:
            case = read(caseload)
        except CaseloadError:
            found["refused"] += 1
            continue
        assert case in (older, newer), some
        found["whole"] += 1
    assert found["refused"] > 0.8 * found.total(), found
