"""Backups: taken while others work and compared row by row, killed at every file operation, damaged, sealed, read-only.

Invented data – not a person.
"""

from __future__ import annotations

import csv
import datetime as dt
import importlib.util
import json
import os
import random
import shutil
import subprocess
import sys
import zipfile
from collections import Counter
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import backups, reminders, wholeness
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, OutputError, RefusedError, SibilantError

HERE = Path(__file__).parent
EVIDENCE = HERE.parents[1] / "docs" / "evidence"
PASSPHRASE = "six blue horses walk"
N_SHARE, N_ALL = 10, 100


def module(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    assert spec is not None and spec.loader is not None
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


WORK = module("backup_worker")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, material: ModuleType) -> Path:
    """A plain caseload of one client with three sessions, each with five sounds."""
    folder = tmp_path_factory.mktemp("backups") / "case"
    WORK.M = material
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client(reason="plantednote"))
        for number in (1, 2, 3):
            WORK.session(one, number)
    return folder


@pytest.fixture
def folder(kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None) -> Path:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    return Path(shutil.copytree(kept, tmp_path / "case"))


@pytest.fixture
def sealed(folder: Path) -> Path:
    with store.open_caseload(folder) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    return folder


def state(folder: Path) -> str:
    """All rows, and every sound by its hash; the caseload is whole."""
    with store.open_caseload(folder, create=False) as one:
        assert store.look_at_rows(one).damaged == () and not store.look_at_sounds(one).found
        return str(WORK.state_of(one))


def back_up(folder: Path, to: Path, **how: str) -> store.BackedUp:
    with store.open_caseload(folder, create=False) as one:
        return store.write_backup(one, to, **how)


def restored(backup: Path, to: Path, **how: bool) -> store.Restored:
    return store.restore_backup(backup, to, ask=lambda: PASSPHRASE, **how)


def beside(folder: Path) -> set[str]:
    return {path.name for path in folder.parent.iterdir()}


