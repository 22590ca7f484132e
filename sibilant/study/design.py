"""The fixed and random parts of a mixed model, from the tokens of a study."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from .covariates import Covariate, covariate
from .question import Question
from .reml import Part

if TYPE_CHECKING:
    import pandas as pd

Values = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Design:
    """What a model is made of.

    ``names`` and ``fixed`` (n, p): fixed effects, group dummies first after the intercept; ``groups``: in order, the
    first one the intercept's; ``kinds``: for each fixed effect what it belongs to (``group``, a covariate, an
    interaction). ``speakers`` (n,); ``nested`` and ``crossed``: random parts; ``told``: a sentence for each choice.
    """

    names: tuple[str, ...]
    kinds: tuple[str, ...]
    fixed: Values
    groups: tuple[str, ...]
    group_codes: Codes
    speakers: Codes
    nested: tuple[Part, ...]
    crossed: tuple[Part, ...]
    told: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def parts(self) -> tuple[Part, ...]:
        """All random parts, in the order of their ratios."""
        return (*self.nested, *self.crossed)


def codes_of(values: npt.ArrayLike) -> Codes:
    """Number the values from 0 in order of name."""
    return np.unique(np.asarray(values), return_inverse=True)[1].astype(np.int64)


def design(rows: pd.DataFrame, order: tuple[str, ...], question: Question) -> Design:
    """Make the design of a model from rows with ``speaker``, ``group``, ``word`` and the covariates.

    Parameters
    ----------
    rows : DataFrame
        Tokens with a value.
    order : tuple of str
        The groups, the reference first.
    question : Question
        Covariates, and the one that interacts with the group.
    """
    groups = tuple(group for group in order if (rows["group"] == group).any())
    number = {group: code for code, group in enumerate(groups)}
    group_codes: Codes = np.asarray(rows["group"].map(number), dtype=np.int64)
    speakers = codes_of(rows["speaker"])
    beside = [covariate(rows, name) for name in question.beside]
    names, kinds, columns = _fixed(groups, group_codes, beside, question)
    kept = _independent(columns)
    notes = [f"{names[k]} can't be told from the other effects and was left out" for k in range(len(names))
             if k not in kept]  # fmt: skip
    nested, crossed, told, more = _random(speakers, group_codes, codes_of(rows["word"]), beside)
    return Design(tuple(names[k] for k in kept), tuple(kinds[k] for k in kept), columns[:, kept], groups, group_codes,
                  speakers, tuple(nested), tuple(crossed), tuple(told), (*notes, *more))  # fmt: skip


def _fixed(
    groups: tuple[str, ...], group_codes: Codes, beside: list[Covariate], question: Question
) -> tuple[list[str], list[str], Values]:
    names, kinds = [groups[0]], ["intercept"]
    dummies = np.eye(len(groups))[group_codes][:, 1:]
    blocks: list[Values] = [np.ones((group_codes.size, 1)), dummies]
    names += [f"{group} - {groups[0]}" for group in groups[1:]]
    kinds += ["group"] * (len(groups) - 1)
    for one in beside:
        named, table = one.columns()
        names += named
        kinds += [one.name] * len(named)
        blocks.append(table)
        if one.name == question.interaction:
            for k, group in enumerate(groups[1:]):
                names += [f"({group} - {groups[0]}) x {name}" for name in named]
                kinds += [f"group x {one.name}"] * len(named)
                blocks.append(dummies[:, [k]] * table)
    return names, kinds, np.column_stack(blocks)


def _independent(columns: Values) -> list[int]:
    """Columns that no earlier one of them already says, by Gram and Schmidt on the cross-products."""
    scaled = columns / np.maximum(np.sqrt((columns**2).sum(axis=0)), 1e-300)
    products = scaled.T @ scaled
    kept: list[int] = []
    for k in range(products.shape[0]):
        if products[k, k] < 0.5:
            continue
        own = products[np.ix_(kept, kept)]
        rest = 1.0 - products[kept, k] @ np.linalg.solve(own, products[kept, k]) if kept else 1.0
        if rest > 1e-9:
            kept.append(k)
    return kept


def _random(
    speakers: Codes, groups: Codes, words: Codes, beside: list[Covariate]
) -> tuple[list[Part], list[Part], list[str], list[str]]:
    """Random parts, why each is there, and what could not be."""
    n = speakers.size
    n_groups = int(groups.max()) + 1
    nested = [Part("speaker", speakers)]
    told = ["an intercept of each speaker, since a speaker's tokens are alike"]
    notes: list[str] = []
    tried: list[tuple[Part, str]] = []
    if _varies(speakers, groups):
        own = codes_of(speakers * n_groups + groups)
        tried.append((Part("speaker:group", own), "each speaker's own shift in a group, since speakers have several and"
                      " without it their tokens would count as so many speakers"))  # fmt: skip
    for one in beside:
        if not _varies(speakers, one.codes):
            continue
        if one.numbers is not None:
            slope = (one.numbers - one.numbers.mean()) / (one.numbers.std() or 1.0)
            tried.append((Part(f"speaker:{one.name}", speakers, slope), f"each speaker's own slope of {one.name}"))
        else:
            own = codes_of(speakers * len(one.levels) + one.codes)
            tried.append((Part(f"speaker:{one.name}", own), f"each speaker's own shift by {one.name}"))
    for part, why in tried:
        if part.values is None and int(part.codes.max()) + 1 >= n:
            notes.append(f"{part.name}: one token each, so its spread is part of the residual")
        else:
            nested.append(part)
            told.append(why)
    crossed = []
    n_words = int(words.max()) + 1
    if 1 < n_words < n:
        crossed.append(Part("word", words))
        told.append("an intercept of each word, since the same words come again and again")
    return nested, crossed, told, notes


def _varies(speakers: Codes, codes: Codes) -> bool:
    """Whether any speaker has several levels."""
    width = int(codes.max()) + 1
    cells = np.unique(speakers * width + codes)
    return bool(np.bincount(cells // width).max() > 1)
