"""Ways of taking the speaker out of a measure, side by side, none of which looks at a group's name."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from .discriminate import accuracy, why_not
from .effects import Effect, all_effects
from .frame import Prepared
from .question import Question

if TYPE_CHECKING:
    import pandas as pd

LEAST_ANCHOR = 3  # sounds that a speaker's anchor rests on at least; own choice
MOST_UNBALANCED = 0.1  # share by which groups may differ in them


@dataclass(frozen=True, slots=True)
class Normalised:
    """One way: its effects and how well unseen speakers' tokens are told apart, or why it was not done."""

    name: str
    how: str
    done: bool
    why: str = ""
    effects: tuple[Effect, ...] = ()
    balanced_accuracy: float = float("nan")


def normalisations(prepared: Prepared, question: Question) -> tuple[Normalised, ...]:
    """Compare the groups raw, against each speaker's own /sh/, and against each speaker's own mean and spread.

    A speaker is normalised from that speaker's own sounds, without their groups, so nothing passes from the speakers a
    discriminant learns from to those it is tried on. The own mean serves only where each speaker has every group
    equally often: else it holds the speaker's mix of groups, and where each speaker has one group it takes the very
    difference away.
    """
    raw = Normalised("raw", "as measured", True)
    ways = [(raw, prepared, "")]
    anchored, why = _anchored(prepared)
    if "SH" in question.phones:
        why = "/ʃ/ is itself among what is compared"
    ways.append((Normalised("own sh", "less the speaker's own mean of /ʃ/", False), anchored, why))
    unfit = _own_mean_unfit(prepared)
    for name, how, scaled in (
        ("own mean", "less the speaker's own mean over all groups", False),
        ("own z", "less the speaker's own mean, over the speaker's own SD", True),
    ):
        ways.append((Normalised(name, how, False), prepared if unfit else _centred(prepared, scaled=scaled), unfit))
    return tuple(_tried(way, used, why, question) for way, used, why in ways)


def _tried(way: Normalised, used: Prepared, why: str, question: Question) -> Normalised:
    if why:
        return replace(way, done=False, why=why)
    effects = tuple(all_effects(used, question))
    if why_not(used):
        return replace(way, done=True, effects=effects)
    return replace(way, done=True, effects=effects, balanced_accuracy=accuracy(used, question))


def _anchored(prepared: Prepared) -> tuple[Prepared, str]:
    others = prepared.others
    anchors = others[others["phone"] == "SH"] if "phone" in others else others.iloc[:0]
    means = anchors.groupby("speaker")[list(prepared.measures)].agg(["mean", "count"])
    speakers = prepared.tokens["speaker"].unique()
    for measure in prepared.measures:
        counts = means[(measure, "count")].reindex(speakers).fillna(0)
        short = int((counts < LEAST_ANCHOR).sum())
        if short:
            return prepared, f"{short} of {len(speakers)} speakers have fewer than {LEAST_ANCHOR} tokens of /ʃ/"
    tokens = prepared.tokens.copy()
    for measure in prepared.measures:
        tokens[measure] -= tokens["speaker"].map(means[(measure, "mean")])
    return replace(prepared, tokens=tokens), ""


def _own_mean_unfit(prepared: Prepared) -> str:
    if prepared.design == "between":
        return "each speaker has one group, so the own mean would take the difference between groups away"
    counts: pd.DataFrame = prepared.tokens.groupby(["speaker", "group"]).size().unstack(fill_value=0)
    shares = counts.div(counts.sum(axis=1), axis=0)
    if float((shares - 1 / len(prepared.groups)).abs().max().max()) > MOST_UNBALANCED:
        return "speakers have the groups in unlike shares, so the own mean would hold the mix of groups"
    return ""


def _centred(prepared: Prepared, *, scaled: bool) -> Prepared:
    tokens = prepared.tokens.copy()
    for measure in prepared.measures:
        own = tokens.groupby("speaker")[measure]
        middle, spread = own.transform("mean"), own.transform("std")
        tokens[measure] = (tokens[measure] - middle) / (spread.where(spread > 0) if scaled else 1.0)
    return replace(prepared, tokens=tokens)
