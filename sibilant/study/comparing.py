"""A table of sibilants and a question come in, the answer goes out: the whole comparison in its order.

It is one piece since p are adjusted over all that was tested.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from .answer import Study
from .beside import LEVEL, Beside, side_by_side
from .discriminate import DISCRIMINANTS, evaluate, why_not
from .effects import Effect, adjusted, all_effects
from .frame import Prepared, prepare
from .missing import bounds, missing_by_group
from .mixed import Model, fit
from .normalise import normalisations
from .question import Question
from .recorded import recorded
from .sensitivity import boundary_sensitivity

if TYPE_CHECKING:
    import pandas as pd

Tell = Callable[[str, float], None]
"""Called with what is being done and the share that is done, between 0 and 1."""


def _untold(what: str, share: float) -> None:
    """Tell nobody."""


def compare(frame: pd.DataFrame, question: Question, tell: Tell = _untold) -> Study:
    """Compare groups of speakers in a table of tokens.

    Parameters
    ----------
    frame : DataFrame
        Rows of a table of tokens, columns as in TABLE.csv and those carried through.
    question : Question
        Groups, speakers, measures, the primary analysis; seeds for all that is drawn.
    tell : callable, optional
        Told between steps what is being done and what share of the whole is done.

    Returns
    -------
    Study
        The same table and question give the same figures.

    Raises
    ------
    UsageError, ListError
        When a column is missing, or too few speakers or groups are left.
    """
    tell("choosing tokens", 0.0)
    prepared = prepare(frame, question)
    tell("differences over speakers' means", 0.05)
    effects = all_effects(prepared, question)
    models = _models(prepared, question, tell)
    analyses = side_by_side(effects, models, question)
    evaluations = []
    for number, name in enumerate(() if why_not(prepared) else DISCRIMINANTS):
        tell(name, 0.5 + 0.2 * number)
        evaluations.append(evaluate(prepared, question, name=name))
    tell("speakers normalised", 0.9)
    normalised = normalisations(prepared, question)
    tell("edges moved", 0.95)
    moved = boundary_sensitivity(prepared, analyses, question)
    return Study(
        question,
        prepared,
        tuple(effects),
        models,
        analyses,
        tuple(evaluations),
        normalised,
        moved,
        recorded(prepared),
        missing_by_group(prepared),
        bounds(prepared, question),
        tuple(_notes(frame, prepared, effects, analyses)),
    )


def _models(prepared: Prepared, question: Question, tell: Tell) -> tuple[Model, ...]:
    """Fit a model of each measure, p of their contrasts adjusted over all of them."""
    models = []
    for number, measure in enumerate(prepared.measures):
        tell(f"mixed model of {measure}", 0.1 + 0.4 * number / len(prepared.measures))
        models.append(fit(prepared, measure, question))
    contrasts = iter(adjusted([one for model in models for one in model.contrasts]))
    return tuple(replace(model, contrasts=tuple(next(contrasts) for _ in model.contrasts)) for model in models)


def _notes(frame: pd.DataFrame, prepared: Prepared, effects: list[Effect], analyses: tuple[Beside, ...]) -> list[str]:
    notes = [why] if (why := why_not(prepared)) else []
    n_speakers = prepared.n_speakers
    if "method" not in frame:
        notes.append("the table names no method, so its figures can't be compared with others")
    if n_speakers < 20:
        notes.append(f"{n_speakers} speakers: intervals are wide, and p values by permutation are the ones to read")
    bound = sum(least_p(effect) * len(effects) >= LEVEL for effect in effects)
    if bound:
        notes.append(
            f"{bound} of {len(effects)} differences rest on so few speakers that no p by permutation, adjusted over all"
            " of them, could be below 0.05: read their intervals, or ask for fewer comparisons"
        )
    if not any(one.claimed for one in analyses):
        notes.append("no difference is claimed, so none was tried against moved edges")
    return notes


def least_p(effect: Effect) -> float:
    """Smallest p that permuting this effect's speakers could give, however clear the difference."""
    if effect.kind == "paired":
        return 2.0 ** (1 - effect.n_first)
    ways = math.comb(effect.n_first + effect.n_second, effect.n_first)
    return (2 if effect.n_first == effect.n_second else 1) / ways
