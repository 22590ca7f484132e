"""How many times faster than real time speech is invented (aim: 50, one core, 44.1 kHz; processor time)."""

from __future__ import annotations

import time

import pytest

from sibilant.synthetic import ProbePlan, child_speaker, probe, say, woman
from sibilant.terms import Prompt, Word

WORDS = {
    "seal": "S IY1 L",
    "castle": "K AE1 S AH0 L",
    "goose": "G UW1 S",
    "star": "S T AA1 R",
    "splash": "S P L AE1 SH",
}
PROMPTS = tuple(Prompt(w, (Word(w, tuple(p.split())),)) for w, p in WORDS.items()) * 8


@pytest.mark.benchmark
def test_speed_of_invented_speech() -> None:
    probe(PROMPTS[:2], woman(1), 1)
    started = time.process_time()
    spoken = probe(PROMPTS, child_speaker(1), 1, plan=ProbePlan(room_t60_s=0.4, snr_db=25.0))
    whole = spoken.duration_s / (time.process_time() - started)
    started, length = time.process_time(), 0.0
    for k, prompt in enumerate(PROMPTS):
        length += say(prompt, woman(1), k).duration_s
    words = length / (time.process_time() - started)
    print(f"\nprobe with room and noise: {whole:.0f} times real time; dry words without pauses: {words:.0f} times")
    assert whole > 50 and words > 50
