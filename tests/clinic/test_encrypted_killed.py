"""Encryption, decryption, a change of key killed at random, and the ordinary work killed on an encrypted caseload.

Whatever the moment, the caseload is whole in one form, the next that opens it takes away the rest of the other, and
doing it again ends it. A few kills by default, hundreds with ``-m long`` (evidence in
docs/evidence/encrypted_killed.csv). Invented data – not a person.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import importlib.util
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from sibilant import audio, store
from sibilant.store import engine
from sibilant.store.clips import write_clip

HERE = Path(__file__).parent
EVIDENCE = HERE.parents[1] / "docs" / "evidence" / "encrypted_killed.csv"
PASSPHRASE = "six blue horses walk"
PLAIN_SIGNS = (b"C-7QXK", b"plantednote", b"fLaC", b"SQLite format 3")
N_WORDS = 20


class Worker:
    """A process that encrypts or decrypts in a child of its own, which may be killed."""

    def __init__(self, *script: str) -> None:
        command = [sys.executable, *([str(HERE / part) for part in script] or [str(HERE / "encrypted_worker.py")])]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._line() == "ready"

    def _line(self) -> str:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, "the worker has ended by itself"
        return line.rstrip("\n")

    def work(
        self, verb: str, folder: Path, kill_after_s: float | None = None, *, step: int = 0
    ) -> tuple[list[str], float]:
        """Set to work; kill a while after the work itself begins, or have it kill itself before a file operation.

        Return what was told, and the seconds it took.
        """
        assert self.process.stdin is not None
        self.process.stdin.write(f"{verb} {step} {folder}\n")
        self.process.stdin.flush()
        told: list[str] = []
        child = 0
        while not (child and "begins" in told):
            line = self._line()
            child = int(line.split()[-1]) if line.startswith("at work") else child
            told.append(line)
        start = time.perf_counter()
        if kill_after_s is not None:
            time.sleep(kill_after_s)
            with contextlib.suppress(ProcessLookupError):  # done before
                os.kill(child, signal.SIGKILL)
        while (line := self._line()) != "ended":
            told.append(line)
        return told, time.perf_counter() - start

    def close(self) -> None:
        """Let the worker end."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait(10)
        self.process.stdout.close()


def filled(folder: Path, material: ModuleType, *, n_sessions: int, n_sounds: int = N_WORDS) -> None:
    """A plain caseload with sessions, each word of them kept."""
    noise = np.random.default_rng(1)
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client(reason="plantednote"))
        for number in range(n_sessions):
            clips = []
            with store.at_work(one):
                for place in range(1, n_sounds + 1):
                    sound = audio.flac_bytes(noise.normal(0, 0.05, 8000).astype(np.float32), 44_100)
                    sha256 = hashlib.sha256(sound).hexdigest()
                    write_clip(one, sha256, ".flac", sound)  # without waiting for the disk
                    clips.append(store.NewClip(place, 1, sha256, ".flac", 0.0))
                prompts = tuple(material.prompt_of(i) for i in range(N_WORDS))
                tokens = material.new_sounds(material.token(i, {"centroid_hz": 6000.0 + i}) for i in range(N_WORDS))
                recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
                session = replace(material.session(1), note="plantednote")
                store.keep_session(one, store.NewSession(session, prompts, (recording,), tokens, tuple(clips)))


def held(folder: Path) -> tuple[store.Rows, dict[str, bytes]]:
    """All rows and all sounds, checked; nothing of the other form and nothing half-made is there."""
    with store.open_caseload(folder) as one:
        rows = store.dump_client(one, "C-7QXK")
        sounds = {row["sha256"]: store.clip_bytes(one, row["sha256"], row["suffix"]) for row in rows["clips"]}
        encrypted = one.encrypted
        with one.read() as connection:
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"
    files = {path.name for path in folder.rglob("*") if path.is_file()}
    clips = {name for name in files if len(name) > 64}
    assert len(clips) == len(sounds) and {Path(name).suffix for name in clips} == {
        ".sealed" if encrypted else ".flac"
    }, clips
    expected = {".lock", "caseload.sealed", "key.json"} if encrypted else {".lock", "caseload.sqlite"}
    assert files - clips == expected
    return rows, sounds


def plain_signs(folder: Path) -> set[bytes]:
    """Plain signs in any byte of a folder's files."""
    content = b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())
    return {sign for sign in PLAIN_SIGNS if sign in content}


