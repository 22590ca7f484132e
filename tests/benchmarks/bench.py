"""Every comparison of speed in one command: ratios with their spread, kept in docs/evidence/bench.csv.

``python tests/benchmarks/bench.py [--turns N] [--only GROUP]``. Each job runs in turns with what it is held against,
as whole processes; user and system time are counted, so that other work on the machine moves a ratio little (its load
when a job began stands in the row). The figures of a commit replace its own earlier ones; beside each stands what the
last other commit had.
"""

from __future__ import annotations

import argparse
import atexit
import csv
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import bench_material as made

HERE = Path(__file__).parent
EVIDENCE = made.ROOT / "docs" / "evidence" / "bench.csv"
HEAD = ("what", "against", "ratio", "lowest", "highest", "ours_s", "theirs_s", "turns", "aim", "commit", "load")
SAME = ("what", "against", "commit")
LOADED = "import numpy, sqlalchemy, click"
READ_AND_STFT = """
import sys, numpy as np, soundfile as sf
from scipy.fft import rfft
x, rate = sf.read(sys.argv[1], dtype="float32")
frames = np.lib.stride_tricks.sliding_window_view(x, 882)[::441] * np.hanning(882).astype("float32")
np.abs(rfft(frames, axis=1)) ** 2
"""
PLAIN_SCRIPT = """
import glob, sys, numpy as np, soundfile as sf, parselmouth
from parselmouth.praat import call
for path in sorted(glob.glob(sys.argv[1] + "/*.wav")):
    x, rate = sf.read(path)
    sound, hop = parselmouth.Sound(x, rate), int(0.005 * rate)
    high = call(sound, "Filter (pass Hann band)", 4000, 10000, 100).values[0]
    level = 10 * np.log10(np.add.reduceat(high**2, np.arange(0, high.size, hop)) / hop + 1e-12)
    edges = np.flatnonzero(np.diff(np.r_[0, level > level.max() - 25, 0]))
    for a, b in zip(edges[::2], edges[1::2]):
        if b - a >= 8:
            part = call(sound.extract_part(a * hop / rate, b * hop / rate), "Filter (pass Hann band)", 1000, 15000, 100)
            spectrum = part.to_spectrum()
            spectrum.get_centre_of_gravity(2), spectrum.get_standard_deviation(2)
            spectrum.get_skewness(2), spectrum.get_kurtosis(2)
"""
"""What one would write by hand: an energy threshold, and four moments of each stretch over it."""
PLAIN_IN_ONE = f"""
import time
plain = compile({PLAIN_SCRIPT!r}, "plain", "exec")
exec(plain)
start = time.process_time()
exec(plain)
print("FIGURE", time.process_time() - start)
"""
"""The same in a process that has done it once before."""
TOKENS = """
import sys, time
from pathlib import Path
from sibilant.corpus.manifest import planned
from sibilant.corpus.pieces import measured_piece
from sibilant.corpus.request import CorpusRequest
plan = planned(CorpusRequest(Path(sys.argv[1]), Path("none")))
def took(pieces):
    start = time.process_time()
    for piece in pieces:
        measured_piece(piece, plan.methods)
    return time.process_time() - start
took(plan.pieces[:3])
print("FIGURE", took(plan.pieces))
"""
"""Seconds that measuring a manifest takes in a process that has loaded everything."""
BY_THE_CLOCK = """
import sys, time
from sibilant_cli.main import run
start = time.perf_counter()
assert run(sys.argv[1:]) == 0
print("FIGURE", time.perf_counter() - start)
"""
GATHERER = """
import sys, time
from sibilant_cli.main import run
def took(manifest, to):
    start = time.process_time()
    assert run(["corpus", manifest, "--to", to, "--workers", "2"]) == 0
    return time.process_time() - start
took(sys.argv[1], sys.argv[3] + "/few")
print("FIGURE", took(sys.argv[2], sys.argv[3] + "/many") / 1000)
"""
"""Seconds a token of 1,000 that the process which gathers from two workers takes, all loaded."""
BEFORE = "6d87046"
"""The commit that the work on speed began at."""
FIRST_PAGE = """
import http.client, os, sys
from pathlib import Path
from sibilant import web
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.web.handles import handle_of
page = web.start(CaseloadHandle(Path(sys.argv[1])))
at, client = f"127.0.0.1:{page.port}", handle_of(page.token, sys.argv[2])
for place in ("/progress", f"/progress?client={client}"):  # the first shows the clients
    asked = http.client.HTTPConnection(at)
    asked.request("GET", page.root + place, headers={"Host": at, "Cookie": f"sibilant={page.token}"})
    assert asked.getresponse().status == 200, place
os._exit(0)
"""


