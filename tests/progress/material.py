"""Invented clients for tests: tokens built by hand, no sound. Invented data – not a person."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from sibilant.methods import get_method
from sibilant.terms import (
    NOT_MEASURED,
    Cut,
    Edge,
    Interval,
    Measurement,
    Measures,
    Method,
    NoiseSpectrum,
    Prompt,
    SibilantInterval,
    SibilantSlot,
    Sound,
    Surroundings,
    TokenSupport,
    Utterance,
    Verdict,
    Word,
)
from sibilant.terms.clinic import Case, Client, Device, Event, Session
from sibilant.terms.kept import Judgement, KeptToken

if TYPE_CHECKING:
    from sibilant import store

METHOD = get_method("house-15k")
HOUSE = ("house-15k", "house-10k", "house-7k")
DAY = dt.date(2026, 1, 12)
WORDS = (
    "seal", "sand", "sun", "sock", "soap", "side", "castle", "messy", "recycle", "muscle", "goose", "bus", "rice",
    "purse", "spark", "star", "skate", "snow", "sled", "swim",
)  # fmt: skip
POSITIONS = ("initial",) * 6 + ("medial",) * 4 + ("final",) * 4 + ("initial",) * 6
CLUSTERS = ("",) * 14 + ("sp", "st", "sk", "sn", "sl", "sw")
NOON = dt.datetime(2026, 1, 12, 12, tzinfo=dt.UTC)


def slot_of(place: int, **changed: object) -> SibilantSlot:
    """The slot of the word at a 0-based place of the list."""
    kept = {"position": POSITIONS[place % 20], "cluster": CLUSTERS[place % 20], "vowel_after": "IY1"} | changed
    return SibilantSlot("S", 1, **kept)  # type: ignore[arg-type]


def prompt_of(place: int, **changed: object) -> Prompt:
    """The prompt at a 0-based place of the list."""
    text = WORDS[place % 20]
    return Prompt(text, (Word(text, ("S", "IY1", "L")),), (slot_of(place),), **changed)  # type: ignore[arg-type]


def edges(onset_s: float, slot: SibilantSlot | None, *, duration_s: float = 0.12) -> SibilantInterval:
    """A bounded sibilant."""
    stretch = Interval(onset_s, onset_s + duration_s)
    core = Interval(onset_s + 0.01, onset_s + duration_s - 0.01)
    start = Edge(onset_s, "silence", 2.0, 0.9)
    return SibilantInterval(slot, stretch, core, start, Edge(stretch.offset_s, "voiced", 3.0, 0.8), 0.9, ("weak",))


def token(
    place: int,
    values: Mapping[str, float] | float | None,
    *,
    attempt: int = 1,
    slot: SibilantSlot | None = None,
    finding: str = "found",
    flags: Sequence[str] = (),
    voice: str = "client",
    counts: bool = True,
    method: Method = METHOD,
    prompt: Prompt | None = None,
) -> KeptToken:
    """One token of the list's word at a 0-based place; a float is its ``centroid_hz``."""
    slot = slot or slot_of(place)
    prompt = prompt or prompt_of(place)
    if isinstance(values, int | float):
        values = {"centroid_hz": float(values)}
    start = 1.0 * place
    spoken = Utterance(prompt, place + 1, attempt, Interval(start, start + 0.6), 0.9, voice, True, counts)
    measures = NOT_MEASURED
    if values is not None:
        low = {key: value - 1 for key, value in values.items()}
        high = {key: value + 1 for key, value in values.items()}
        region = Interval(start + 0.03, start + 0.09)
        measures = Measures(values, low, high, {}, tuple(flags), region, 5, method.band_hz, 44100)
    bounded = edges(start, slot) if finding in {"found", "extra"} else None
    key = f"{place + 1}.{attempt}.{slot.index}"
    heard = Sound(key, finding, spoken, slot, bounded, prompt_text=prompt.text, prompt_index=place + 1)  # type: ignore[arg-type]
    return KeptToken(heard, 1, {method.label: Measurement(key, method, measures, 25.0, 20000.0, tuple(flags))})


def changed(one: KeptToken, **parts: object) -> KeptToken:
    """A token with other parts of its sound; a new id goes into its measurements too."""
    heard = replace(one.sound, **parts)  # type: ignore[arg-type]
    measured = {label: replace(each, sound_id=heard.id) for label, each in one.measurements.items()}
    return replace(one, sound=heard, measurements=measured)


def new_sounds(tokens: Iterable[KeptToken], recording: int | None = 0) -> tuple[store.NewSound, ...]:
    """Tokens as a session is given them to keep, all of one recording."""
    from sibilant import store

    return tuple(store.NewSound(recording, one.sound, tuple(one.measurements.values())) for one in tokens)


def judgement(key: str, heard: str, rater: str = "R1", **more: object) -> Judgement:
    """A person's judgement."""
    return Judgement(key, heard, rater, more.pop("on", NOON), **more)  # type: ignore[arg-type]


def surroundings(place: int, *, cut_hz: float | None = 15_983.7) -> Surroundings:
    """What a recording showed around a word with one sound: two thirds and other numbers that no text rounds well."""
    import numpy as np

    power = np.random.default_rng(place).gamma(2.0, 1e-9 / 3, 442)
    verdict = Verdict("usable", "usable", "with care", dict.fromkeys(HOUSE, "usable"))
    noise = NoiseSpectrum(power, 1000 / 3, power * (place % 3 - 1) / 7)
    support = TokenSupport(20.0 + 1 / 3, 15_500.0, 0.0, ("weak",), verdict, noise)
    cut = None if cut_hz is None else Cut(cut_hz)
    return Surroundings(place, 1, cut, {f"{place}.1.1": support, f"{place}.1.x1": replace(support, noise=None)})


def kept(session: int, one: KeptToken, *judgements: Judgement, **more: object) -> KeptToken:
    """A token as the store hands it over."""
    return replace(one, session=session, judgements=judgements, level=more.pop("level", "word"), **more)  # type: ignore[arg-type]


def client(**changed: object) -> Client:
    """An invented client."""
    kept_values = {"direction": "higher", "invented": True} | changed
    return Client("C-7QXK", 80, DAY, **kept_values)  # type: ignore[arg-type]


def session(number: int, **changed: object) -> Session:
    """A session on a day of its own, baseline for the first three."""
    day = DAY + dt.timedelta(days=7 * (number - 1) if number <= 3 else 14 + 30 * (number - 3))
    values = {"phase": "baseline" if number <= 3 else "treatment", "device": "desk", "list_form": "core-a"} | changed
    return Session("C-7QXK", number, values.pop("on", day), **values)  # type: ignore[arg-type]


def case(
    means: Sequence[float],
    *,
    spread: Sequence[float] | None = None,
    heard: str = "correct",
    sessions: Sequence[Session] | None = None,
    **of_client: object,
) -> Case:
    """A case of one probe a mean: every word keeps its own offset, so that the differences are the means' own."""
    offsets = spread if spread is not None else [25.0 * (place - 9.5) for place in range(20)]
    held = tuple(sessions or (session(number) for number in range(1, len(means) + 1)))
    tokens = []
    for one, mean in zip(held, means, strict=True):
        for place, offset in enumerate(offsets):
            made = token(place, {"centroid_hz": mean + offset, "core_duration_ms": 100.0 + place})
            tokens.append(kept(one.number, made, judgement(made.key, heard)))
    events = (Event(DAY + dt.timedelta(days=60), "upper incisors lost"),)
    return Case(client(**of_client), held, tuple(tokens), events, (Device("desk", added_on=DAY),))
