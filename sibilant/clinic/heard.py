"""What a probe tells at once: the words that were heard and the recording's verdict, no figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypedDict

from ..terms import Recording, Sound, Support
from ..terms.clinic import Session
from ..terms.suitability import VerdictRow
from .answers import ProbeTold
from .notes import Note

if TYPE_CHECKING:
    from ..pipeline import Analysis

AS_ASKED = ("found", "none_expected")


@dataclass(frozen=True, slots=True)
class HeardRecording:
    """One recording, its analysis, and where its prompts stand in the whole list (1-based places)."""

    recording: Recording
    analysis: Analysis
    places: tuple[int, ...]


class HeardWord(TypedDict):
    """One attempt at a prompt, or a prompt not heard: what is told of it, no figures."""

    prompt_index: int
    prompt: str
    attempt: int | None
    heard: str
    counts: bool


class HeardWhole(TypedDict):
    """What one recording holds and can support."""

    prompts: list[int]
    verdict: Support
    remedies: list[str]


@dataclass(frozen=True, slots=True)
class ProbeResult:
    """What may be told at once: the words and the recording's verdict, no figures.

    With several recordings ``verdict`` and ``remedies`` are those of the least usable, and ``recordings`` has a row for
    each: the places of its prompts, its verdict in a word, and its remedies. ``n_as_asked`` counts the words that were
    heard as asked.
    """

    session: Session
    words: tuple[HeardWord, ...]
    verdict: VerdictRow
    remedies: tuple[str, ...]
    notes: tuple[Note, ...] = field(default=())
    recordings: tuple[HeardWhole, ...] = field(default=())
    n_as_asked: int = 0


def recording_row(each: HeardRecording) -> HeardWhole:
    """Say of one recording which prompts it holds and what it can support."""
    found = each.analysis.suitability
    return {"prompts": list(each.places), "verdict": found.verdict.worst, "remedies": list(found.remedies)}


def unsaid_rows(sounds: Sequence[Sound]) -> list[HeardWord]:
    """One row for each prompt that is in no recording."""
    seen = {sound.prompt_index: sound.prompt_text for sound in sounds}
    return [
        {"prompt_index": place, "prompt": prompt, "attempt": None, "heard": "not heard", "counts": False}
        for place, prompt in seen.items()
    ]


def word_rows(each: HeardRecording) -> list[HeardWord]:
    """One row an attempt: what was heard, as a question where it is one; no figures."""
    seen = _by_attempt(each)
    return [_word_row(place, attempt, seen[place, attempt]) for place, attempt in sorted(seen)]


def count_as_asked(each: HeardRecording) -> int:
    """Attempts of a recording whose first sound was heard as asked, or that expect none and were heard."""
    return sum(sounds[0].finding in AS_ASKED for sounds in _by_attempt(each).values())


def _by_attempt(each: HeardRecording) -> dict[tuple[int, int], list[Sound]]:
    """Sounds by the place of their prompt in the whole list, and the attempt at it."""
    seen: dict[tuple[int, int], list[Sound]] = {}
    for sound in each.analysis.sounds:
        place = each.places[sound.prompt_index - 1] if sound.prompt_index else 0
        seen.setdefault((place, sound.attempt), []).append(sound)
    return seen


def _word_row(place: int, attempt: int, sounds: Sequence[Sound]) -> HeardWord:
    return {
        "prompt_index": place,
        "prompt": sounds[0].prompt_text,
        "attempt": attempt or None,
        "heard": "; ".join(dict.fromkeys(_said(sound) for sound in sounds)),
        "counts": sounds[-1].counts,
    }


def _said(sound: Sound) -> str:
    words = {
        "found": "heard",
        "prompt_missing": "not heard",
        "no_frication": "no frication found where a sibilant is expected: please listen",
        "extra": "frication where none is expected: please listen",
        "none_expected": "heard",
        "unsure": "not sure that this is the word: please listen",
    }
    whose = "" if sound.voice in ("", "client") else f" ({sound.voice} voice)"
    return words.get(sound.finding, sound.finding) + whose


def as_plain(kept: ProbeResult) -> ProbeTold:
    """Return a result as plain values for JSON: words and verdict, no figures."""
    return {
        "client": kept.session.client,
        "session": kept.session.number,
        "on": kept.session.on.isoformat(),
        "phase": kept.session.phase,
        "words": [dict(row) for row in kept.words],
        "verdict": kept.verdict,
        "remedies": list(kept.remedies),
        "notes": [str(note) for note in kept.notes],
        "recordings": [dict(row) for row in kept.recordings],
    }


def lines(kept: ProbeResult) -> list[str]:
    """Return the verdict, the remedies and what comes next, as lines for the terminal."""
    found = kept.verdict
    moments = ", ".join(f"{name} {support}" for name, support in found["moments"].items())
    verdict = ", ".join(f"{aspect} {found[aspect]}" for aspect in ("durations", "levels", "comparison"))
    return [
        f"kept as session {kept.session.number} of {kept.session.client}:"
        f" {kept.n_as_asked} of {len(kept.words)} heard as asked",
        f"the recording: {verdict}; moments {moments}",
        *(f"to do: {remedy}" for remedy in kept.remedies),
        *(f"note: {note}" for note in kept.notes),
    ]