@dataclass(frozen=True, slots=True)
class Job:
    """What is run, what it is held against, and the aim; ``printed`` jobs print their own seconds."""

    what: str
    against: str
    ours: list[str]
    theirs: list[str]
    aim: str
    printed: bool = False
    share: float = 1.0
    """What the ratio is multiplied by, where the two do unlike amounts."""


def sibilant(*words: object) -> list[str]:
    """A command of the program."""
    return [sys.executable, "-c", made.COMMAND, *map(str, words)]


def python(script: str, *words: object) -> list[str]:
    """A script by this interpreter."""
    return [sys.executable, "-c", script, *map(str, words)]


def figure(name: str, size: int) -> list[str]:
    """A figure of ``bench_material``, printed."""
    return [sys.executable, str(HERE / "bench_material.py"), name, str(size)]


def starts(folder: Path) -> Iterator[Job]:
    """Commands over a caseload, mostly their start."""
    one = made.caseload(folder / "one", n_clients=1, n_sessions=9)
    at, loaded, bare = ["--caseload", one], "numpy, sqlalchemy and click loaded", python(LOADED)
    report = ["report", made.CODE, "--kind", "monthly", "--to", folder / "monthly.pdf"]
    yield Job("progress, 9 probes", loaded, sibilant("progress", made.CODE, *at), bare, "")
    yield Job("report, PDF", loaded, sibilant(*report, *at), bare, "")
    yield Job("page, to the first progress", loaded, python(FIRST_PAGE, one, made.CODE), bare, "")


def since(folder: Path) -> Iterator[Job]:
    """The same commands at the commit that this work began at, over one and the same caseload."""
    old = made.program_at(BEFORE, folder / "old")
    if old is None:
        print(f"since {BEFORE}: skipped, the history of this checkout does not reach back to it")
        return
    then = made.caseload_by(old, folder / "then")
    now = shutil.copytree(then, folder / "now")  # brought up when it is first opened, in the turn that does not count
    report = ["report", made.CODE, "--kind", "monthly", "--to"]
    for what, words, aim in (("progress, 9 probes", ["progress", made.CODE], "<= 0.55"),
                             ("report, 9 probes", [*report, "NEW/monthly.pdf"], "<= 0.7")):  # fmt: skip
        before = python(made.OLD + made.COMMAND, old, *words, "--caseload", then)
        yield Job(what, f"the same at {BEFORE}", sibilant(*words, "--caseload", now), before, aim)
    first = python(FIRST_PAGE, now, made.CODE), python(made.OLD + FIRST_PAGE, old, then, made.CODE)
    yield Job("page, the first progress", f"the same at {BEFORE}", *first, "<= 0.6")


def sounds(folder: Path) -> Iterator[Job]:
    """Measuring: one recording, and a corpus on one core."""
    two = made.two_minutes(folder)
    ours, plain = sibilant("measure", two, "--words", "core-a"), python(READ_AND_STFT, two)
    yield Job("measure, two minutes", "reading and one STFT", ours, plain, "<= 3")
    bare, listed = made.ten_probes(folder / "ten")
    script, by_hand = python(PLAIN_SCRIPT, folder / "ten"), "threshold and four moments"
    to = ["--to", "NEW/to", "--workers", 1]
    yield Job("corpus of 200, words not given", by_hand, sibilant("corpus", bare, *to), script, "")
    many = made.links(bare, folder / "many", 5)  # so that starting up is a small part of either
    script_of_many = python(PLAIN_SCRIPT, many.parent)
    yield Job("corpus of 1,000, words not given", by_hand, sibilant("corpus", many, *to), script_of_many, "<= 1")
    yield Job("corpus of 200, by list", by_hand, sibilant("corpus", listed, *to), script, "")


