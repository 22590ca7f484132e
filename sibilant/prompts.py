"""What the speaker was asked to say, read in one place for clinic and corpus.

In comes a list file, the name of a built-in list, or prompts with commas between them (on the command line, or in a
cell of a manifest); out come prompts in the order spoken.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Literal

from . import lexicon, tables
from .errors import Faults, LexiconError, ListError, UsageError
from .terms import Prompt
from .terms.vocabulary import TARGETS, Level


def prompts_from(words: str = "", say: str = "") -> tuple[Prompt, ...]:
    """Return the prompts in the order spoken; none when neither is given.

    Parameters
    ----------
    words : str
        Path of a LIST.csv, or the name of a built-in list.
    say : str
        Prompts with commas between them, such as ``"seal, bus, fossil"``.

    Raises
    ------
    UsageError
        When both are given.
    ListError, LexiconError
        When the list can't be read, or a word has no known pronunciation.

    Examples
    --------
    >>> [prompt.text for prompt in prompts_from(say="seal, bus")]
    ['seal', 'bus']
    """
    if words and say:
        raise UsageError("--words and --say both give the prompts; use one of them")
    if say:
        return said(say)
    return listed(words) if words else ()


def listed(words: str, *, guess: bool = False) -> tuple[Prompt, ...]:
    """Return the prompts of a LIST.csv, or of a built-in list by its name; ``guess`` as in ``lexicon.expect``.

    Raises
    ------
    ListError, LexiconError
        When the list can't be read, or a word has no known pronunciation.
    """
    if words in lexicon.list_names():
        return lexicon.builtin_list(words)
    path = Path(words)
    if not path.exists() and path.suffix == "" and path.parent == Path():
        names = ", ".join(lexicon.list_names())
        raise ListError(f"{words}: neither a file nor a built-in list; the lists are {names}")
    return tables.read_list_as(path, partial(_prompt, guess=guess))


def said(text: str, *, where: str = "--say", guess: bool = False) -> tuple[Prompt, ...]:
    """Return prompts written with commas between them; one that holds a comma itself stands in double quotes.

    ``guess`` as in ``lexicon.expect``.

    Raises
    ------
    UsageError
        When one of them is empty; ``where`` names the place.
    LexiconError
        When a word has no known pronunciation.

    Examples
    --------
    >>> [prompt.text for prompt in said('"yes, sir", bus')]
    ['yes, sir', 'bus']
    """
    pieces = [piece.strip() for row in csv.reader(text.splitlines(), skipinitialspace=True) for piece in row]
    if not pieces or not all(pieces):
        raise UsageError(f"{where}: words with commas between them are needed, got {text[:60]!r}")
    faults, prompts = Faults(), []
    for piece in pieces:
        with faults.gathered():
            prompts.append(lexicon.expect(piece, guess=guess))
    faults.let_out()
    return tuple(prompts)


def _prompt(row: tables.ListRow, *, guess: bool = False) -> Prompt:
    prompt = lexicon.expect(
        row.word,
        phones=row.phones,
        target=row.target,
        level=row.level or None,
        cue=row.cue,
        treated=row.treated,
        guess=guess,
    )
    return replace(prompt, recording=row.recording)


def prompts_of(prompts: Sequence[Prompt], recording: Path) -> tuple[Prompt, ...]:
    """Return the prompts that a recording holds: those that name it, or all where the list names no recording.

    Examples
    --------
    >>> len(prompts_of(prompts_from(say="seal, bus"), Path("probe.wav")))
    2
    """
    if not any(prompt.recording for prompt in prompts):
        return tuple(prompts)
    return tuple(prompt for prompt in prompts if prompt.recording in (recording.name, recording.stem, str(recording)))


def phone_named(label: str) -> str:
    """Return the ARPABET phone that a label names, in IPA or ARPABET, with slashes or brackets or none; else nothing.

    Examples
    --------
    >>> [phone_named(label) for label in ("s", "/ʃ/", "[θ]", "ʂ", "ZH", "a breath")]
    ['S', 'SH', 'TH', 'SH', 'ZH', '']
    """
    bare = label.strip().strip("/[]").strip()
    if found := TARGETS.find(bare):
        return found
    for written in (f"/{bare}/", bare):
        try:
            words = lexicon.read_phones(written) if bare else ()
        except LexiconError:
            continue
        if len(words) == 1 and len(words[0]) == 1:
            return words[0][0].rstrip("012")
    return ""


def at_level(prompt: Prompt, level: Level | Literal[""]) -> Prompt:
    """Return a prompt at a session's level, if there is one and the list says none of its own.

    Examples
    --------
    >>> (socks,) = prompts_from(say="six socks")
    >>> at_level(socks, "sentence").level, at_level(socks, "").level
    ('sentence', 'phrase')
    """
    by_length = prompt.level == lexicon.level_of(prompt.text, prompt.words)
    return replace(prompt, level=level) if level and by_length else prompt


def list_form(listed: str, prompts: Sequence[Prompt]) -> str:
    """Name a list form: a built-in list by its name, another by its prompts; a file's name is never kept.

    Examples
    --------
    >>> list_form("core-a", ()), list_form("any-file.csv", prompts_from(say="seal, bus"))
    ('core-a', 'list-37b83e')
    """
    if listed in lexicon.list_names():
        return listed
    spoken = "\n".join(f"{prompt.text}\t{' '.join(prompt.phones)}" for prompt in prompts)
    return f"list-{hashlib.sha256(spoken.encode()).hexdigest()[:6]}"
