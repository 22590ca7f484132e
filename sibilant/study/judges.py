"""What several judges heard, their disagreement kept: a token counts for each group by the share of judges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from .agreement import Agreement, agreement
from .effects import Effect, adjusted, effect_of
from .frame import Prepared
from .question import Question

if TYPE_CHECKING:
    import pandas as pd

PLACE = ("recording", "prompt_index", "slot")


@dataclass(frozen=True, slots=True)
class JudgedEffect:
    """Effects by what judges heard, and how far they agree on the very tokens compared.

    ``n_judges``; ``n_unjudged``: tokens of the study that nobody judged; ``n_elsewhere``: judged tokens that are not in
    the study, and enter nothing here.
    """

    n_judges: int
    n_unjudged: int
    n_elsewhere: int
    agreement: Agreement
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
    shares = shares.div(shares.sum(axis=1), axis=0)
    places = list(prepared.tokens[list(PLACE)].itertuples(index=False, name=None))
    own = shares.reindex(places)
    judged = own.notna().all(axis=1).to_numpy()
    groups = [group for group in shares.columns if float(own[group].fillna(0).sum()) > 0]
    effects = _weighted(prepared, own.fillna(0.0).reset_index(drop=True), [str(group) for group in groups], question)
    codes, n_kinds = _codes(judgements, places)
    speakers = np.unique(prepared.tokens["speaker"].to_numpy(dtype=str), return_inverse=True)[1]
    return JudgedEffect(
        int(judgements["judge"].nunique()),
        int((~judged).sum()),
        len(set(shares.index) - set(places)),
        agreement(codes, speakers, n_kinds),
        tuple(effects),
    )


def _codes(judgements: pd.DataFrame, places: list[tuple[object, ...]]) -> tuple[npt.NDArray[np.int64], int]:
    """What each judge heard of each token (tokens, judges), -1 where none; and how many kinds there are."""
    kinds = sorted(judgements["heard"].unique())
    coded = judgements.assign(code=judgements["heard"].map({kind: k for k, kind in enumerate(kinds)}))
    table = coded.pivot_table(index=list(PLACE), columns="judge", values="code", aggfunc="first").reindex(places)
    return table.fillna(-1).to_numpy(dtype=np.int64), len(kinds)


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