def tokens(folder: Path) -> Iterator[Job]:
    """Measuring alone, everything loaded, against the commit that this work began at and the script by hand."""
    bare, listed = made.ten_probes(folder / "ten")
    what = "tokens of 200, words not given, in one process"
    plain = python(PLAIN_IN_ONE, folder / "ten")
    yield Job(what, "threshold and four moments, in one process", python(TOKENS, bare), plain, "<= 1", printed=True)
    old = made.program_at(BEFORE, folder / "old")
    if old is None:
        print(f"tokens since {BEFORE}: skipped, the history of this checkout does not reach back to it")
        return
    for name, manifest, aim in ((what, bare, "<= 0.38"),
                                ("tokens of 200, by list, in one process", listed, "<= 0.56")):  # fmt: skip
        ours, theirs = python(TOKENS, manifest), python(made.OLD + TOKENS, old, manifest)
        yield Job(name, f"the same at {BEFORE}", ours, theirs, aim, printed=True)


def workers(folder: Path) -> Iterator[Job]:
    """Two workers by the clock, to be run on an idle machine (its load stands in the row), and what gathering costs."""
    few, _ = made.ten_probes(folder / "few")
    many = made.links(few, folder / "many", 5)
    for what, manifest in (("1,000", many), ("4,000", made.links(few, folder / "more", 20))):  # starting up tells less
        two, one = (python(BY_THE_CLOCK, "corpus", manifest, "--to", "NEW/to", "--workers", n) for n in (2, 1))
        yield Job(f"corpus of {what}, two workers by the clock", "one worker", two, one, "<= 0.56", printed=True)
    gathered, allowed = python(GATHERER, few, many, "NEW"), python("print('FIGURE 0.0002')")
    yield Job("gathering from two workers, a token", "0.2 ms", gathered, allowed, "<= 1", printed=True)


def growth(folder: Path) -> Iterator[Job]:
    """Cost of one of many against one of few; a word's at n^1.15 is 1.41 times at ten times the list."""
    few, _ = made.ten_probes(folder / "few")
    many = made.links(few, folder / "many", 10)
    to = ["--to", "NEW/to", "--workers", 1]
    ours, theirs = sibilant("corpus", many, *to), sibilant("corpus", few, *to)
    yield Job("corpus, a sibilant of 2,000", "one of 200", ours, theirs, "<= 1", share=0.1)
    for name, large, small, aim in (("views", 384, 24, "<= 1.2"), ("words", 200, 20, "<= 1.41")):
        ours, theirs = figure(name, large), figure(name, small)
        yield Job(f"{name}, one of {large}", f"one of {small}", ours, theirs, aim, printed=True)


VERBS = {
    "progress": "progress CODE", "progress, encrypted": "progress CODE", "session list": "session list CODE",
    "session show": "session show CODE 1", "session change": "session change CODE 1 --room quiet",
    "client show": "client show CODE", "client change": "client change CODE --dialect Scottish",
    "client hold": "client hold CODE --because asked", "judge": "judge CODE 1 --rater R1 --from JUDGED",
    "review": "review CODE 1 --rater R1 --from REVIEWED", "agree": "agree CODE", "event": "event CODE cold",
    "event, encrypted": "event CODE cold", "event --list": "event CODE --list", "goal list": "goal list CODE",
    "visit": "visit CODE --on 2026-03-02", "practice": "practice CODE --words pool-s-initial --to NEW/sheet.pdf",
    "report": "report CODE --kind monthly --to NEW/monthly.pdf", "export": "export CODE --to NEW/out",
}  # fmt: skip
"""Commands over one client; ``client list`` and ``caseload`` go over all, and cost by the client by their nature."""


def clients(folder: Path) -> Iterator[Job]:
    """Every kind of verb over one client, in a caseload of 1,000 clients with a probe each against one of ten."""
    kept = {n: made.caseload(folder / str(n), n_clients=n, n_sessions=1) for n in (10, 1000)}
    sealed = {n: made.encrypted(one, folder / f"{n}-encrypted") for n, one in kept.items()}
    places = {"CODE": made.CODE, "JUDGED": str(folder / "judged.csv"), "REVIEWED": str(folder / "reviewed.csv")}
    (folder / "judged.csv").write_text("prompt_index,attempt,slot,accuracy\n1,1,1,correct\n", encoding="utf-8")
    head = "prompt_index,attempt,slot,onset_s,offset_s,voice,counts"
    (folder / "reviewed.csv").write_text(f"{head}\n1,1,1,,,,\n", encoding="utf-8")
    for name, words in VERBS.items():
        verb = [places.get(word, word) for word in words.split()]
        among = sealed if "encrypted" in name else kept
        ours, theirs = (sibilant(*verb, "--caseload", among[n]) for n in (1000, 10))
        yield Job(f"{name}, 1,000 clients", "10 clients", ours, theirs, "<= 1.2")


