"""How long keeping and reading take: 100,000 tokens, and ``progress`` for one of 60 clients after a year.

Times are of the processor (user and system), which is what a quiet machine takes; wall times and the load stand beside.
Run with ``-m benchmark``; writes docs/evidence/store_speed.csv. Invented data – not a person.
"""

from __future__ import annotations

import csv
import datetime as dt
import os
import sqlite3
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from sibilant import store
from sibilant.terms import Method, Window, measures_of

ROOT = Path(__file__).parents[2]
EVIDENCE = ROOT / "docs" / "evidence" / "store_speed.csv"
METHODS = [
    Method(name, 1, (1000.0, top), (Window("share", share=0.5),))
    for name, top in (("house-15k", 15e3), ("house-10k", 10e3), ("house-7k", 7.5e3))
]
VALUES = {measure.key: 1234.5678 for measure in measures_of("token")}


def note(what: str, seconds: float, asked: str, detail: str) -> None:
    """Keep a figure with the commit it was measured at."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True).stdout
    rows = list(csv.DictReader(EVIDENCE.read_text(encoding="utf-8").splitlines())) if EVIDENCE.exists() else []
    row = {"what": what, "seconds": f"{seconds:.2f}", "asked": asked, "detail": detail, "commit": commit.strip()}
    rows = [one for one in rows if one["what"] != what] + [row]
    EVIDENCE.parent.mkdir(exist_ok=True)
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(row), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def session(
    material: ModuleType, code: str, n_tokens: int, sha: str, *, n_methods: int = 3, **changed: object
) -> store.NewSession:
    """A session of tokens, each with every measure under house methods."""
    sounds: list[store.NewSound] = []
    for place in range(n_tokens):
        values = {**VALUES, "centroid_hz": 6000.0 + 7 * (place % 20)}
        one = material.token(place, values)
        (measured,) = one.measurements.values()
        each = tuple(replace(measured, method=method) for method in METHODS[:n_methods])
        sounds.append(store.NewSound(0, one.sound, each))
    prompts = tuple(material.prompt_of(place) for place in range(n_tokens))
    held = replace(material.session(1, **changed), client=code, number=0)
    return store.NewSession(held, prompts, (store.NewRecording(sha, 44100, 60.0, {}),), tuple(sounds))


@pytest.mark.benchmark
@pytest.mark.parametrize("n_methods", [1, 3])
def test_a_hundred_thousand_tokens_are_kept_in_seconds(tmp_path: Path, material: ModuleType, n_methods: int) -> None:
    """Beside it, in the same run: the same rows by Python's own sqlite3, without a word about what they mean."""
    n_sessions, n_tokens = 40, 2500
    new = session(material, "C-7QXK", n_tokens, "0" * 64, n_methods=n_methods)
    with store.open_caseload(tmp_path / "case") as one:
        store.add_client(one, material.client())
        start, wall = time.process_time(), time.perf_counter()
        for number in range(n_sessions):
            recording = replace(new.recordings[0], sha256=f"{number:064d}")
            store.keep_session(one, replace(new, recordings=(recording,)))
        ours, wall = time.process_time() - start, time.perf_counter() - wall
    with sqlite3.connect(tmp_path / "case" / "caseload.sqlite") as kept, sqlite3.connect(tmp_path / "plain") as plain:
        tokens = kept.execute("SELECT * FROM tokens").fetchall()
        measured = kept.execute("SELECT * FROM measurements").fetchall()
        start = time.process_time()
        for name, rows in (("tokens", tokens), ("measurements", measured)):
            plain.execute(f"CREATE TABLE {name} ({', '.join(f'c{i}' for i in range(len(rows[0])))})")
            plain.executemany(f"INSERT INTO {name} VALUES ({','.join('?' * len(rows[0]))})", rows)
        plain.commit()
        theirs = time.process_time() - start
    assert len(tokens) == 100_000 and len(measured) == n_methods * 100_000
    detail = f"bare sqlite3 {theirs:.2f} s; wall {wall:.1f} s at load {os.getloadavg()[0]:.1f}"
    note(f"100,000 tokens of {len(VALUES)} measures kept, methods each: {n_methods}", ours, "seconds", detail)
    assert ours < 20 * n_methods


@pytest.mark.benchmark
def test_progress_of_one_client_in_a_full_caseload(tmp_path: Path, material: ModuleType) -> None:
    """60 clients, 12 sessions each, 25 tokens a session, all measures, three methods; the whole process is timed."""
    folder = tmp_path / "case"
    with store.open_caseload(folder) as one:
        for number in range(60):
            code = store.new_code(set(store.codes(one)))
            store.add_client(one, replace(material.client(), code=code))
            for month in range(12):
                day = dt.date(2026, 1, 5) + dt.timedelta(days=30 * month)
                phase = "baseline" if month < 3 else "treatment"
                new = session(material, code, 25, f"{number:032d}{month:032d}", on=day, phase=phase)
                store.keep_session(one, new)
                keys = [each.sound.id for each in new.sounds]
                store.add_judgements(one, code, month + 1, [material.judgement(key, "correct") for key in keys])
        size_mb = (folder / "caseload.sqlite").stat().st_size / 1e6
    command = [sys.executable, "-m", "sibilant_cli", "progress", code, "--json", "--caseload", str(folder)]
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    times, walls = [], []
    for _ in range(5):
        before, start = os.times(), time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment)
        after = os.times()
        walls.append(time.perf_counter() - start)
        times.append(after.children_user + after.children_system - before.children_user - before.children_system)
    assert '"n_measured": 25' in done.stdout
    best = sorted(times)[2]
    detail = f"least wall {min(walls):.2f} s at load {os.getloadavg()[0]:.1f}; {size_mb:.0f} MB"
    note("progress of one client of 60, a year, whole process", best, "< 2", detail)
    assert best < 2.0
