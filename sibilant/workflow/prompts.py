"""What the speaker was asked to say: from a list file, a built-in list, or words given on the command line."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from .. import lexicon, tables
from ..errors import LexiconError, ListError, UsageError
from ..terms import Prompt


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
        return _said(say)
    if not words:
        return ()
    if words in lexicon.list_names():
        return lexicon.builtin_list(words)
    path = Path(words)
    if not path.exists() and path.suffix == "" and path.parent == Path():
        names = ", ".join(lexicon.list_names())
        raise ListError(f"{words}: neither a file nor a built-in list; the lists are {names}")
    return _listed(path)


def _said(say: str) -> tuple[Prompt, ...]:
    pieces = [piece.strip() for row in csv.reader([say], skipinitialspace=True) for piece in row]
    if not pieces or not all(pieces):
        raise UsageError(f"--say: words with commas between them are needed, got {say[:60]!r}")
    return tuple(lexicon.expect(piece) for piece in pieces)


def _listed(path: Path) -> tuple[Prompt, ...]:
    prompts = []
    for row in tables.read_list(path):
        try:
            prompt = lexicon.expect(
                row.word,
                phones=row.phones,
                target=row.target,
                level=row.level or "word",
                cue=row.cue,
                treated=row.treated,
            )
        except LexiconError as error:
            raise LexiconError(f"{path.name}: line {row.line}: {error}") from error
        prompts.append(replace(prompt, recording=row.recording))
    return tuple(prompts)


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