GROUPS = {
    "starts": starts, "since": since, "sounds": sounds, "tokens": tokens, "workers": workers, "growth": growth,
    "clients": clients,
}  # fmt: skip


def cost_s(command: list[str], *, printed: bool) -> float:
    """User and system time of a whole process, or the figure it prints."""
    told, spent = ran(command)
    return float(told.rsplit("FIGURE", 1)[1].split()[0]) if printed else spent


def ran(command: list[str]) -> tuple[str, float]:
    """What a process prints, and its user and system time; NEW is a new folder each time."""
    with tempfile.TemporaryFile() as said, tempfile.TemporaryDirectory() as new:
        words = [word.replace("NEW", new) for word in command]
        process = subprocess.Popen(words, stdout=said, stderr=subprocess.PIPE, cwd=HERE, env=environment())
        assert process.stderr is not None
        complaint = process.stderr.read().decode()
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            raise SystemExit(f"{' '.join(command[-4:])}: exit {process.returncode}\n{complaint[-2000:]}")
        said.seek(0)
        return said.read().decode(), used.ru_utime + used.ru_stime


@lru_cache(maxsize=1)
def environment() -> dict[str, str]:
    """This run's environment with compiled modules kept in a folder of its own, as an installed program has them.

    The first turn, which does not count, compiles them; without it every process would compile all that it imports.
    """
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    folder = tempfile.mkdtemp(prefix="bench-compiled-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    kept |= {"SIBILANT_PASSPHRASE": made.PASSPHRASE}
    return {**kept, "PYTHONPYCACHEPREFIX": folder, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


def compared(job: Job, turns: int) -> dict[str, str]:
    """Run a job and its counterpart in turns; the first turn warms the disk and does not count."""
    pairs, load = [], os.getloadavg()[0]
    for turn in range(turns + 1):
        pair = cost_s(job.ours, printed=job.printed), cost_s(job.theirs, printed=job.printed)
        if turn:
            pairs.append(pair)
    ratios = sorted(job.share * ours / theirs for ours, theirs in pairs)
    middle = [statistics.median(costs) for costs in zip(*pairs, strict=True)]
    figures = (statistics.median(ratios), ratios[0], ratios[-1])
    return dict(zip(HEAD, (job.what, job.against, *(f"{r:.2f}" for r in figures), *(f"{m:.4g}" for m in middle),
                           str(turns), job.aim, commit(), f"{load:.1f}"), strict=True))  # fmt: skip


def commit() -> str:
    """The commit at hand, with a plus where files differ from it."""

    def git(*words: str) -> str:
        return subprocess.run(["git", *words], cwd=made.ROOT, capture_output=True, text=True, check=False).stdout

    changed = git("status", "--porcelain", "--untracked-files=no", "--", "sibilant", "cli").strip()
    return git("rev-parse", "--short", "HEAD").strip() + ("+" if changed else "")


def kept() -> list[dict[str, str]]:
    """Figures of earlier runs."""
    return list(csv.DictReader(EVIDENCE.read_text(encoding="utf-8").splitlines())) if EVIDENCE.exists() else []


def keep(row: dict[str, str]) -> None:
    """Write a figure beside the others; one of the same job and commit goes."""
    rows = [one for one in kept() if any(one[key] != row[key] for key in SAME)] + [row]
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, HEAD, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def told(row: dict[str, str], before: list[dict[str, str]]) -> str:
    """One line: the ratio, its spread, the aim, and what the last other commit had."""
    last = [one for one in before if all(one[key] == row[key] for key in SAME[:2]) and one["commit"] != row["commit"]]
    was = f"  was {last[-1]['ratio']} at {last[-1]['commit']}" if last else ""
    aim = f"  aim {row['aim']}" if row["aim"] else ""
    spread = f"{row['ratio']:>6} ({row['lowest']}-{row['highest']})"
    return f"{row['what']:<40} {spread:<22} x {row['against']}{aim}{was}"


def main() -> None:
    """Run what was asked."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--turns", type=int, default=3)
    asked.add_argument("--only", choices=GROUPS, action="append", help="a group of jobs; all of them without")
    words = asked.parse_args()
    before = kept()
    for name in words.only or GROUPS:
        with tempfile.TemporaryDirectory() as folder:
            for job in GROUPS[name](Path(folder)):
                row = compared(job, words.turns)
                keep(row)
                print(told(row, before), flush=True)


if __name__ == "__main__":
    main()
