"""What several judges heard, their disagreement kept: a token counts for each group by the share of judges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from .effects import Effect, adjusted, effect_of
from .frame import Prepared
from .question import Question

if TYPE_CHECKING:
    import pandas as pd

PLACE = ("recording", "prompt_index", "slot")


@dataclass(frozen=True, slots=True)
class JudgedEffect:
    """Effects by what judges heard: ``n_judged`` tokens with two judges or more, of which ``n_alike`` all agree."""

    n_judged: int
    n_alike: int
    n_unjudged: int
    effects: tuple[Effect, ...]


def soft_effects(prepared: Prepared, judgements: pd.DataFrame, question: Question) -> JudgedEffect:
    """Compare the groups that judges heard, each token weighted by the share of judges who heard it so.

    Parameters
    ----------
    prepared : Prepared
        The tokens of the study, with ``recording``, ``prompt_index`` and ``slot``.
    judgements : DataFrame
        ``recording``, ``prompt_index``, ``slot``, ``judge``, ``heard``; one row a judge and token.
    question : Question
        What is asked.

    Notes
    -----
    A speaker's mean in a group is the mean of the speaker's tokens weighted by those shares; a token that judges
    disagree on counts a little in each of the groups they heard, as each of them would have it.
    """
    shares = judgements.groupby([*PLACE, "heard"]).size().unstack(fill_value=0)
    n_judges = shares.sum(axis=1)
    shares = shares.div(n_judges, axis=0)
    places = prepared.tokens[list(PLACE)]
    own = shares.reindex(list(places.itertuples(index=False, name=None)))
    judged = own.notna().all(axis=1).to_numpy()
    several = n_judges.reindex(own.index).fillna(0).to_numpy() >= 2
    alike = (own.max(axis=1) == 1.0).to_numpy() & several
    groups = [group for group in shares.columns if float(own[group].fillna(0).sum()) > 0]
    effects = _weighted(prepared, own.fillna(0.0).reset_index(drop=True), [str(group) for group in groups], question)
    return JudgedEffect(int(several.sum()), int(alike.sum()), int((~judged).sum()), tuple(effects))


def _weighted(prepared: Prepared, shares: pd.DataFrame, groups: list[str], question: Question) -> list[Effect]:
    """Effects between judged groups over speakers; paired, since any speaker may be heard in any group."""
    own = replace(prepared, groups=tuple(sorted(groups)), design="within")
    tokens = prepared.tokens.reset_index(drop=True)
    found = []
    for measure in prepared.measures:
        known = tokens[measure].notna()
        means = {}
        for group in groups:
            weight = shares[group].where(known, 0.0)
            total = (weight * tokens[measure].fillna(0.0)).groupby(tokens["speaker"]).sum()
            count = weight.groupby(tokens["speaker"]).sum()
            means[group] = (total / count.where(count > 0)).to_numpy(dtype=np.float64)
        reference = question.reference if question.reference in groups else ""
        for first, second in own.pairs(reference):
            found.append(effect_of(measure, first, second, means[first], means[second], paired=True, question=question))
    return adjusted(found)


def judged_frame(rows: Sequence[Mapping[str, str]]) -> pd.DataFrame:
    """Return judgements as a frame, ``type`` as ``heard``; rows without it are left out."""
    import pandas as pd

    frame = pd.DataFrame(list(rows), columns=[*PLACE, "judge", "type"]).rename(columns={"type": "heard"})
    frame = frame[frame["heard"].astype(bool)].reset_index(drop=True)
    for name in ("prompt_index", "slot"):
        frame[name] = pd.to_numeric(frame[name], errors="coerce")
    return frame


def codes_of(judgements: pd.DataFrame) -> npt.NDArray[np.float64]:
    """Return what was heard as numbers, judges in rows, tokens in columns, NaN where a judge heard none."""
    kinds = sorted(judgements["heard"].unique())
    coded = judgements.assign(code=judgements["heard"].map({kind: float(k) for k, kind in enumerate(kinds)}))
    table = coded.pivot_table(index=list(PLACE), columns="judge", values="code", aggfunc="first")
    return np.asarray(table.to_numpy(dtype=float).T)
