"""Who reads which report, and the words that each reader is told things in, declared once beside each other.

Those who work with speech are told the trade's words; a school, a payer and a family are told the same in plain ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from ..terms.heard import ErrorKind
from ..terms.vocabulary import ReportKind

Reader = Literal["supervisor", "clinician", "school", "payer", "family"]
READERS: Mapping[ReportKind, Reader] = MappingProxyType(
    {
        "monthly": "supervisor",
        "quarterly": "supervisor",
        "discharge": "supervisor",
        "session": "clinician",
        "school": "school",
        "payer": "payer",
        "family": "family",
    }
)
LAY: frozenset[Reader] = frozenset({"school", "payer", "family"})
LEVELS_SAID: Mapping[str, str] = MappingProxyType(
    {
        "isolation": "the sound by itself",
        "syllable": "syllables",
        "word": "single words",
        "set-of-three": "words said three times",
        "phrase": "short phrases",
        "sentence": "sentences",
        "reading": "reading aloud",
        "retelling": "retelling a story",
        "structured talk": "guided talk",
        "conversation": "conversation",
    }
)
CUES_SAID: Mapping[str, str] = MappingProxyType(
    {
        "spontaneous": "without help",
        "delayed model": "after hearing it a little earlier",
        "model": "after hearing it",
        "model with a cue": "after hearing it, with a hint",
        "joint": "said together",
        "read aloud": "read aloud",
    }
)
PLACES_SAID: Mapping[str, str] = MappingProxyType(
    {"initial": "at the start of words", "medial": "inside words", "final": "at the end of words"}
)
DISTORTIONS_SAID: Mapping[str, str] = MappingProxyType(
    {
        "frontal": "with the tongue forward",
        "interdental": "with the tongue between the teeth",
        "dentalised": "with the tongue against the teeth",
        "lateral": "with air over the sides of the tongue",
        "palatal": "further back",
        "retracted": "drawn back",
        "whistled": "with a whistle",
        "nasalised": "through the nose",
        "other": "in another way",
    }
)


def conditions_said(level: str, cue: str, reader: Reader) -> str:
    """Level and cue in a reader's words.

    Examples
    --------
    >>> conditions_said("word", "model", "school"), conditions_said("word", "model", "supervisor")
    ('single words, after hearing it', 'word, model')
    """
    if reader in LAY:
        level, cue = LEVELS_SAID.get(level, level), CUES_SAID.get(cue, cue)
    return ", ".join(part for part in (level, cue) if part)


def error_said(kind: ErrorKind, reader: Reader) -> str:
    """A kind of error in a reader's words: what a listener heard, never why.

    Examples
    --------
    >>> error_said(ErrorKind("distorted", ("frontal",)), "school")
    'heard with the tongue forward'
    >>> error_said(ErrorKind("distorted", ("frontal",)), "supervisor"), error_said(ErrorKind("omitted"), "school")
    ('distorted (frontal)', 'left out')
    """
    if kind.heard == "omitted":
        return "left out"
    if kind.heard == "approximation":
        return "nearly correct"
    if kind.heard == "substituted":
        return f"another sound instead{f': {kind.substitute}' if kind.substitute else ''}"
    if reader not in LAY:
        return f"distorted ({', '.join(kind.types) or 'kind not marked'})"
    said = " and ".join(DISTORTIONS_SAID.get(one, one) for one in kind.types)
    return f"heard {said}" if said else "not clear"
