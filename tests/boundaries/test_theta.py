"""A /θ/ that a prompt is for is bounded and measured, to be set against /s/; elsewhere it is no place for a sibilant.

Invented data – not a person.
"""

from __future__ import annotations

import numpy as np
import pytest

from sibilant.lexicon import expect
from sibilant.pipeline import analyse
from sibilant.synthetic import ProbePlan, probe, woman
from sibilant.terms import Recording, Source

WORDS = ("thumb", "thin", "bath", "tooth", "thing", "mouth", "think", "path")


def test_a_place_for_it_only_where_the_prompt_is_for_it() -> None:
    assert [slot.phone for slot in expect("bath", target="th").slots] == ["TH"]
    assert expect("bath", target="θ").slots == expect("bath", target="TH").slots
    assert expect("bath").slots == ()
    assert [slot.phone for slot in expect("thirst", target="TH").slots] == ["TH", "S"]


@pytest.mark.parametrize(("snr_db", "within_s"), [(40.0, 0.02), (25.0, 0.035)])
def test_invented_ones_are_bounded_where_they_were_said(snr_db: float, within_s: float) -> None:
    """Against the synthesiser's own plan of the phones: 15 of 16, half of the edges near its ends (20 and 35 ms)."""
    off, n_found = [], 0
    for seed in range(2):
        prompts = [expect(word, target="TH") for word in WORDS]
        said = probe(prompts, woman(seed), seed, plan=ProbePlan(snr_db=snr_db))
        samples = np.ascontiguousarray(said.samples, dtype=np.float32)
        sounds = analyse(Recording(samples, said.sampling_rate_hz, Source("list", "")), prompts).sounds
        truth = {s.prompt_index: next(p.interval for p in s.phones if p.phone == "TH") for s in said.truth.stretches}
        for sound in sounds:
            if sound.slot is not None and sound.edges is not None:
                n_found += 1
                true = truth[sound.prompt_index]
                found = sound.edges.automatic
                off += [abs(found.onset_s - true.onset_s), abs(found.offset_s - true.offset_s)]
    assert n_found >= 15
    assert np.median(off) <= within_s
