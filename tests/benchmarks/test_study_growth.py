"""A study's cost a row at 10,000 rows against that at 1,000, in one run (user and system time of whole processes)."""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

MEASURES = ("core_duration_ms", "centroid_hz", "sd_hz", "skewness", "excess_kurtosis", "peak_hz", "tonality_db")


def written(path: Path, n_speakers: int, n_words: int) -> Path:
    """A table of seven measures; each fifth speaker has both groups. Invented data – not a person."""
    rng = np.random.default_rng(1)
    s, w = np.repeat(np.arange(n_speakers), n_words), np.tile(np.arange(n_words), n_speakers)
    g = np.where(s % 5 == 0, w % 2, s % 2)
    frame = pd.DataFrame(
        {"speaker": [f"S{k}" for k in s], "prompt": [f"w{k}" for k in w], "type": np.array(["a", "b"])[g]}
    )
    for measure in MEASURES:
        spread = rng.normal(0, 1, n_speakers)[s] + 0.4 * rng.normal(0, 1, n_words)[w]
        frame[measure] = spread + 0.3 * rng.normal(0, 1, (n_speakers, 2))[s, g] + rng.normal(0, 1, s.size)
    frame.to_csv(path, index=False)
    return path


def cost_s(table: Path, to: Path) -> float:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "sibilant_cli", "study", str(table), "--by", "type", "--to", str(to)]
    subprocess.run(command, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@pytest.mark.benchmark
def test_ten_times_the_rows_cost_at_most_fifteen_times(tmp_path: Path) -> None:
    small = cost_s(written(tmp_path / "small.csv", 20, 50), tmp_path / "a")
    large = cost_s(written(tmp_path / "large.csv", 100, 100), tmp_path / "b")
    print(f"1,000 rows {small:.1f} s, 10,000 rows {large:.1f} s, a row {large / small / 10:.2f} times")
    assert large / 10 <= 1.5 * small


@pytest.mark.benchmark
def test_a_hundred_thousand_rows_in_two_gigabytes(tmp_path: Path) -> None:
    took = cost_s(written(tmp_path / "many.csv", 1000, 100), tmp_path / "c")
    peak_gb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
    print(f"100,000 rows of 1,000 speakers: {took:.0f} s, {peak_gb:.2f} GB")
    assert took < 300 and peak_gb < 2.0
