"""What other clients lend costs ``progress`` little: the command with and without it, in one run.

User time, the least of several; run with ``-m benchmark``; writes docs/evidence/progress_speed.csv.
Invented data – not a person.
"""

from __future__ import annotations

import csv
import datetime as dt
import resource
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from sibilant import progress, store
from sibilant.store.opening import open_caseload
from sibilant.terms.clinic import Client, Consent
from sibilant.terms.lending import BaselineSpread, DeviceProbe, Lender

ROOT = Path(__file__).parents[2]
EVIDENCE = ROOT / "docs" / "evidence" / "progress_speed.csv"
START = dt.date(2026, 1, 5)


def least(what: Callable[[], object], times: int = 5) -> float:
    """Return the least user time of several runs of another process."""
    took = []
    for _ in range(times):
        start = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
        what()
        took.append(resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - start)
    return min(took)


def year(one: store.Caseload, material: ModuleType, code: str) -> None:
    """Three baselines three weeks apart and nine monthly probes of twenty words."""
    store.add_client(one, Client(code, 80, START, direction="higher", invented=True, method="house-15k"))
    days = [START + dt.timedelta(days=21 * i) for i in range(3)]
    days += [days[-1] + dt.timedelta(days=30 * i) for i in range(1, 10)]
    for number, day in enumerate(days):
        sounds = [material.token(i, {"centroid_hz": 6000.0 + 25 * i + 40 * (number % 3)}) for i in range(20)]
        phase = "baseline" if number < 3 else "treatment"
        session = replace(material.session(1), client=code, number=0, on=day, phase=phase)
        recording = store.NewRecording(f"{number:064x}", 44100, 30.0, {"verdict": "usable"})
        prompts = tuple(material.prompt_of(i) for i in range(20))
        store.keep_session(one, store.NewSession(session, prompts, (recording,), material.new_sounds(sounds)))


def lenders(one: store.Caseload, label: str, n: int) -> None:
    """So many other clients whose spreads and sessions by device are kept."""
    for place in range(n):
        code = store.new_code(set(store.codes(one)))
        store.add_client(one, Client(code, 80, START, invented=True, consent=Consent(START, pooled=True)))
        probes = tuple(
            DeviceProbe("desk", label, START + dt.timedelta(days=30 * m), "treatment", float((place * m) % 7) * 60)
            for m in range(12)
        )
        spread = BaselineSpread("centroid_hz", label, "word", "desk", 150.0 + place % 100, 2)
        fingerprint = f"{progress.RULE}:{store.latest_changes(one)[code]}"
        store.keep_lender(one, code, fingerprint, Lender((spread,), probes))


@pytest.mark.benchmark
def test_progress_with_what_others_lend_against_progress_without(tmp_path: Path, material: ModuleType) -> None:
    """The command, start included: at most 1.3 times what it takes where nobody lends."""
    folders = {name: tmp_path / name for name in ("alone", "lent")}
    for name, folder in folders.items():
        folder.mkdir()
        (folder / "caseload.toml").write_text("ear_first = false\n")
        with open_caseload(folder, create=True) as one:
            year(one, material, "C-7QXK")
            label = next(iter(store.read_case(one, "C-7QXK").tokens[0].measurements))
            if name == "lent":
                lenders(one, label, 60)
    assert "by the spread of 60 other clients" in told(folders["lent"])
    assert "by the spread of" not in told(folders["alone"])
    with_others, without = (least(lambda f=folders[name]: told(f)) for name in ("lent", "alone"))  # type: ignore[misc]
    note("progress with 60 lenders over progress with none, user time", with_others / without, "1.3")
    assert with_others <= 1.3 * without


def told(folder: Path) -> str:
    """Run the command and return what it prints."""
    call = [sys.executable, "-m", "sibilant_cli", "progress", "C-7QXK", "--caseload", str(folder)]
    return subprocess.run(call, capture_output=True, text=True, check=True).stdout


def note(what: str, ratio: float, asked: str) -> None:
    """Keep a ratio with the commit it was measured at."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True).stdout
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["what", "ratio", "asked", "commit"])
        writer.writerow([what, f"{ratio:.2f}", asked, commit.strip()])
