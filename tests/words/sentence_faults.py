"""Invented sentences in which sibilants are left out, distorted, replaced or added, with what is true of each slot.

Invented data – not a person.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from sibilant import lexicon
from sibilant.audio import recording_from_samples
from sibilant.lexicon import expect, slots_of
from sibilant.synthetic import Room, child_speaker, in_room, man, say, woman
from sibilant.terms import Interval, Prompt, Recording, SibilantSlot, Word

VOICES = {"woman": woman, "man": man, "child": child_speaker}
ODD = ("frontal", "dentalised", "lateral", "retracted", "whistled")
SIBILANTS = frozenset({"S", "Z", "SH", "ZH", "CH", "JH"})
LEFT_OUT, ODDLY, REPLACED, ADDED = 0.14, 0.16, 0.10, 0.04


@dataclass(frozen=True)
class Faulty:
    """One sentence: what was asked, what became of each slot, and where.

    ``said``, ``odd``, ``left out``, ``TH``; ``one of two`` where it is left out and one like it, also asked for, is
    said in the same place (*Bess lid*: one hiss, and nothing tells whose); ``stand-in`` where an added /s/ is said just
    there (*thes traw*), so that what is said is what was asked.
    """

    prompt: Prompt
    fate: Mapping[int, str]
    where: Mapping[int, Interval]
    recording: Recording


def texts() -> list[str]:
    """Sentences of the built-in lists."""
    found = [p.text for name in ("sentences", "passage") for p in lexicon.builtin_list(name) if "_" not in p.text]
    return [text for text in found if len(text.split()) > 2]


def faulty_sentences(n: int, seed: int) -> Iterator[Faulty]:
    """Women, men and children in turn; every other pair in a room of 0.5 s; at 16 or 44.1 kHz."""
    rng, known = np.random.default_rng(seed), texts()
    made = 0
    while made < n:
        prompt = expect(known[int(rng.integers(len(known)))])
        if prompt.slots:
            yield _said(prompt, made, rng)
            made += 1


def _said(prompt: Prompt, number: int, rng: np.random.Generator) -> Faulty:
    speaker = list(VOICES.values())[number % 3](int(rng.integers(20000, 90000)))
    fate = {slot.index: _fate(slot, rng) for slot in prompt.slots}
    words, kinds, asked = _as_said(prompt, fate, rng)
    rate = (16000, 44100)[number % 2]
    dry = say(replace(prompt, words=words, slots=slots_of(words)), speaker, rng, sibilant_type=kinds or "",
              sampling_rate_hz=rate)  # fmt: skip
    room = Room(0.5, 6.0) if number // 2 % 2 else None
    heard = in_room(dry, speaker, int(rng.integers(2**31)), room=room, snr_db=float(rng.uniform(28.0, 45.0)))
    own = {s.slot_index - 1: s.interval for s in heard.truth.sibilants}
    where = {asked[k]: interval for k, interval in own.items() if asked[k]}
    told = {index: one if one in ("said", "left out", "TH") else "odd" for index, one in fate.items()}
    for index, other in _instead(words, kinds, asked).items():
        told[index] = "stand-in" if not asked[other] else "one of two"
        if not asked[other]:
            where[index] = own[other]
    recording = recording_from_samples(np.asarray(heard.samples), heard.sampling_rate_hz)
    return Faulty(prompt, told, where, recording)


def _fate(slot: SibilantSlot, rng: np.random.Generator) -> str:
    drawn = rng.random()
    if drawn < LEFT_OUT:
        return "left out"
    if drawn < LEFT_OUT + ODDLY:
        return str(rng.choice(ODD))
    return "TH" if drawn < LEFT_OUT + ODDLY + REPLACED and slot.phone == "S" else "said"


def _as_said(
    prompt: Prompt, fate: Mapping[int, str], rng: np.random.Generator
) -> tuple[tuple[Word, ...], list[str], list[int]]:
    """Words as they are said, how each sibilant said is said, and which slot it is of (0: none)."""
    words, kinds, asked = [], [], []
    slots = {slot.phone_index: slot for slot in prompt.slots}
    at = 0
    for word in prompt.words:
        phones = []
        for phone in word.phones:
            slot = slots.get(at)
            at += 1
            phones.append("TH" if slot is not None and fate[slot.index] == "TH" else phone)
            if slot is not None and fate[slot.index] != "TH":
                kinds.append({"said": "", "left out": "omitted"}.get(fate[slot.index], fate[slot.index]))
                asked.append(slot.index)
        if rng.random() < ADDED and not SIBILANTS & set(phones):
            phones.append("S")
            kinds.append("")
            asked.append(0)
        words.append(Word(word.spelling, tuple(phones)))
    return tuple(words), kinds, asked


def _instead(words: tuple[Word, ...], kinds: list[str], asked: list[int]) -> dict[int, int]:
    """Slots left out beside a sibilant that is said, an added one or one of the same phone, and which one that is."""
    number, row = -1, []
    for phone in (phone for word in words for phone in word.phones):
        number += phone in SIBILANTS
        row.append((phone, number if phone in SIBILANTS else -1))
    out = {}
    for at, (phone, left) in enumerate(row):
        if left < 0 or kinds[left] != "omitted":
            continue
        for step in (-1, 1):
            k = at + step
            while 0 <= k < len(row) and row[k][1] >= 0 and kinds[row[k][1]] == "omitted":
                k += step
            other = row[k][1] if 0 <= k < len(row) else -1
            if other >= 0 and asked[left] not in out and (not asked[other] or row[k][0] == phone):
                out[asked[left]] = other
    return out
