"""Each verb that changes a caseload, killed before every step: the caseload is as before or as after.

A step is a file operation or a statement to the database. A child is forked for each kill: some steps by default, every
one with ``-m long`` (evidence in docs/evidence/every_operation.csv). Encrypting, another key, backup and restore have
tests of their own beside this. Invented data – not a person.
"""

from __future__ import annotations

import csv
import datetime as dt
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
import sqlalchemy as sa

from sibilant import store
from sibilant.clinic import exchange, removing
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.store.schema import METADATA

EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "every_operation.csv"
CODE = "C-7QXK"
PASSPHRASE = "six blue horses walk"
CHANGING = {"os.remove", "os.rename", "os.mkdir", "os.rmdir"}
IGNORED = {"settings", "audit"}
"""What the last line of the trail and the client used last say differs with the moment, not with what is kept."""


@pytest.fixture(scope="module")
def start(tmp_path_factory: pytest.TempPathFactory, material: ModuleType) -> Path:
    """A client with two sessions of three kept words, one of them in the bin, an export and a new recording."""
    root = tmp_path_factory.mktemp("start")
    filled(root / "other", material, CODE, (3, 4))
    exchange.export_client(CaseloadHandle(root / "other"), CODE, root / "export", audio=True)
    filled(root / "case", material, CODE, (1, 2))
    removing.remove_session(CaseloadHandle(root / "case"), CODE, 2)
    return root


def filled(folder: Path, material: ModuleType, code: str, numbers: tuple[int, ...]) -> None:
    """One client with sessions of three kept words each."""
    with store.open_caseload(folder) as one:
        store.add_client(one, replace(material.client(), code=code))
        for number in numbers:
            names = [store.keep_clip(one, b"invented bytes %d %d" % (number, i), ".flac") for i in range(3)]
            clips = tuple(store.NewClip(i + 1, 1, name, ".flac", 0.0) for i, name in enumerate(names))
            sounds = material.new_sounds(material.token(i, {"centroid_hz": 6000.0 + i}) for i in range(3))
            prompts = tuple(material.prompt_of(i) for i in range(3))
            recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
            session = replace(material.session(1), client=code, on=dt.date(2026, 3, number))
            store.keep_session(one, store.NewSession(session, prompts, (recording,), sounds, clips))


def to_bin(handle: CaseloadHandle) -> None:
    removing.remove_client(handle, CODE, "all")


def out_of_bin(handle: CaseloadHandle) -> None:
    removing.restore_session(handle, CODE, 2)


def sound_to_bin(handle: CaseloadHandle) -> None:
    removing.remove_client(handle, CODE, "audio")


def erase(handle: CaseloadHandle) -> None:
    removing.remove_client(handle, CODE, "all", erase=True)


def export(handle: CaseloadHandle) -> None:
    exchange.export_client(handle, CODE, handle.folder.parent / "out", audio=True)


def export_fhir(handle: CaseloadHandle) -> None:
    exchange.export_fhir(handle, CODE, handle.folder.parent / "out")


def bring_in(handle: CaseloadHandle) -> None:
    exchange.import_folder(handle, handle.folder.parent / "export", new_code=True)


def take(handle: CaseloadHandle) -> None:
    with handle.opened() as one:
        store.write_draft(one, CODE, "take.json", b"{}")
        store.write_draft(one, CODE, "0001.wav", b"invented bytes")
        store.erase_drafts(one, CODE)


VERBS: dict[str, Callable[[CaseloadHandle], None]] = {
    "remove --all": to_bin,
    "remove --audio": sound_to_bin,
    "remove --all --erase": erase,
    "session restore": out_of_bin,
    "export --audio": export,
    "export --as fhir": export_fhir,
    "import": bring_in,
    "take": take,
}


def killed_at(step: int) -> None:
    """Have this process kill itself just before its n-th file operation in Python, or statement to the database."""
    left = step

    def one_more() -> None:
        nonlocal left
        left -= 1
        if not left:
            os.kill(os.getpid(), signal.SIGKILL)

    def before(event: str, arguments: tuple[object, ...]) -> None:
        if event in CHANGING or (event == "open" and arguments[1] != "r"):
            one_more()

    sys.addaudithook(before)
    sa.event.listen(sa.Engine, "before_cursor_execute", lambda *_: one_more())


def done_by_a_child(verb: str, handle: CaseloadHandle, step: int) -> bool:
    """Say whether a forked child did the verb to its end before it came to the n-th step."""
    child = os.fork()
    if not child:
        code = 1
        try:
            killed_at(step)
            VERBS[verb](handle)
            code = 0
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) in (0, -signal.SIGKILL), (verb, step)
    return os.waitstatus_to_exitcode(status) == 0


def state(folder: Path) -> tuple[object, ...]:
    """All rows, by table, and all sounds, checked; opening has cleared up what belongs to nobody."""
    with store.open_caseload(folder) as one:
        looked, heard = store.look_at_rows(one), store.look_at_sounds(one)
        assert looked.damaged == () and heard.found == {}, (looked, heard)
        with one.read() as connection:
            tables = [
                sorted(
                    str(
                        {
                            k: v
                            for k, v in row.items()
                            if k not in {"id", "checksum", "code", "put_at"} and "_id" not in k
                        }
                    )
                    for row in connection.execute(table.select()).mappings()
                )
                for table in METADATA.sorted_tables
                if table.name not in IGNORED
            ]
        assert not list((folder / "takes").glob("*/*")) or len(list((folder / "takes").glob("*/*"))) <= 2
    return tables, sorted(path.name for path in folder.glob("audio/??/*"))


def copies(start: Path, to: Path) -> Iterator[CaseloadHandle]:
    while True:
        shutil.rmtree(to, ignore_errors=True)
        to.mkdir()
        for name in ("case", "export"):
            shutil.copytree(start / name, to / name)
        yield CaseloadHandle(to / "case")


@pytest.mark.parametrize("every", [17, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("verb", list(VERBS))
def test_killed_before_every_step(verb: str, every: int, start: Path, tmp_path: Path) -> None:
    folders = copies(start, tmp_path / "work")
    handle = next(folders)
    before = state(handle.folder)
    assert done_by_a_child(verb, handle, 10_000)
    after = state(handle.folder)
    counts = {"before": 0, "after": 0}
    step = 1
    while not done_by_a_child(verb, handle := next(folders), step):
        found = state(handle.folder)
        assert found in (before, after), (verb, step)
        counts["after" if found == after else "before"] += 1
        assert not _half_made(tmp_path / "work"), (verb, step)
        if (tmp_path / "work" / "out").exists():
            assert any((tmp_path / "work" / "out").iterdir())
        step += every
    assert step > 1
    if every == 1:
        _write_evidence(verb, {"kills": step - 1, "as_before": counts["before"], "as_after": counts["after"]})


def _half_made(work: Path) -> list[Path]:
    """What a killed export leaves beside its place, and half-written files in the caseload."""
    return [*work.glob(".out.*"), *work.rglob("*.part"), *work.glob("case/.exporting-*")]


def _write_evidence(verb: str, counts: dict[str, int]) -> None:
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=EVIDENCE.parents[2], capture_output=True, text=True
    ).stdout.strip()
    rows = list(csv.DictReader(EVIDENCE.read_text(encoding="utf-8").splitlines())) if EVIDENCE.exists() else []
    fresh = {"verb": verb, **counts, "commit": commit}
    rows = [row for row in rows if row["verb"] != verb] + [fresh]
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(fresh), lineterminator="\n")
        writer.writeheader()
        writer.writerows(sorted(rows, key=lambda row: str(row["verb"])))