@pytest.mark.parametrize("n_kills", [4, pytest.param(200, marks=pytest.mark.long)])
def test_killed_at_random_moments(
    n_kills: int, tmp_path: Path, material: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    folder = tmp_path / "case"
    filled(folder, material, n_sessions=4 if n_kills > 4 else 1)
    expected = held(folder)
    worker = Worker()
    one_s = {verb: worker.work(verb, folder)[1] for verb in ("encrypt", "rekey", "decrypt")}
    assert held(folder) == expected
    moments = random.Random(n_kills)
    counts = {verb: {"kills": 0, "old": 0, "new": 0, "half_made": 0} for verb in one_s}
    for _ in range(n_kills):
        verb = moments.choice(["decrypt", "rekey"]) if store.is_encrypted(folder) else "encrypt"
        key = key_of(folder)
        told, _ = worker.work(verb, folder, moments.uniform(0.0, 1.1 * one_s[verb]))
        switched = key_of(folder) != key
        counts[verb]["kills"] += 1
        counts[verb]["new" if switched else "old"] += 1
        counts[verb]["half_made"] += bool(list(folder.glob("audio/.unfinished*")))
        assert switched or "done" not in told
        assert not switched or verb == "decrypt" or "code told" in told  # never encrypted without its code having shown
        assert held(folder) == expected
        assert not store.is_encrypted(folder) or not plain_signs(folder)
        if not switched and moments.random() < 0.5:  # run again: it goes through
            assert worker.work(verb, folder)[0][-1] == "done"
            assert held(folder) == expected
    worker.close()
    if n_kills >= 200:
        _write_evidence(
            {
                verb: {
                    "kills": n["kills"],
                    "found_in_the_old_form": n["old"],
                    "found_in_the_new_form": n["new"],
                    "killed_while_at_work": n["half_made"],
                }
                for verb, n in counts.items()
            }
        )


def key_of(folder: Path) -> str:
    """The public identity of the key a folder is under; empty where it is plain."""
    return store.read_key_file(folder).identity if store.is_encrypted(folder) else ""


@pytest.mark.parametrize("every", [8, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("verb", ["encrypt", "decrypt", "rekey"])
def test_killed_before_every_file_operation(
    verb: str, every: int, tmp_path: Path, material: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One after the other (every eighth by default): each file that is opened, made, moved or removed."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    start, folder = tmp_path / "start", tmp_path / "case"
    filled(start, material, n_sessions=1, n_sounds=3)
    expected = held(start)
    worker = Worker()
    if verb != "encrypt":
        worker.work("encrypt", start)
    key = key_of(start)
    step, n_new, n_half = 1, 0, 0
    while True:
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(start, folder)
        told, _ = worker.work(verb, folder, step=step)
        if told[-1] == "done":
            break
        switched = key_of(folder) != key
        n_new += switched
        n_half += bool(list(folder.glob("audio/.unfinished*")))
        assert not switched or verb == "decrypt" or "code told" in told
        assert held(folder) == expected, step
        assert not store.is_encrypted(folder) or not plain_signs(folder), step
        step += every
    worker.close()
    assert step > 20 and 0 < n_new < step  # both sides of the switch were met
    if every == 1:
        kept = {"kills": step - 1, "found_in_the_old_form": step - 1 - n_new, "found_in_the_new_form": n_new}
        _write_evidence({f"{verb}, before every file operation": {**kept, "killed_while_at_work": n_half}})


def killed_tests() -> ModuleType:
    """The tests of the ordinary work that is killed."""
    spec = importlib.util.spec_from_file_location("ordinary_killed", HERE / "test_killed.py")
    assert spec is not None and spec.loader is not None
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


def whole(folder: Path) -> store.Caseload:
    """As the ordinary check after a kill, for an encrypted caseload."""
    one = store.open_caseload(folder)
    assert one.encrypted and one.keys is not None
    raw = engine.open_sealed(folder / "caseload.sealed", one.keys)
    assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    raw.close()
    named = set()
    for code in store.codes(one):
        case = store.read_case(one, code)
        for session in case.sessions:
            tokens = case.tokens_of(session.number)
            assert len(tokens) == 20 and all(
                "centroid_hz" in one.measures.values for t in tokens for one in t.measurements.values()
            )
            named |= {token.clip for token in tokens}
    for sha256 in named:
        store.clip_bytes(one, sha256, store.clip_of(one, sha256)[0])
    assert len(list(folder.glob("audio/??/*"))) == len(named)
    assert not list(folder.glob("audio/.unfinished*")) and not list(folder.glob("audio/.making*"))
    assert not plain_signs(folder)
    return one


@pytest.mark.parametrize(
    ("verb", "n_kills"),
    [
        *(pytest.param(verb, 2) for verb in ("probe", "remove")),
        *(pytest.param(verb, 50, marks=pytest.mark.long) for verb in ("probe", "judge", "remove", "import")),
    ],
)
def test_ordinary_work_killed_on_an_encrypted_caseload(
    verb: str, n_kills: int, tmp_path: Path, material: ModuleType, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None
) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    ordinary = killed_tests()
    folder, place = tmp_path / "case", tmp_path / "place"
    ordinary.prepared(folder, place, verb, material)
    encrypted(folder)
    moments = random.Random(verb)
    n_in_work = n_told = 0
    worker = ordinary.Worker(verb, folder, place)
    one_s = worker.time_of_one()
    for kill in range(n_kills):
        told = worker.killed(1000 * (kill + 1), moments.uniform(0.02, 2.5 * one_s))
        n_in_work += bool(list(folder.glob("audio/.unfinished*")))
        assert not plain_signs(folder)  # also before anything is taken away
        with whole(folder) as one:
            n_told += len(told)
            ordinary.check(verb, one, [*told, *(ordinary._before(one) if verb == "probe" else [])])
        if verb == "probe" and kill % 5 == 4:  # keep the caseload small, so that each kill meets the same work
            shutil.rmtree(folder)
            with store.open_caseload(folder) as one:
                store.add_client(one, material.client())
            encrypted(folder)
    worker.close()
    if n_kills >= 50:
        _write_evidence(
            {
                f"{verb}, encrypted": {
                    "kills": n_kills,
                    "found_in_the_old_form": "",
                    "found_in_the_new_form": "",
                    "killed_while_at_work": n_in_work,
                }
            }
        )


def encrypted(folder: Path) -> None:
    """Encrypt a caseload."""
    with store.open_caseload(folder) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)


def _write_evidence(counts: dict[str, dict[str, object]]) -> None:
    root = EVIDENCE.parents[2]
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True).stdout
    rows = list(csv.DictReader(EVIDENCE.read_text(encoding="utf-8").splitlines())) if EVIDENCE.exists() else []
    fresh = [{"verb": verb, **found, "commit": commit.strip()} for verb, found in counts.items()]
    rows = [one for one in rows if one["verb"] not in counts] + fresh
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(fresh[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