@pytest.mark.parametrize("form", ["plain", "sealed"])
def test_there_and_back_row_by_row(form: str, folder: Path, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    if form == "sealed":
        request.getfixturevalue("sealed")
    was = state(folder)
    done = back_up(folder, tmp_path / "one.backup")
    assert (done.n_sounds, done.encrypted, done.lost) == (15, form == "sealed", ())
    assert (tmp_path / "one.backup").stat().st_mode & 0o077 == 0
    content = (tmp_path / "one.backup").read_bytes()
    assert (b"plantednote" in content) == (form == "plain") and (b"C-7QXK" in content) == (form == "plain")
    back = restored(tmp_path / "one.backup", tmp_path / "back")
    assert state(tmp_path / "back") == was and back.n_sounds == 15 and back.aside is None
    assert (tmp_path / "back").stat().st_mode & 0o077 == 0
    assert store.is_encrypted(tmp_path / "back") == (form == "sealed")
    with store.open_caseload(tmp_path / "back") as one:
        assert store.audit_trail(one)[-1].action == "caseload restored"
    with zipfile.ZipFile(tmp_path / "one.backup") as archive:  # unpacked by hand it is a caseload too
        archive.extractall(tmp_path / "by-hand")
    assert state(tmp_path / "by-hand") == was
    assert beside(folder) == {"case", "one.backup", "back", "by-hand"}


def test_a_passphrase_of_its_own(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    was, own, told = state(folder), "nine red foxes run far", []
    back_up(folder, tmp_path / "own.backup", passphrase=own, tell=told.append)
    assert not store.is_encrypted(folder) and len(told) == 1
    content = (tmp_path / "own.backup").read_bytes()
    assert not [sign for sign in (b"plantednote", b"C-7QXK", b"SQLite format 3") if sign in content]
    with pytest.raises(CaseloadError, match="does not open"):
        restored(tmp_path / "own.backup", tmp_path / "back")
    assert beside(folder) == {"case", "own.backup"}
    store.restore_backup(tmp_path / "own.backup", tmp_path / "back", ask=lambda: own)
    store.recover(tmp_path / "back", lambda: told[0], lambda: PASSPHRASE)
    assert state(tmp_path / "back") == was
    with store.open_caseload(tmp_path / "back") as one, pytest.raises(RefusedError, match="by the same passphrase"):
        store.write_backup(one, tmp_path / "two.backup", passphrase=own)


def test_in_place_sets_the_caseload_before_aside(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    was = state(folder)
    (folder / "caseload.toml").write_text("ear_first = false\n", encoding="utf-8")
    at = ["--caseload", str(folder)]
    assert run(["caseload", "backup", str(tmp_path / "one.backup"), "--remind-after", "7", *at]) == 0
    with store.open_caseload(folder) as one:
        WORK.session(one, 9)
    now = state(folder)
    capsys.readouterr()
    assert run(["caseload", "restore", str(tmp_path / "one.backup"), *at]) == 3
    assert "--in-place" in capsys.readouterr().err and state(folder) == now
    assert run(["caseload", "restore", str(tmp_path / "one.backup"), "--in-place", "--json", *at]) == 0
    done = json.loads(capsys.readouterr().out)
    assert state(folder) == was and state(tmp_path / done["set_aside"]) == now
    assert store.read_place(folder).ear_first is False and reminders.last_backup(folder)
    assert any("lies in case.before-" in note for note in done["notes"])


def test_a_client_erased_since_is_named(folder: Path, tmp_path: Path) -> None:
    back_up(folder, tmp_path / "one.backup")
    with store.open_caseload(folder) as one:
        store.remove_client(one, "C-7QXK", "all")
    done = backups.restore(CaseloadHandle(folder), tmp_path / "one.backup", to=None, in_place=True)
    assert any(note.startswith("C-7QXK:") and "erase them again" in note for note in done["notes"])


def test_who_opened_it_before_keeps_nothing_in_the_one_set_aside(folder: Path, tmp_path: Path) -> None:
    back_up(folder, tmp_path / "one.backup")
    with store.open_caseload(folder) as before:
        restored(tmp_path / "one.backup", folder, in_place=True)
        with pytest.raises(CaseloadError, match="another stands in its place"):
            WORK.session(before, 9)


def test_places_that_are_refused(folder: Path, tmp_path: Path) -> None:
    was = state(folder)
    (tmp_path / "there").write_text("mine")
    for to, words in ((tmp_path / "there", "replaces nothing"), (folder / "in.backup", "lost with it")):
        with pytest.raises(RefusedError, match=words):
            back_up(folder, to)
    with pytest.raises(OutputError):
        back_up(folder, Path("/proc/nowhere/one.backup"))
    assert (tmp_path / "there").read_text() == "mine" and beside(folder) == {"case", "there"}
    with pytest.raises(SibilantError, match="no such file"):
        restored(tmp_path / "none", tmp_path / "back")
    for odd in (b"", b"PK\x03\x04 not one", b"x" * 4000):
        (tmp_path / "there").write_bytes(odd)
        with pytest.raises(CaseloadError, match="not a caseload's backup"):
            restored(tmp_path / "there", tmp_path / "back")
    assert beside(folder) == {"case", "there"} and state(folder) == was


def test_a_hostile_backup_leaves_its_folder_alone(folder: Path, tmp_path: Path) -> None:
    """Names that climb, and entries that swell when unpacked, are refused before anything is written outside."""
    for name in ("../victim", "audio/../../victim", "/tmp/victim", "audio/ab/x.flac"):
        path = tmp_path / "bad.backup"
        files = {name: {"bytes": 1, "sha256": "0" * 64}}
        described = {"form": "sibilant-caseload-backup", "format": 1, "made_at": "x", "encrypted": False, "rows": 0}
        described |= {"damaged_before": [], "lost_before": [], "files": files}
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr(name, "x")
            archive.writestr("backup.json", json.dumps(described))
        with pytest.raises(CaseloadError, match="not a caseload's backup"):
            restored(path, tmp_path / "back")
    with zipfile.ZipFile(tmp_path / "bad.backup", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("backup.json", " " * 10_000_000)
    with pytest.raises(CaseloadError, match="not a caseload's backup"):
        restored(tmp_path / "bad.backup", tmp_path / "back")
    assert beside(folder) == {"case", "bad.backup"}


def test_damage_before_is_told_and_not_a_refusal(folder: Path, tmp_path: Path) -> None:
    sounds = sorted(folder.glob("audio/??/*"))
    sounds[0].unlink()
    sounds[1].write_bytes(b"x")
    done = back_up(folder, tmp_path / "one.backup")
    assert set(done.lost) == {f"sound {path.stem[:12]}" for path in sounds[:2]} and done.n_sounds == 13
    back = restored(tmp_path / "one.backup", tmp_path / "back")
    assert set(back.not_whole) == set(done.lost)
    assert len(wholeness.check(CaseloadHandle(tmp_path / "back"))["missing"]) == 2


def flipped(backup: Path, place: int) -> bytes:
    content = bytearray(backup.read_bytes())
    content[place // 8] ^= 1 << place % 8
    return bytes(content)


def flips(folder: Path, backup: Path, seeds: range) -> Counter[str]:
    """One bit of a backup flipped a time: restored the same, or refused in one line; then what is whole comes back."""
    was, found = state(folder), Counter()
    size, bad, back = backup.stat().st_size, backup.with_name("bad.backup"), backup.with_name("back")
    for seed in seeds:
        bad.write_bytes(flipped(backup, random.Random(seed).randrange(8 * size)))
        shutil.rmtree(back, ignore_errors=True)
        try:
            restored(bad, back)
            assert state(back) == was, seed
            found["same"] += 1
            continue
        except SibilantError as error:
            assert "\n" not in str(error) and not back.exists(), seed
        except AssertionError:
            raise
        except Exception as fault:  # noqa: BLE001 - counted, and no count but none passes
            found[f"traceback {type(fault).__name__}"] += 1
            continue
        try:
            done = restored(bad, back, anyway=True)
            found["the rest restored, the damage named"] += 1
            assert done.not_whole, seed
            with store.open_caseload(back, create=False) as one:
                lost = store.look_at_sounds(one).found
                rows_hit = store.look_at_rows(one).damaged or any("rows are missing" in n for n in done.not_whole)
                assert sum(len(names) for names in lost.values()) <= 1 or rows_hit, seed
        except SibilantError:
            found["refused"] += 1
    return found


@pytest.mark.parametrize("n", [N_SHARE, pytest.param(250, marks=pytest.mark.long)])
@pytest.mark.parametrize("form", ["plain", "sealed"])
def test_flipped_bits_are_noticed(
    form: str, n: int, folder: Path, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    if form == "sealed":
        request.getfixturevalue("sealed")
    back_up(folder, tmp_path / "one.backup")
    found = flips(folder, tmp_path / "one.backup", range(n))
    tracebacks = sum(count for kind, count in found.items() if kind.startswith("traceback"))
    assert tracebacks == 0 and sum(found.values()) == n and found["same"] < n, found
    if n > N_SHARE:
        kinds = ("same", "the rest restored, the damage named", "refused")
        counts = {"flips": n, **{kind: found[kind] for kind in kinds}, "tracebacks": tracebacks}
        write_evidence("flipped_backups.csv", form, counts)


@pytest.mark.parametrize("n", [N_SHARE, pytest.param(N_ALL, marks=pytest.mark.long)])
@pytest.mark.parametrize("form", ["plain", "sealed"])
def test_taken_while_others_write(
    form: str, n: int, folder: Path, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """Each backup is a state that the caseload was in, row by row, with every sound that its rows name."""
    if form == "sealed":
        request.getfixturevalue("sealed")
    first = state(folder)
    command = [sys.executable, str(HERE / "backup_worker.py"), "work", str(folder)]
    with (tmp_path / "states").open("w") as told, subprocess.Popen(command, stdout=told) as worker:
        try:
            while "at work" not in (tmp_path / "states").read_text():
                assert worker.poll() is None
            backed = [back_up(folder, tmp_path / f"{number}.backup") for number in range(n)]
        finally:
            (tmp_path / "stop").touch()
            worker.wait(60)
    lines = (tmp_path / "states").read_text().splitlines()
    assert lines[-1] == "stopped"
    states = {first, *lines}
    seen = set()
    for number, done in enumerate(backed):
        assert done.lost == ()
        restored(tmp_path / f"{number}.backup", tmp_path / f"back-{number}")
        seen.add(state(tmp_path / f"back-{number}"))
        shutil.rmtree(tmp_path / f"back-{number}")
    assert seen <= states and len(seen) > n // 3  # it really was written to meanwhile
    if n == N_ALL:
        write_evidence("backups.csv", form, {"backups": n, "states_written": len(states), "states_met": len(seen)})


@pytest.mark.parametrize("every", [5, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("verb", ["backup", "restore"])
@pytest.mark.parametrize("form", ["plain", "sealed"])
def test_killed_before_every_file_operation(
    form: str, verb: str, every: int, folder: Path, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """The caseload is whole, as before or as restored; a backup is whole or not there; nothing is left lying about."""
    if form == "sealed":
        request.getfixturevalue("sealed")
    start = Path(shutil.copytree(folder, tmp_path / "start"))
    was = then = state(start)
    back_up(start, tmp_path / "kept.backup")
    if verb == "restore":
        with store.open_caseload(start) as one:
            WORK.session(one, 9)
        then = state(start)
    worker = module("test_encrypted_killed").Worker("backup_worker.py", "killed")
    step, n_new = 1, 0
    while True:
        for path in (folder, *tmp_path.glob("case.before-*")):
            shutil.rmtree(path, ignore_errors=True)
        (tmp_path / "new.backup").unlink(missing_ok=True)
        shutil.copytree(start, folder)
        told, _ = worker.work(verb, folder, step=step)
        if told[-1] == "done":
            break
        found = state(folder)
        assert found in {was, then}, step
        set_aside = list(tmp_path.glob("case.before-*"))
        assert {path.name for path in tmp_path.iterdir()} <= {"case", "start", "kept.backup", "new.backup"} | {
            path.name for path in set_aside
        }, step
        if verb == "restore":
            n_new += bool(set_aside)
            assert (found == was) == bool(set_aside), step
            assert all(state(path) == then for path in set_aside)
        elif (tmp_path / "new.backup").exists():
            n_new += 1
            restored(tmp_path / "new.backup", tmp_path / "back")
            assert state(tmp_path / "back") == was
            shutil.rmtree(tmp_path / "back")
        step += every
    worker.close()
    assert step > 10
    if every == 1:
        write_evidence("backup_killed.csv", f"{verb}, {form}", {"kills": step - 1, "killed_after_the_last_step": n_new})


def test_reminded_after_the_clinics_own_days(folder: Path) -> None:
    assert reminders.reminders(folder) == () and reminders.last_backup(folder) is None
    reminders.note_backup(folder, dt.date(2026, 1, 1), None)
    assert reminders.reminders(folder, dt.date(2030, 1, 1)) == ()  # no number, no reminder
    reminders.note_backup(folder, dt.date(2026, 1, 1), 7)
    reminders.note_backup(folder, dt.date(2026, 1, 2), None)  # the number stays
    assert reminders.reminders(folder, dt.date(2026, 1, 9)) == ()
    (said,) = reminders.reminders(folder, dt.date(2026, 1, 10))
    assert (
        "8 days old" in said.text and "at most 7" in said.text and said.command.startswith("sibilant caseload backup")
    )
    (folder / "backups.json").write_text("{")
    assert reminders.reminders(folder) == ()


def test_from_and_on_a_read_only_medium(folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(place)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a disk of its own can't be mounted here")
    try:
        was = state(folder)
        shutil.copytree(folder, place / "case")
        back_up(folder, place / "one.backup")
        subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
        restored(place / "one.backup", tmp_path / "back")
        assert state(tmp_path / "back") == was
        back_up(place / "case", tmp_path / "two.backup")
        restored(tmp_path / "two.backup", tmp_path / "again")
        assert state(tmp_path / "again") == was
        with pytest.raises(OutputError):
            back_up(folder, place / "three.backup")
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=False)


def write_evidence(name: str, what: str, counts: dict[str, object]) -> None:
    """A row of what was counted, with the commit it was run on."""
    path = EVIDENCE / name
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=HERE, capture_output=True, text=True).stdout
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines())) if path.exists() else []
    row = {"what": what, **counts, "commit": commit.strip()}
    rows = [one for one in rows if one["what"] != what] + [row]
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(row), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
