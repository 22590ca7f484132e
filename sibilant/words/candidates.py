"""Pieces of sound and prompts come in; which runs of neighbouring pieces may be one attempt at which prompt goes out.

What is out of the question by pause, length or place is left out here, since scoring a pair costs time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..terms import Prompt
from .phone_model import PhoneModel, phone_model

# Chosen on invented probes (docs/words.md), where no other origin is named.
GAP_IN_WORD_S = 0.38  # longest pause inside one saying of a word, between pieces of sound
GAP_IN_PHRASE_S = 2.5  # the same inside a phrase or sentence
PIECES_IN_WORD = 4  # most pieces of sound that one saying of a word falls into
PIECES_IN_PHRASE = 24  # the same for a phrase or sentence
LONGEST_TIMES = 2.5  # a saying lasts at most so many times what its phones last ordinarily
LONGEST_EXTRA_S = 0.8  # and so much longer, for each word
SHORTEST_TIMES = 0.35  # a saying lasts at least this share of what its phones last ordinarily
UNKNOWN_S = 15.0  # longest saying of a prompt whose phones are not known
MOST_OFF_PLACE, PROMPTS_OFF_PLACE, SMALL = 0.35, 60, 40_000
"""How far off its place in the list a prompt is looked for, and from how many pairs on it is limited at all."""


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Pairs of a span and a prompt worth scoring: for each, piece, pieces beyond the first, prompt (p,)."""

    piece: npt.NDArray[np.int64]
    extra: npt.NDArray[np.int64]
    prompt: npt.NDArray[np.int64]
    longest: int


def candidates(pieces: Sequence[tuple[float, float]], prompts: Sequence[Prompt]) -> Candidates:
    """List spans whose gaps and length a prompt can have.

    Within a word a closure may take 0.38 s; between the words of a phrase a pause may take 2.5 s. A span is no longer
    than 2.5 times the expected length plus 0.8 s; one of several pieces is no shorter than 0.35 times that length.
    """
    models = [phone_model(p) for p in prompts]
    least = np.array([SHORTEST_TIMES * c.length_s for c in models])
    kinds = sorted({_allowance(c) for c in models})
    rows: list[tuple[int, int, int]] = []
    for kind in kinds:
        which = [j for j, c in enumerate(models) if _allowance(c) == kind]
        for i, extra in _spans(pieces, kind):
            said = pieces[i + extra][1] - pieces[i][0]
            near = _near(i, len(pieces), len(models), kind)
            rows += [(i, extra, j) for j in which if near(j) and (not extra or said >= least[j])]
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    return Candidates(table[:, 0], table[:, 1], table[:, 2], int(table[:, 1].max(initial=0)) + 1)


def _allowance(c: PhoneModel) -> tuple[float, int, float]:
    phrase = c.n_words > 1 or not c.n_phones
    most = min(PIECES_IN_PHRASE, 2 + 2 * c.n_words) if c.n_phones else PIECES_IN_PHRASE
    length = (
        round(
            2.0
            * (
                LONGEST_TIMES * (max(c.length_s, 0.3) if c.voiced else UNKNOWN_S)
                + LONGEST_EXTRA_S * (c.n_words if phrase else 1)
            )
        )
        / 2.0
    )
    return (GAP_IN_PHRASE_S if phrase else GAP_IN_WORD_S, most if phrase else PIECES_IN_WORD, length)


def _near(i: int, n_pieces: int, n_prompts: int, kind: tuple[float, int, float]) -> Callable[[int], bool]:
    """Prompts near the piece's place in the list; all of them in a short recording of words."""
    reach = MOST_OFF_PLACE * n_prompts if kind[0] == GAP_IN_PHRASE_S else PROMPTS_OFF_PLACE + abs(n_pieces - n_prompts)
    if (n_pieces * n_prompts < SMALL and kind[0] != GAP_IN_PHRASE_S) or n_prompts < 8:
        return lambda _: True
    return lambda j: abs(j - i * n_prompts / n_pieces) <= max(4.0, reach)


def _spans(pieces: Sequence[tuple[float, float]], kind: tuple[float, int, float]) -> list[tuple[int, int]]:
    gap, most, length = kind
    out = []
    for i in range(len(pieces)):
        out.append((i, 0))
        for extra in range(1, min(most, len(pieces) - i)):
            if pieces[i + extra][0] - pieces[i + extra - 1][1] > gap or pieces[i + extra][1] - pieces[i][0] > length:
                break
            out.append((i, extra))
    return out
