"""Judging a two-minute recording against measuring it, in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from sibilant.audio import recording_from_samples
from sibilant.lexicon import builtin_list
from sibilant.pipeline import analyse
from sibilant.suitability import assess
from sibilant.synthetic import ProbePlan, child_speaker, probe

pytestmark = pytest.mark.benchmark


def least(work: Callable[[], object], n_runs: int = 5) -> float:
    """Least processor time of several runs in seconds, after one that doesn't count."""
    work()
    times = []
    for _ in range(n_runs):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return min(times)


def test_judging_takes_under_half_of_measuring() -> None:
    """Two minutes at 44.1 kHz: forty words with long pauses."""
    prompts = builtin_list("core-a") + builtin_list("core-b")
    spoken = probe(prompts, child_speaker(5), 5, plan=ProbePlan(pause_s=(2.2, 2.6)))
    recording = recording_from_samples(np.asarray(spoken.samples), 44_100)
    analysis = analyse(recording, prompts)
    sounds = [sound.edges for sound in analysis.sounds if sound.edges is not None]
    words = [sound.utterance.interval if sound.utterance else None for sound in analysis.sounds if sound.edges]
    judging = least(lambda: assess(recording, sounds, words=words))
    measuring = least(lambda: analyse(recording, prompts))
    print(
        f"\n{recording.duration_s:.0f} s, {len(sounds)} sibilants: judging {judging:.3f} s,"
        f" measuring (words, edges, spectra, judging) {measuring:.3f} s, ratio {judging / measuring:.2f}"
    )
    assert judging < 0.5 * measuring
