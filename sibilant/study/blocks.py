"""Tokens as blocks of one speaker in one group: what is permuted, dealt into folds and counted is the block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
Names = npt.NDArray[np.str_]


@dataclass(frozen=True, slots=True)
class Blocks:
    """Tokens in order of speaker and block, speakers in an order that their names have no part in.

    ``values`` (n, m); ``of_token`` (n,): its block; ``speaker``, ``group`` (blocks,): codes of each block.
    """

    values: Values
    of_token: Codes
    speaker: Codes
    group: Codes
    n_groups: int

    @property
    def n_speakers(self) -> int:
        """Speakers."""
        return int(self.speaker.max()) + 1


def blocks_of(values: Values, groups: Names, speakers: Names) -> Blocks:
    """Order tokens into blocks.

    Speakers are numbered by the means of their values, so that neither their names nor the order of rows decide
    anything that is drawn later; tokens inside a block by their values.
    """
    group_codes = np.unique(groups, return_inverse=True)[1]
    own = np.unique(speakers, return_inverse=True)[1]
    counts = np.bincount(own)
    means = np.stack([np.bincount(own, column) / counts for column in values.T])
    rank = np.empty(counts.size, dtype=np.int64)
    rank[np.lexsort(np.round(means[::-1], 9))] = np.arange(counts.size)
    speaker_codes = rank[own]
    n_groups = int(group_codes.max()) + 1
    cell = speaker_codes * n_groups + group_codes
    order = np.lexsort((*values.T[::-1], cell))
    cells, of_token = np.unique(cell[order], return_inverse=True)
    return Blocks(values[order], of_token.astype(np.int64), cells // n_groups, cells % n_groups, n_groups)


def permuted_groups(blocks: Blocks, rng: np.random.Generator) -> Codes:
    """Return the groups of the blocks (blocks,) drawn anew among the arrangements that no difference would tell apart.

    Speakers with one group change places with each other; those with several change their sets with speakers who have
    as many, and then each one's blocks change places. So all that is permuted is exchangeable where groups do not
    differ, whether speakers have one group, all of them, or some of each.
    """
    n_own = np.bincount(blocks.speaker)
    starts = np.concatenate([[0], np.cumsum(n_own)[:-1]])
    other = blocks.group.copy()
    for n in np.unique(n_own):
        first = starts[n_own == n]
        places = first[:, np.newaxis] + np.arange(n)
        sets = blocks.group[places][rng.permutation(first.size)]
        other[places] = rng.permuted(sets, axis=1)
    return other


def folds(blocks: Blocks, groups: Codes, n_folds: int, rng: np.random.Generator) -> Codes:
    """Deal speakers into folds; return each speaker's fold (speakers,).

    Speakers with the same set of groups are shuffled and dealt out in turn, so that every fold holds as even a mix of
    groups as can be. There are never more folds than the fewest speakers of any group.
    """
    fewest = int(np.bincount(groups, minlength=blocks.n_groups).min())
    n = max(2, min(n_folds, fewest, blocks.n_speakers))
    sets = set_of_groups(blocks, groups)
    shuffled = rng.permutation(blocks.n_speakers)
    order = shuffled[np.argsort(sets[shuffled], kind="stable")]
    dealt = np.empty(blocks.n_speakers, dtype=np.int64)
    dealt[order] = np.arange(order.size) % n
    return dealt


def set_of_groups(blocks: Blocks, groups: Codes) -> Codes:
    """Return a number for each speaker (speakers,) that is the same for speakers who have the same groups."""
    has = np.zeros((blocks.n_speakers, blocks.n_groups), dtype=bool)
    has[blocks.speaker, groups] = True
    return np.unique(has, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)
