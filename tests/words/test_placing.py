"""Every phone of a sentence placed. Invented data – not a person."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest

from sibilant.boundaries import SibilantSearch, find_sibilants, meeting
from sibilant.boundaries.reading import absent_reading
from sibilant.lexicon import expect, slots_of
from sibilant.synthetic import Room, TrueSibilant, child_speaker, in_room, man, say, woman
from sibilant.terms import Interval, PhonePlaces, Recording, Source, Utterance, Word
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


def said_with(phones: dict[int, str], text: str, voice: str, seed: int) -> tuple[PhonePlaces, SibilantSearch]:
    """A sentence in which some phones, by their place, are said as others; its sibilants as they were asked for."""
    prompt = expect(text, level="sentence")
    words, at = [], 0
    for word in prompt.words:
        said = tuple(phones.get(at + k, phone) for k, phone in enumerate(word.phones))
        words.append(Word(word.spelling, said))
        at += len(word.phones)
    speaker = VOICES[voice](seed)
    changed = replace(prompt, words=tuple(words), slots=slots_of(tuple(words)))
    made = in_room(say(changed, speaker, seed), speaker, seed, snr_db=35.0)
    recording = Recording(np.asarray(made.samples, np.float32), made.sampling_rate_hz, Source("invented", ""))
    stretch = made.truth.stretches[0].interval
    utterance = Utterance(prompt, 1, 1, Interval(max(0.0, stretch.onset_s - 0.05), stretch.offset_s + 0.05))
    (places,) = place_phones(recording, [utterance])
    assert places is not None
    return places, find_sibilants(recording, utterance, places)


@pytest.mark.parametrize("voice", VOICES)
def test_faint_frication_in_place_of_a_sibilant_is_not_called_absent(voice: str) -> None:
    text = TEXTS[0]
    slot = expect(text).slots[-1]  # the /s/ of biscuit, said as /θ/
    for seed in (5, 17, 23):
        places, search = said_with({slot.phone_index: "TH"}, text, voice, seed)
        assert places.said_somehow[slot.phone_index] >= places.said[slot.phone_index] - 1e-6
        own = next(reading for reading in search.readings if reading.slot.index == slot.index)
        found = slot.index in {sound.slot.index for sound in search.found if sound.slot is not None}
        assert found or not own.sure


def test_two_sibilants_that_share_a_short_hiss_are_not_sure() -> None:
    # the second /s/ of "Bess slid" left out: one hiss of ordinary length for two
    _, search, _ = read("woman", "Bess slid first.", ["", "omitted", ""], room=False)
    halves = [s.slot.index for s in search.found if s.slot is not None and s.automatic.duration_s < 0.065]
    sure = {reading.slot.index: reading.sure for reading in search.readings}
    assert halves == [1, 2] and not any(sure[index] for index in halves)
    _, search, _ = read("woman", "Bess slid first.", ["", "", ""], room=False)
    assert all(reading.sure for reading in search.readings)


def test_the_longer_a_shared_hiss_the_likelier_both_were_said() -> None:
    # the formula of ``meeting`` by hand: two normal distributions of the log ratio to one sibilant's length
    places, _ = said_with({}, "Bess slid first.", "woman", 3)
    slots = expect("Bess slid first.").slots
    others = [k for k in range(places.n_phones) if k not in {slot.phone_index for slot in slots}]
    one_s = float(np.exp(meeting.expected(places, slots[1], others)))
    shares = [meeting.all_said(places, Interval(1.0, 1.0 + r * one_s), slots[:2], others) for r in (0.7, 1.0, 2.0)]
    prior = meeting.SAID**2
    for r, share in zip((0.7, 1.0, 2.0), shares, strict=True):
        two, one = (np.exp(-(((np.log(r) - m) / meeting.SPREAD) ** 2) / 2) for m in (meeting.LONGER, 0.0))
        assert share == pytest.approx(prior * two / (prior * two + (1 - prior) * one), abs=1e-6)
    assert shares == sorted(shares) and shares[0] < 0.6 < 0.85 < shares[2]
    assert meeting.all_said(places, Interval(1.0, 1.1), slots[:1], others) == 1.0


def test_an_added_sibilant_is_not_taken_for_one_left_out_a_word_before() -> None:
    # "on" said with an /s/ behind it, the /s/ of "horse" left out: the words between part the two
    prompt = expect("Grace will kiss the horse on the face.")
    words = [list(word.phones) for word in prompt.words]
    assert words[4].pop() == "S"
    words[5].append("S")
    changed = tuple(Word(word.spelling, tuple(own)) for word, own in zip(prompt.words, words, strict=True))
    speaker = woman(5)
    dry = say(replace(prompt, words=changed, slots=slots_of(changed)), speaker, 5)
    made = in_room(dry, speaker, 5, snr_db=35.0)
    recording = Recording(np.asarray(made.samples, np.float32), made.sampling_rate_hz, Source("invented", ""))
    stretch = made.truth.stretches[0].interval
    utterance = Utterance(prompt, 1, 1, Interval(max(0.0, stretch.onset_s - 0.05), stretch.offset_s + 0.05))
    (places,) = place_phones(recording, [utterance])
    search = find_sibilants(recording, utterance, places)
    assert [slot.index for slot in search.absent] == [3] and all(reading.sure for reading in search.readings)
    added = made.truth.stretches[0].sibilants[2].interval
    assert any(extra.automatic.overlap_s(added) > 0.5 * added.duration_s for extra in search.extras)


def test_a_slot_between_far_anchors_is_not_surely_absent() -> None:
    slot = expect("a seal").slots[0]
    n = 200
    weight = np.zeros((slot.phone_index + 3, n), np.float32)
    for width, sure in ((20, True), (90, False)):
        weight[:] = 0.0
        weight[slot.phone_index, 60 : 60 + width] = 0.01
        said = np.full(len(weight), 0.02, np.float32)
        places = PhonePlaces(
            0.0, 0.01, weight.copy(), weight.copy(), said, said.copy(), np.full(n, -5.0, np.float32), "t"
        )
        assert absent_reading(places, slot).sure is sure
