"""Seeded histories of invented clients as the store would hand them over: gaps, omissions, additions, unlike probes."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import ModuleType
from typing import Any

import numpy as np

from sibilant.terms import Prompt, Word
from sibilant.terms.care import Goal, PracticeMark, PracticeRun, Visit
from sibilant.terms.clinic import Case, Consent, Event
from sibilant.terms.kept import KeptToken
from sibilant.terms.therapy import Therapy

KINDS = ("whole", "unjudged", "no device", "omissions", "additions", "one probe", "no baseline", "withdrawn", "unlike")
ERRORS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("distorted", {"types": ("frontal",)}), ("distorted", {"types": ("lateral",)}), ("distorted", {}),
    ("substituted", {"substitute": "t"}), ("omitted", {}), ("approximation", {}), ("not_scorable", {}),
)  # fmt: skip
FOILS = ("tar", "led", "wing", "mall", "nap")


def history(seed: int, material: ModuleType) -> tuple[str, Case]:
    """One invented client; the kind of history goes round with the seed."""
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)]
    n = 1 if kind == "one probe" else int(rng.integers(2, 9))
    day = material.DAY
    days = [day + dt.timedelta(days=int(d)) for d in np.cumsum([0, *rng.integers(18, 40, size=n - 1)])]
    sessions = [material.session(i + 1, on=on, phase="not stated") for i, on in enumerate(days)]
    if kind == "no device":
        sessions = [replace(one, device="" if rng.random() < 0.5 else "desk") for one in sessions]
    if kind == "unlike":
        levels = ["word" if rng.random() < 0.6 else "sentence" for _ in sessions]
        cues = ["spontaneous" if rng.random() < 0.7 else "model" for _ in sessions]
        sessions = [replace(s, level=a, cue=b) for s, a, b in zip(sessions, levels, cues, strict=True)]
    therapy = {"no baseline": Therapy(under_way=True), "one probe": None}.get(
        kind, Therapy(days[min(3, n - 1)] + dt.timedelta(days=1)) if rng.random() < 0.8 else None
    )
    case = material.case(
        [6000 + (1500 if i > 4 and seed % 2 else 0) + 60 * rng.random() for i, _ in enumerate(sessions)],
        sessions=sessions,
        therapy=therapy,
    )
    shares = np.clip(np.linspace(rng.uniform(0, 0.4), rng.uniform(0.2, 1.0), n), 0, 1)
    left = {s.number for s in sessions if kind == "unjudged" and rng.random() < 0.4}
    tokens = [_heard(t, shares[t.session - 1], kind, left, rng, material) for t in case.tokens]
    if kind == "additions":
        tokens += [t for s in sessions for t in _foils(s, rng, material)]
    consent = Consent(day, "parent", withdrawn_on=days[-1] if kind == "withdrawn" else None)
    client = replace(
        case.client, consent=consent, hearing="passed screening" if rng.random() < 0.5 else "",
        treated={"sail": days[0], "soup": days[0]} if rng.random() < 0.5 else {},
    )  # fmt: skip
    return kind, replace(case, client=client, tokens=tuple(tokens), **_beside(days, rng))


def _heard(
    token: KeptToken, share: float, kind: str, left: set[int], rng: np.random.Generator, material: ModuleType
) -> KeptToken:
    """A token with what a person heard in it, or nothing where its session was not judged."""
    if token.session in left:
        return replace(token, level="", judgements=())
    heard, more = ("correct", {}) if rng.random() < share else ERRORS[int(rng.integers(len(ERRORS)))]
    if kind == "omissions" and heard != "correct":
        heard, more = "omitted", {}
    made = material.token(token.prompt_index - 1, None, finding="no_frication") if heard == "omitted" else None
    kept = material.kept(token.session, made) if made is not None else token
    return replace(kept, level="", judgements=(material.judgement(token.key, heard, **more),))


def _foils(session: Any, rng: np.random.Generator, material: ModuleType) -> list[KeptToken]:
    """Words without /s/; in some a person marked one as added."""
    found = []
    for place, word in enumerate(FOILS, start=20):
        said = Prompt(word, (Word(word, ("T", "AA1", "R")),), ())
        made = material.changed(
            material.token(place, None, prompt=said), slot=None, finding="none_expected", id=f"{place + 1}.1.0"
        )
        marks = (material.judgement(made.key, "added"),) if rng.random() < 0.3 else ()
        found.append(replace(material.kept(session.number, made), level="", judgements=marks))
    return found


def _beside(days: list[dt.date], rng: np.random.Generator) -> dict[str, Any]:
    """Goals, visits, events and practice, each there or not."""
    aims = (
        Goal(1, "says /s/ in words", "word", "spontaneous", share=0.5, n_sounds=15, n_sessions=2, made_on=days[0]),
        Goal(2, "says /s/ in sentences", "sentence", "", share=0.8, n_sessions=1, made_on=days[0], by_on=days[-1]),
    )
    kinds = ("attended", "called off by the family", "not attended")
    visits = [Visit(i + 1, on, kinds[int(rng.integers(3))], 45) for i, on in enumerate(days)]  # type: ignore[arg-type]
    events = (Event(days[0] + dt.timedelta(days=9), "upper incisors lost"),) if rng.random() < 0.6 else ()
    said = (PracticeMark("sail", "correct", "model"), PracticeMark("soup", "omitted", "model"))
    run = PracticeRun(1, days[-1], "word", said)
    return {
        "goals": aims[: int(rng.integers(0, 3))], "visits": tuple(visits[: int(rng.integers(0, len(visits) + 1))]),
        "events": events, "runs": (run,) if rng.random() < 0.5 else (),
    }  # fmt: skip
