"""Invented words with exact truth for the tests here. Invented data – not a person."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sibilant.boundaries import SibilantSearch, find_sibilants
from sibilant.lexicon import builtin_list, expect
from sibilant.synthetic import Room, Speaker, Spoken, TrueSibilant, child_speaker, in_room, man, say, woman
from sibilant.terms import Interval, Prompt, Recording, SibilantInterval, Source, Utterance

LISTS = ("core-a", "core-b", "three-a", "sh-a", "pool-ks-final", "pool-ts-final", "pool-sm", "pool-sn", "pool-sw")


@dataclass
class Case:
    prompt: Prompt
    speaker: Speaker
    seed: int


@dataclass
class Errors:
    """Signed errors in ms of both edges, and the sibilants that got no interval."""

    edges: list[tuple[float, str, str, TrueSibilant, SibilantInterval]] = field(default_factory=list)
    missed: list[tuple[str, TrueSibilant]] = field(default_factory=list)
    extras: list[tuple[str, SibilantInterval]] = field(default_factory=list)
    n_true: int = 0

    def size(self) -> np.ndarray:
        return np.abs([e[0] for e in self.edges])


def speaker(i: int) -> Speaker:
    return (woman, man, child_speaker)[i % 3](i + 11)


def cases(n: int, *, lists: tuple[str, ...] = LISTS, seed: int = 1) -> list[Case]:
    """Prompts drawn from the built-in lists, each with another invented speaker."""
    prompts = {p.text: p for name in lists for p in builtin_list(name) if p.slots and len(p.phones) > 1}
    rng = np.random.default_rng(seed)
    texts = list(prompts)
    drawn = [texts[k] for k in rng.permutation(len(texts))]
    return [Case(prompts[drawn[i % len(drawn)]], speaker(i), 100 * seed + i) for i in range(n)]


def recording(spoken: Spoken) -> Recording:
    return Recording(np.asarray(spoken.samples, dtype=np.float32), spoken.sampling_rate_hz, Source("invented", ""))


def search(spoken: Spoken, prompt: Prompt) -> SibilantSearch:
    stretch = spoken.truth.stretches[0].interval
    interval = Interval(max(0.0, stretch.onset_s - 0.05), stretch.offset_s + 0.05)
    return find_sibilants(recording(spoken), Utterance(prompt, 1, 1, interval))


def spoken_case(
    case: Case, *, snr_db: float | None = 40.0, room: Room | None = None, kind: str = "", level_db: float | None = None
) -> Spoken:
    dry = say(case.prompt, case.speaker, case.seed, sibilant_type=kind, sibilant_level_db=level_db)
    return in_room(dry, case.speaker, case.seed, room=room, snr_db=snr_db)


def errors(all_cases: list[Case], **how: object) -> Errors:
    out = Errors()
    for case in all_cases:
        spoken = spoken_case(case, **how)  # type: ignore[arg-type]
        got = search(spoken, case.prompt)
        by_slot = {s.slot.index: s for s in got.found if s.slot is not None}
        out.extras += [(case.prompt.text, e) for e in got.extras]
        for true in spoken.truth.stretches[0].sibilants:
            out.n_true += 1
            sound = by_slot.get(true.slot_index)
            if sound is None:
                out.missed.append((case.prompt.text, true))
                continue
            on = 1000 * (sound.automatic.onset_s - true.onset_s)
            off = 1000 * (sound.automatic.offset_s - true.offset_s)
            out.edges += [(on, "onset", case.prompt.text, true, sound), (off, "offset", case.prompt.text, true, sound)]
    return out


def phrases(n: int) -> list[Prompt]:
    """Sentences of the built-in lists, and carrier-like phrases of their words."""
    ready = {p.text: p for name in ("sentences", "carriers", "passage") for p in builtin_list(name) if " " in p.text}
    words = [p.text for p in builtin_list("core-a")]
    rng = np.random.default_rng(4)
    while len(ready) < n:
        a, b = (words[int(k)] for k in rng.choice(len(words), 2, replace=False))
        text = f"a {a} and the {b}"
        ready[text] = expect(text, level="phrase")
    return list(ready.values())[:n]
