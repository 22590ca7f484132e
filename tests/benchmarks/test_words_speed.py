"""Finding words: ratio to the reading of the sound's own short-time spectrum, and memory on a long recording."""

from __future__ import annotations

import time
import tracemalloc

import numpy as np
import pytest

from sibilant import lexicon, synthetic
from sibilant.terms import Recording, Source
from sibilant.words import find_words


def probe_of(copies: int) -> tuple[Recording, list[object]]:
    prompts = lexicon.builtin_list("core-a")
    said = synthetic.probe(prompts, synthetic.woman(3), 3)
    samples = np.tile(said.samples, copies)
    return Recording(samples, said.sampling_rate_hz, Source("probe", "")), list(prompts) * copies


@pytest.mark.benchmark
def test_two_minutes_cost_less_than_four_spectrograms() -> None:
    """Against one scipy STFT (nperseg 882, noverlap 441) of the same recording in the same run."""
    from scipy.signal import stft

    recording, prompts = probe_of(4)

    def best(run) -> float:
        times = []
        for _ in range(3):
            begin = time.process_time()
            run()
            times.append(time.process_time() - begin)
        return min(times)

    ours = best(lambda: find_words(recording, prompts))
    theirs = best(lambda: stft(recording.samples, recording.sampling_rate_hz, nperseg=882, noverlap=441))
    faster = recording.duration_s / ours
    print(f"{recording.duration_s:.0f} s: {ours:.3f} s of processor, {faster:.0f} times real time; STFT {theirs:.3f} s")
    assert ours < 4.0 * theirs


@pytest.mark.benchmark
def test_memory_grows_far_slower_than_the_recording() -> None:
    recording, prompts = probe_of(40)
    tracemalloc.start()
    find_words(recording, prompts)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    minutes, samples_mb = recording.duration_s / 60, recording.samples.nbytes / 1e6
    print(f"{minutes:.0f} min, {samples_mb:.0f} MB of samples: {peak / 1e6:.0f} MB more")
    assert peak < 250e6
