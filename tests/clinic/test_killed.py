"""Killed at random moments, a full disk, a read-only folder: nothing half-written, nothing committed is lost.

Twenty kills by default, 200 with ``-m long`` (evidence in docs/evidence/killed.csv). Invented data – not a person.
"""

from __future__ import annotations

import csv
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from sibilant import store
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, OutputError

WORKER = Path(__file__).parent / "killed_worker.py"
EVIDENCE = Path(__file__).parents[2] / "docs" / "evidence" / "killed.csv"
VERBS = ("probe", "judge", "remove", "import")


class Worker:
    """A process that does a verb again and again in a child of its own, which is killed."""

    def __init__(self, verb: str, folder: Path, place: Path) -> None:
        arguments = [sys.executable, str(WORKER), verb, str(folder), str(place)]
        self.process = subprocess.Popen(arguments, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._line() == "ready"

    def _line(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().rstrip("\n")

    def killed(self, start: int, after_s: float) -> list[str]:
        """Set to work, kill after a while, and return the lines told before."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{start}\n")
        self.process.stdin.flush()
        told = []
        while not (line := self._line()).startswith("at work"):
            told.append(line)
        time.sleep(after_s)
        os.kill(int(line.split()[-1]), signal.SIGKILL)
        while (line := self._line()) != "killed":
            assert line, "the worker has ended by itself"
            told.append(line)
        return told

    def time_of_one(self) -> float:
        """Seconds that one piece of work takes here and now, so that the kills fall inside it on any machine."""
        assert self.process.stdin is not None
        start = time.perf_counter()
        self.process.stdin.write("1\n")
        self.process.stdin.flush()
        child, done = 0, False
        while not (child and done):
            line = self._line()
            assert line, "the worker has ended by itself"
            if line.startswith("at work"):
                child = int(line.split()[-1])
            else:
                done = done or line != "ready"
        took_s = time.perf_counter() - start
        os.kill(child, signal.SIGKILL)
        while self._line() != "killed":
            pass
        return took_s

    def close(self) -> None:
        """Let the worker end."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait(10)
        self.process.stdout.close()


def whole(folder: Path) -> store.Caseload:
    """Open the caseload after a kill and check that it is sound: database, sessions, clips, no leftovers."""
    one = store.open_caseload(folder)
    with sqlite3.connect(folder / "caseload.sqlite") as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    named = set()
    for code in store.codes(one):
        case = store.read_case(one, code)
        for session in case.sessions:
            tokens = case.tokens_of(session.number)
            assert len(tokens) == 20 and all(
                "centroid_hz" in one.measures.values for t in tokens for one in t.measurements.values()
            )
            for token in tokens:
                suffix, _ = store.clip_of(one, token.clip)
                named.add(store.read_clip(one, token.clip, suffix).name)
    assert {path.name for path in folder.glob("audio/??/*")} == named
    assert not list(folder.glob("audio/.unfinished*")) and not list(folder.glob("audio/.making*"))
    return one


def check(verb: str, one: store.Caseload, told: list[str]) -> None:
    """Everything that was told is there (or gone); nothing is half there."""
    if verb == "probe":
        kept = {sha256 for session in store.sessions(one, "C-7QXK") for sha256 in session.recordings}
        assert set(told) <= kept and len(kept) <= len(told) + 1
    elif verb == "judge":
        by_rater: dict[str, int] = {}
        for token in store.read_case(one, "C-7QXK").tokens:
            for judgement in token.judgements:
                by_rater[judgement.rater] = by_rater.get(judgement.rater, 0) + 1
        assert set(by_rater.values()) <= {20}
        assert {line.split()[0] for line in told} - {"ready"} <= set(by_rater)
    else:
        gone = {line.split()[1] for line in told if line.startswith("gone")}
        assert not gone & set(store.codes(one))
        assert verb == "remove" or all(store.sessions(one, code) for code in store.codes(one) if code != "C-7QXK")
    audit = store.audit_trail(one)
    assert all(entry.who and entry.action for entry in audit)


def prepared(folder: Path, place: Path, verb: str, material: ModuleType) -> None:
    """A caseload with the client, and for import an export to take in."""
    place.mkdir()
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client())
    if verb == "import":
        other = place / "other"
        with store.open_caseload(other) as one:
            store.add_client(one, material.client())
        worker = Worker("probe", other, place)
        while not worker.killed(0, 1.0):
            pass
        worker.close()
        whole(other).close()
        from sibilant.clinic import exchange

        exchange.export_client(CaseloadHandle(other), "C-7QXK", place / "export", audio=True)
        with store.open_caseload(other) as one:
            assert store.sessions(one, "C-7QXK")


@pytest.mark.parametrize(
    ("verb", "n_kills"),
    [*(pytest.param(verb, 5) for verb in VERBS), *(pytest.param(verb, 50, marks=pytest.mark.long) for verb in VERBS)],
)
def test_killed_at_random_moments(verb: str, n_kills: int, tmp_path: Path, material: ModuleType) -> None:
    folder, place = tmp_path / "case", tmp_path / "place"
    prepared(folder, place, verb, material)
    moments = random.Random(VERBS.index(verb))
    n_in_work = n_told = 0
    worker = Worker(verb, folder, place)
    one_s = worker.time_of_one()
    for kill in range(n_kills):
        told = worker.killed(1000 * (kill + 1), moments.uniform(0.02, 2.5 * one_s))
        n_in_work += bool(list(folder.glob("audio/.unfinished*")))
        with whole(folder) as one:
            n_told += len(told)
            check(verb, one, [*told, *(_before(one) if verb == "probe" else [])])
        if verb == "probe" and kill % 5 == 4:  # keep the caseload small, so that each kill meets the same work
            shutil.rmtree(folder)
            with store.open_caseload(folder) as one:
                store.add_client(one, material.client())
    worker.close()
    if n_kills == 50:
        _write_evidence(verb, n_kills, n_in_work, n_told)


def _before(one: store.Caseload) -> list[str]:
    """All recordings kept but the last two: those of earlier rounds were checked then."""
    kept = [sha256 for session in store.sessions(one, "C-7QXK") for sha256 in session.recordings]
    return kept[:-1]


def _write_evidence(verb: str, n_kills: int, n_in_work: int, n_told: int) -> None:
    root = EVIDENCE.parents[2]
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True).stdout
    rows = list(csv.DictReader(EVIDENCE.read_text(encoding="utf-8").splitlines())) if EVIDENCE.exists() else []
    found = {"killed_while_sound_was_at_work": n_in_work, "told_done_and_found_so": n_told}
    row = {"verb": verb, "kills": n_kills, **found, "commit": commit.strip()}
    rows = [one for one in rows if one["verb"] != verb] + [row]
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(row), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture
def small_disk(tmp_path: Path) -> Path:
    """A disk of its own of 3 MiB, or skip."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(place)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small disk can't be mounted here; the limit of SQLite's pages stands for it in tests/store")
    yield place
    subprocess.run(["umount", "--lazy", str(place)], check=False)


def test_a_full_disk_keeps_the_last_good_state(small_disk: Path, material: ModuleType) -> None:
    folder = small_disk / "case"
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client())
    lines = []
    for number in range(40):
        try:
            with store.open_caseload(folder) as one, store.at_work(one):
                clip = store.keep_clip(one, bytes(200_000) + bytes([number]), ".flac")
                prompts = tuple(material.prompt_of(i) for i in range(20))
                tokens = material.new_sounds(material.token(i, {"centroid_hz": 6000.0}) for i in range(20))
                clips = tuple(store.NewClip(i, 1, clip, ".flac", 0.0) for i in range(1, 21))
                recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
                store.keep_session(one, store.NewSession(material.session(1), prompts, (recording,), tokens, clips))
        except (CaseloadError, OutputError) as full:
            lines.append(str(full))
            break
    assert lines and "\n" not in lines[0] and ("full" in lines[0] or "no space left" in lines[0]), lines
    n = number
    with whole(folder) as one:
        assert len(store.sessions(one, "C-7QXK")) == n


def test_a_read_only_folder_is_one_line(small_disk: Path, material: ModuleType) -> None:
    folder = small_disk / "case"
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client())
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    try:
        with pytest.raises(CaseloadError) as refused, store.open_caseload(folder) as one:
            store.add_client(one, replace(material.client(), code="C-M4RT"))
        assert "\n" not in str(refused.value) and "a folder that you may write in" in str(refused.value)
        with pytest.raises(OutputError):
            store.open_caseload(small_disk / "another")
    finally:
        subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    with store.open_caseload(folder) as one:
        assert store.codes(one) == ("C-7QXK",)
