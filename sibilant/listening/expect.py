"""The verb ``expect``: what a prompt is expected to hold; and the built-in lists, as plain rows for printing."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TypedDict

from ..errors import LexiconError
from ..lexicon import BLANK, builtin_list, drawn_lists, list_names, list_note, pronunciations, voicing_differs
from ..terms import SibilantSlot


class ExpectedSibilant(TypedDict):
    """A sibilant expected in a prompt."""

    phone: str
    position: str
    cluster: str
    stress: str
    vowel_before: str
    vowel_after: str
    rounded: bool
    previous_phone: str
    next_phone: str


class Spoken(TypedDict):
    """One pronunciation of a prompt."""

    phones: str
    sibilants: list[ExpectedSibilant]


class Expected(TypedDict):
    """What a prompt is expected to hold."""

    prompt: str
    known: bool
    pronunciations: list[Spoken]
    note: str


class ListedPrompt(TypedDict):
    """A prompt of a built-in list."""

    prompt: str
    phones: str
    target: str
    level: str
    sibilants: list[ExpectedSibilant]


class ListedName(TypedDict):
    """A built-in list."""

    list: str
    n_prompts: int
    note: str
    drawn: bool


def expect_texts(texts: Sequence[str], *, phones: str = "") -> list[Expected]:
    """One row a prompt: known or not, and every pronunciation with its expected sibilants.

    Returns
    -------
    list of dict
        ``prompt``, ``known``, ``pronunciations`` (each ``phones``, ``sibilants``), ``note`` (why it is not known, or
        that /s/ or /z/ must be chosen; empty otherwise).

    Examples
    --------
    >>> row, = expect_texts(["straw"])
    >>> row["pronunciations"][0]["sibilants"][0]["cluster"]
    'str'
    """
    return [_row(text, phones) for text in texts]


def describe_list(name: str) -> list[ListedPrompt]:
    """Prompts of a built-in list, each with phones and sibilants.

    Raises
    ------
    ListError
        When there is no such list.
    """
    return [
        {
            "prompt": prompt.text,
            "phones": "" if BLANK in prompt.text else " | ".join(" ".join(word.phones) for word in prompt.words),
            "target": prompt.target,
            "level": prompt.level,
            "sibilants": [_sibilant(slot) for slot in prompt.slots],
        }
        for prompt in builtin_list(name)
    ]


def describe_lists() -> list[ListedName]:
    """Name, number of prompts and purpose of each built-in list."""
    drawn = drawn_lists()
    return [
        {"list": name, "n_prompts": len(builtin_list(name)), "note": list_note(name), "drawn": name in drawn}
        for name in list_names()
    ]


def _row(text: str, phones: str) -> Expected:
    try:
        choices = pronunciations(text, phones=phones)
    except LexiconError as unknown:
        return {"prompt": text, "known": False, "pronunciations": [], "note": str(unknown)}
    pair = voicing_differs([[phone for word in choice.words for phone in word.phones] for choice in choices])
    note = "said with /s/ or /z/; a list must say which is meant by its phones" if pair else ""
    return {
        "prompt": text,
        "known": True,
        "pronunciations": [
            {"phones": choice.phones, "sibilants": [_sibilant(slot) for slot in choice.slots]} for choice in choices
        ],
        "note": note,
    }


def _sibilant(slot: SibilantSlot) -> ExpectedSibilant:
    return {
        "phone": slot.phone,
        "position": slot.position,
        "cluster": slot.cluster,
        "stress": slot.stress,
        "vowel_before": slot.vowel_before,
        "vowel_after": slot.vowel_after,
        "rounded": slot.rounded,
        "previous_phone": slot.previous_phone,
        "next_phone": slot.next_phone,
    }


def list_as_csv(name: str) -> str:
    """Return a built-in list as the text of a LIST.csv, to be changed and used."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("word", "phones", "target", "level"))
    writer.writerows((row["prompt"], row["phones"], row["target"].lower(), row["level"]) for row in describe_list(name))
    return text.getvalue()
