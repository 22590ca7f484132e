"""What measuring a two-minute probe costs against reading it and one STFT of it, in the same run."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from scipy.signal import stft

from sibilant.audio import write_wav
from sibilant.lexicon import builtin_list
from sibilant.listening.measure import MeasureRequest, measure
from sibilant.synthetic import ProbePlan, child_speaker, probe

pytestmark = pytest.mark.benchmark


def best_of(n_runs: int, work: Callable[[], object]) -> float:
    """Least time of several runs in seconds, after one that doesn't count."""
    work()
    times = []
    for _ in range(n_runs):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


@pytest.fixture(scope="module")
def two_minutes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two minutes at 44.1 kHz: 20 words, padded with the room's own quiet between them."""
    spoken = probe(builtin_list("core-a"), child_speaker(5), 5, plan=ProbePlan(pause_s=(5.0, 5.6)))
    samples = np.asarray(spoken.samples)[: 120 * 44100]
    path = tmp_path_factory.mktemp("bench") / "probe.wav"
    write_wav(path, samples, 44100)
    return path


def test_measure_against_reading_and_one_stft(
    two_minutes: Path, record_property: Callable[[str, object], None]
) -> None:
    """Aim: at most 8 times reading and one STFT (nperseg 882, noverlap 441)."""

    def plain() -> None:
        samples, rate = sf.read(two_minutes, dtype="float32")
        stft(samples, rate, nperseg=882, noverlap=441)

    ours = best_of(5, lambda: measure(MeasureRequest([two_minutes], words="core-a")))
    theirs = best_of(5, plain)
    record_property("ratio", ours / theirs)
    print(f"\nmeasure {ours:.3f} s, read + STFT {theirs:.3f} s, ratio {ours / theirs:.1f} (aim at most 8)")


def test_whole_process_and_its_memory(two_minutes: Path) -> None:
    """The whole command, imports included; aim for memory: under 400 MB."""
    code = (
        "import sys; from sibilant_cli.main import run; assert run(sys.argv[1:]) == 0;"
        "print([line for line in open('/proc/self/status') if line.startswith('VmHWM')][0])"
    )
    command = [sys.executable, "-c", code, "measure", str(two_minutes), "--words", "core-a"]
    begin = time.perf_counter()
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    took = time.perf_counter() - begin
    peak = int(done.stdout.rsplit("VmHWM:", 1)[1].split()[0]) / 1024
    print(f"\nwhole process {took:.2f} s, peak memory {peak:.0f} MB (aim under 400)")
    assert peak < 400
