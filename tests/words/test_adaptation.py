"""What a recording teaches about its speaker: signals whose colour is known, and no word speaking for itself.

Invented data – not a person.
"""

from __future__ import annotations

import numpy as np

from sibilant import lexicon, synthetic
from sibilant.terms import Recording, Source
from sibilant.words import finding
from sibilant.words.adaptation import KNOWN_TIMES, UNKNOWN_TIMES, no_adaptation
from sibilant.words.band_templates import CLASSES, N_BANDS
from sibilant.words.features import Features, features_near
from sibilant.words.other_speaker import other_speaker_ratios
from sibilant.words.phone_model import phone_model
from sibilant.words.speaker import adapted_to
from sibilant.words.viterbi import change_weights, emissions


def heard(speaker: synthetic.Speaker, n: int, seed: int) -> tuple[Features, np.ndarray, list]:
    """Features of the first ``n`` words of a list said in quiet, frames of each, and their chains."""
    prompts = lexicon.builtin_list("core-a")[:n]
    said = synthetic.probe(prompts, speaker, seed)
    recording = Recording(said.samples, said.sampling_rate_hz, Source("list", ""))
    spans = [s.interval for s in said.truth.stretches if s.kind == "word"]
    features = features_near(recording, finding.pieces_s(recording))
    frames = np.array([(features.frame(s.onset_s) - 2, features.frame(s.offset_s) + 2) for s in spans])
    return features, np.clip(frames, 0, features.n_frames), [phone_model(p) for p in prompts]


def test_a_tilt_of_the_microphone_is_learnt() -> None:
    """Truth on paper: 12 dB from the lowest to the highest band, put on the levels, comes back in what is learnt."""
    features, frames, chains = heard(synthetic.woman(7), 12, 7)
    tilt = np.linspace(6.0, -6.0, N_BANDS).astype(np.float32)
    tilted = Features(features.level_db + tilt, features.noise_db + tilt, features.n_bands, features.clock)
    plain, coloured = (adapted_to(f, 1.0, frames, chains).whole.shift_db for f in (features, tilted))
    vowels = [CLASSES.index(name) for name in ("AE", "AH", "S")]
    learnt = (coloured - plain)[vowels].mean(axis=0)
    assert np.corrcoef(learnt, tilt)[0, 1] > 0.9
    assert 6.0 < learnt[0] - learnt[-1] < 15.0


def test_no_word_speaks_for_itself() -> None:
    """Whatever a word's own frames hold, the colour it is scored with stays the same."""
    features, frames, chains = heard(synthetic.man(3), 8, 3)
    before = {own[:2]: own[2] for own in adapted_to(features, 1.0, frames, chains).own}
    first, last = (int(x) for x in frames[4])
    level = features.level_db.copy()
    level[first:last, 5:] += 9.0
    changed = Features(level, features.noise_db, features.n_bands, features.clock)
    after = adapted_to(changed, 1.0, frames, chains)
    own = {part[:2]: part[2] for part in after.own}
    np.testing.assert_allclose(own[first, last].shift_db, before[first, last].shift_db, atol=1e-5)
    other = tuple(int(x) for x in frames[0])
    assert np.abs(own[other].shift_db - before[other].shift_db).max() > 0.05


def test_spreads_shrink_only_for_what_was_heard() -> None:
    features, frames, chains = heard(synthetic.woman(7), 12, 7)
    times = adapted_to(features, 1.0, frames, chains).whole.times
    assert times[CLASSES.index("S")].max() < 0.5 * (KNOWN_TIMES + UNKNOWN_TIMES)
    np.testing.assert_allclose(times[CLASSES.index("ZH")], UNKNOWN_TIMES, rtol=1e-6)


def test_steady_frames_count_less_than_changing_ones() -> None:
    level = np.zeros((60, N_BANDS), np.float32)
    level[20:30] = np.linspace(0, 30, 10)[:, None] * np.linspace(0, 1, N_BANDS)
    level[30:] = level[29]
    weights = change_weights(Features(level, level - 40.0, N_BANDS, np.arange(60)))
    assert weights[5:15].max() < 0.5 < 1.5 < weights[22:28].min()


def test_another_speaker_in_the_same_room_is_strange() -> None:
    """Four of a man's words after twelve of a woman's stand out; nothing is said of few pieces, or before learning."""
    hers, frames, chains = heard(synthetic.woman(7), 12, 7)
    his, his_frames, _ = heard(synthetic.man(3), 4, 3)
    n = hers.n_frames
    mixed = Features(
        np.concatenate([hers.level_db, his.level_db]),
        np.concatenate([hers.noise_db, his.noise_db]),
        hers.n_bands,
        np.arange(n + his.n_frames),
    )
    learnt = adapted_to(mixed, 1.0, frames, chains)
    every = np.concatenate([frames, his_frames + n])
    found = other_speaker_ratios(mixed, every, (emissions(mixed, 1.0, learnt), 1.0, learnt))
    assert found[-4:].mean() > found[:-4].mean() + 1.5, found
    assert np.median(found[:-4]) < 0.0
    assert not other_speaker_ratios(mixed, every[:5], (emissions(mixed, 1.0, learnt), 1.0, learnt)).any()
    flat = no_adaptation()
    assert not other_speaker_ratios(mixed, every, (emissions(mixed, 1.0, flat), 1.0, flat)).any()
