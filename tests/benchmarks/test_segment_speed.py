"""Cost of bounding sibilants against one plain STFT of the same samples. Invented data – not a person."""

from __future__ import annotations

import time
import tracemalloc

import numpy as np
import pytest
from scipy import signal

from sibilant.boundaries import find_all, find_sibilants
from sibilant.levels import coarse_levels
from sibilant.lexicon import builtin_list
from sibilant.synthetic import ProbePlan, probe, woman
from sibilant.terms import Recording, Source
from sibilant.words import find_words


def invented(n_prompts: int) -> tuple[Recording, tuple]:
    prompts = (*builtin_list("core-a"), *builtin_list("core-b"))[:n_prompts]
    spoken = probe(prompts, woman(4), 1, plan=ProbePlan(snr_db=35.0))
    return Recording(spoken.samples, spoken.sampling_rate_hz, Source("invented", "")), prompts


def seconds(task) -> float:
    best = float("inf")
    for _ in range(3):
        begin = time.process_time()
        task()
        best = min(best, time.process_time() - begin)
    return best


@pytest.mark.benchmark
def test_cost_against_one_stft() -> None:
    # brief of the room: more than 300 times real time on one core for the bounding, voicing apart
    recording, prompts = invented(40)
    utterances = find_words(recording, prompts).utterances
    stft = seconds(lambda: signal.stft(recording.samples, recording.sampling_rate_hz, nperseg=882, noverlap=441))
    bounding = seconds(lambda: [find_sibilants(recording, u) for u in utterances])
    coarse = seconds(lambda: coarse_levels(recording))
    print(f"\n{recording.duration_s:.0f} s: stft {stft:.3f} s, coarse {coarse:.3f} s, bounding {bounding:.3f} s")
    print(f"bounding {recording.duration_s / bounding:.0f} times real time, {bounding / stft:.1f} times the STFT")
    assert coarse < 1.0 * stft and bounding < 6.0 * stft
    assert recording.duration_s / bounding > 150.0


def test_memory_does_not_grow_with_length() -> None:
    # two hours have to work: beyond the samples themselves the bound is one 30 s block and the coarse levels
    recording, _ = invented(4)
    n = round(240 * recording.sampling_rate_hz)
    long = Recording(np.resize(recording.samples, n), recording.sampling_rate_hz, recording.source)
    tracemalloc.start()
    sounds = find_all(long)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"\n{len(sounds)} sounds, {peak / 1e6:.0f} MB beyond the samples")
    assert sounds and peak < 40e6
