"""The whole comparison of one table, in order."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .answer import Study
from .discriminate import evaluate, why_not
from .effects import Effect, all_effects
from .frame import Prepared, prepare
from .mixed import fit
from .normalise import normalisations
from .question import Question
from .sensitivity import boundary_sensitivity

if TYPE_CHECKING:
    import pandas as pd

LEVEL = 0.05
DISCRIMINANTS = ("linear discriminant", "logistic regression")


def compare(frame: pd.DataFrame, question: Question) -> Study:
    """Compare groups of speakers in a table of tokens.

    Parameters
    ----------
    frame : DataFrame
        Rows of a table of tokens, columns as in TABLE.csv and those carried through.
    question : Question
        Groups, speakers, measures; seeds for all that is drawn.

    Returns
    -------
    Study
        The same table and question give the same figures.

    Raises
    ------
    UsageError, ListError
        When a column is missing, or too few speakers or groups are left.
    """
    prepared = prepare(frame, question)
    effects = all_effects(prepared, question)
    return Study(
        question,
        prepared,
        tuple(effects),
        tuple(fit(prepared, measure, question) for measure in prepared.measures),
        () if why_not(prepared) else tuple(evaluate(prepared, question, name=name) for name in DISCRIMINANTS),
        normalisations(prepared, question),
        boundary_sensitivity(prepared, effects, question),
        tuple(_notes(frame, prepared, effects)),
    )


def _notes(frame: pd.DataFrame, prepared: Prepared, effects: list[Effect]) -> list[str]:
    notes = [why] if (why := why_not(prepared)) else []
    n_speakers = prepared.n_speakers
    if "method" not in frame:
        notes.append("the table names no method, so its figures can't be compared with others")
    if n_speakers < 20:
        notes.append(f"{n_speakers} speakers: intervals are wide, and p values by permutation are the ones to read")
    bound = sum(least_p(prepared, effect) * len(effects) >= LEVEL for effect in effects)
    if bound:
        notes.append(
            f"{bound} of {len(effects)} differences rest on so few speakers that no p by permutation, adjusted over all"
            " of them, could be below 0.05: read their intervals, or ask for fewer comparisons"
        )
    return notes


def least_p(prepared: Prepared, effect: Effect) -> float:
    """Smallest p that permuting this effect's speakers could give, however clear the difference."""
    if prepared.design == "within":
        return 2.0 ** (1 - effect.n_first)
    ways = math.comb(effect.n_first + effect.n_second, effect.n_first)
    return (2 if effect.n_first == effect.n_second else 1) / ways
