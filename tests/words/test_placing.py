"""Every phone of a sentence placed. Invented data – not a person."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest

from sibilant.boundaries import SibilantSearch, find_sibilants
from sibilant.lexicon import expect
from sibilant.synthetic import Room, TrueSibilant, child_speaker, in_room, man, say, woman
from sibilant.terms import Interval, PhonePlaces, Recording, Source, Utterance
from sibilant.words import place_phones
from sibilant.words.forward_backward import occupancy
from sibilant.words.phrase_model import PhraseModel

TEXTS = ("Lucy laughed and passed her a biscuit.", "The skunk and the swan skate in the snow.")
VOICES = {"woman": woman, "man": man, "child": child_speaker}


def test_all_ways_are_summed_as_on_paper() -> None:
    # three units of one frame or more, the middle one left out at a cost of 1; every way through four frames by hand
    model = PhraseModel(
        np.arange(3), np.ones(3, np.int64), np.array([2.0, 3.0, 2.0]), np.array([1e5, 1.0, 1e5]), np.arange(3), 3
    )
    score = np.random.default_rng(2).normal(size=(4, 3))
    stay, leave = np.log(1 - 1 / model.frames), np.log(1 / model.frames)
    total, held = 0.0, np.zeros((4, 3))
    for lengths in product(range(1, 5), range(5), range(1, 5)):
        if sum(lengths) != 4:
            continue
        path = np.repeat(np.arange(3), lengths)
        log_p = score[np.arange(4), path].sum()
        log_p += sum((n - 1) * stay[u] + leave[u] if n else -1.0 for u, n in enumerate(lengths))
        total += np.exp(log_p)
        held[np.arange(4), path] += np.exp(log_p)
    weight, _, log_likelihood = occupancy(score, model)
    assert np.allclose(weight, held / total) and np.isclose(log_likelihood, np.log(total))


def read(
    voice: str, text: str, kinds: list[str], *, room: bool
) -> tuple[PhonePlaces, SibilantSearch, tuple[TrueSibilant, ...]]:
    prompt = expect(text, level="sentence")
    speaker = VOICES[voice](41)
    made = in_room(
        say(prompt, speaker, 8, sibilant_type=kinds), speaker, 8, room=Room(0.5, 6.0) if room else None, snr_db=35.0
    )
    recording = Recording(np.asarray(made.samples, np.float32), made.sampling_rate_hz, Source("invented", ""))
    stretch = made.truth.stretches[0].interval
    said = Utterance(prompt, 1, 1, Interval(max(0.0, stretch.onset_s - 0.05), stretch.offset_s + 0.05))
    (places,) = place_phones(recording, [said])
    assert places is not None
    return places, find_sibilants(recording, said, places), made.truth.sibilants


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("room", [False, True])
@pytest.mark.parametrize("left_out", [0, 1])
def test_a_left_out_sibilant_does_not_shift_the_others(voice: str, room: bool, left_out: int) -> None:
    for text in TEXTS:
        kinds = [""] * len(expect(text).slots)
        kinds[left_out] = "omitted"
        _, search, true = read(voice, text, kinds, room=room)
        where = {t.slot_index: t.interval for t in true}
        readings = {reading.slot.index: reading for reading in search.readings}
        assert set(readings) == set(range(1, len(kinds) + 1))
        for sound in search.found:
            if sound.slot is not None and sound.slot.index != left_out + 1:
                assert sound.automatic.overlap_s(where[sound.slot.index]) > 0.03
                assert readings[sound.slot.index].sure
        assert len(search.found) >= len(kinds) - 1


def test_places_hold_every_phone_in_order() -> None:
    places, _, _ = read("woman", TEXTS[0], [""] * len(expect(TEXTS[0]).slots), room=False)
    middles = [places.place(k) for k in range(places.n_phones)]
    assert all(a.onset_s <= b.offset_s for a, b in pairwise(middles))
    assert "sibilant" in places.reader and np.all(places.weight.sum(axis=0) < 1.001)


def test_single_words_are_read_as_before() -> None:
    recording = Recording(np.zeros(8000, np.float32), 16000, Source("silence", ""))
    assert place_phones(recording, [Utterance(expect("seal"), 1, 1, Interval(0.0, 0.5))]) == (None,)
