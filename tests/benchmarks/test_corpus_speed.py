"""Tokens a second of a corpus run: two workers against one, against the obvious script, and how it grows."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from sibilant.audio import write_wav
from sibilant.lexicon import builtin_list
from sibilant.synthetic import ProbePlan, probe, woman

pytestmark = pytest.mark.benchmark
EVIDENCE = Path(__file__).parents[2] / "docs/evidence/corpus_speed.csv"

OBVIOUS = """
import sys, csv
import librosa, numpy as np, parselmouth
from parselmouth.praat import call
source, to = sys.argv[1:]
rows = []
with open(source) as stream:
    for line in csv.DictReader(stream):
        sound = parselmouth.Sound(source.rsplit('/', 1)[0] + '/' + line['recording'])
        a, b = float(line['onset_s']), float(line['offset_s'])
        quarter = (b - a) / 4
        part = sound.extract_part(a + quarter, b - quarter)
        spectrum = part.to_spectrum()
        rows.append([line['recording'], a, b] + [call(spectrum, name, 2) for name in
            ('Get centre of gravity...', 'Get standard deviation...', 'Get skewness...', 'Get kurtosis...')])
        power = np.abs(librosa.stft(part.values[0], n_fft=1024)) ** 2
        rows[-1].append(librosa.fft_frequencies(sr=sound.sampling_frequency, n_fft=1024)[power.mean(axis=1).argmax()])
with open(to, 'w') as stream:
    csv.writer(stream).writerows(rows)
"""
"""What one would write by hand: four moments and a peak, the recording opened anew for each token."""

MEASURED = (
    "import resource, sys; from sibilant_cli.main import run; assert run(sys.argv[1:]) == 0;"
    "own = [line for line in open('/proc/self/status') if line.startswith('VmHWM')][0].split()[1];"
    "print('PEAK', own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
)
"""Prints in kB the peak of the gathering process and that of its largest worker."""


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[tuple[float, float]]]:
    """One invented recording of twenty words and where its sibilants truly lie."""
    said = probe(builtin_list("core-a"), woman(5), 5, plan=ProbePlan(pause_s=(0.35, 0.6)))
    path = tmp_path_factory.mktemp("speed") / "one.wav"
    write_wav(path, said.samples, said.sampling_rate_hz)
    marked = [(s.interval.onset_s, s.interval.offset_s) for s in said.truth.sibilants if s.interval is not None]
    return path, marked


def corpus_of(spoken: tuple[Path, list[tuple[float, float]]], folder: Path, n_tokens: int) -> Path:
    """A manifest of marked stretches in as many hard links of the recording as are needed."""
    path, marked = spoken
    folder.mkdir()
    lines = ["recording,onset_s,offset_s,label"]
    for number in range(-(-n_tokens // len(marked))):
        os.link(path, folder / f"{number:06d}.wav")
        lines += [f"{number:06d}.wav,{a:.4f},{b:.4f},s" for a, b in marked][: n_tokens - len(lines) + 1]
    (folder / "manifest.csv").write_text("\n".join(lines))
    return folder / "manifest.csv"


def timed(command: list[str]) -> tuple[float, str]:
    begin = time.perf_counter()
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return time.perf_counter() - begin, done.stdout


def corpus_run(manifest: Path, to: Path, workers: int) -> tuple[float, float, float]:
    """Seconds of the whole process, its peak memory and that of its largest worker, in MB."""
    asked = ["corpus", str(manifest), "--to", str(to), "--workers", str(workers)]
    took, said = timed([sys.executable, "-c", MEASURED, *asked])
    own, worker = said.rsplit("PEAK", 1)[1].split()
    return took, int(own) / 1024, int(worker) / 1024


def test_two_workers_one_and_the_obvious_script(
    spoken: tuple[Path, list[tuple[float, float]]], tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """The same marked stretches; the script gives 5 figures a token, the run about 40 with intervals and checks."""
    n = 1000
    manifest = corpus_of(spoken, tmp_path / "c", n)
    best: dict[str, float] = {}
    for turn in range(2):
        for workers in (1, 2):
            took, *_ = corpus_run(manifest, tmp_path / f"to{turn}{workers}", workers)
            best[f"{workers} workers"] = min(took, best.get(f"{workers} workers", took))
        took, _ = timed([sys.executable, "-c", OBVIOUS, str(manifest), str(tmp_path / "by_hand.csv")])
        best["obvious script"] = min(took, best.get("obvious script", took))
    for name, took in best.items():
        record_property(name, n / took)
        print(f"\n{name}: {n / took:.1f} tokens/s ({took:.1f} s for {n} tokens, start-up included)", end="")


def grown(spoken: tuple[Path, list[tuple[float, float]]], folder: Path, sizes: tuple[int, ...]) -> list[list[object]]:
    rows: list[list[object]] = []
    for n in sizes:
        took, peak, worker = corpus_run(corpus_of(spoken, folder / f"c{n}", n), folder / f"to{n}", 2)
        rows.append([n, round(took, 1), round(peak), round(worker), round(n / took, 1)])
        print(f"\n{n} tokens: {took:.1f} s, {n / took:.1f} tokens/s, peak {peak:.0f} + 2 × {worker:.0f} MB", end="")
    return rows


def test_memory_stays_flat(spoken: tuple[Path, list[tuple[float, float]]], tmp_path: Path) -> None:
    small, large = grown(spoken, tmp_path, (100, 1000))
    assert all(int(str(large[i])) < int(str(small[i])) + 60 for i in (2, 3))


@pytest.mark.long
def test_growth(spoken: tuple[Path, list[tuple[float, float]]], tmp_path: Path) -> None:
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False)
    sizes = tuple(int(n) for n in os.environ.get("SIBILANT_CORPUS_SIZES", "1000,10000").split(","))
    rows = grown(spoken, tmp_path, sizes)
    with EVIDENCE.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(
            ["workers", "n_tokens", "seconds", "peak_memory_mb", "worker_memory_mb", "tokens_per_s", "commit"]
        )
        writer.writerows(["2 processes", *row, commit.stdout.strip()] for row in rows)
