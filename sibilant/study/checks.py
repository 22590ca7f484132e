"""What a mixed model takes for granted, held against its residuals, in plain words."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .design import Design
from .reml import Products, within_units
from .search import Optimum

Values = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
LEANS, TAILS, UNLIKE, FAR = 1.0, 3.0, 2.0, 4.0
"""Skewness, excess kurtosis, ratio of groups' SDs, and distance in SDs that are worth a word (common practice, no
source)."""


def residuals(made: Design, data: Products, found: Optimum, values: Values) -> Values:
    """Return what is left of each token after fixed and random effects, on the scale of ``values`` (n,)."""
    fitted = found.fitted
    left = values - made.fixed @ fitted.estimates
    place = within_units(made.speakers, made.nested)[0]
    n_units = int(made.speakers.max()) + 1
    swapped = data.uf.shape[0] != n_units or (bool(made.crossed) and data.owner[0] == len(made.nested))
    own = (fitted.effects_v if swapped else fitted.effects_u.reshape(-1)).reshape(n_units, -1)
    for k, part in enumerate(made.nested):
        share = own[made.speakers, place[:, k]]
        left = left - (share if part.values is None else share * part.values)
    for part in made.crossed:
        left = left - (fitted.effects_u.reshape(-1) if swapped else fitted.effects_v)[part.codes]
    return left


def in_words(left: Values, group_codes: Codes, groups: tuple[str, ...], speakers: Codes) -> tuple[str, ...]:
    """Return one sentence for each thing that the residuals show, and one when they show nothing.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> codes = np.repeat([0, 1], 200)
    >>> in_words(rng.normal(0, 1, 400), codes, ("a", "b"), codes)
    ('residuals: no lean, no heavy tails, spread alike in the groups',)
    """
    sd = float(left.std())
    if not sd > 0 or left.size < 8:
        return ("residuals: too few to look at",)
    z = (left - left.mean()) / sd
    lean, tails = float(np.mean(z**3)), float(np.mean(z**4)) - 3
    told = []
    if abs(lean) > LEANS:
        told.append(f"residuals lean to {'high' if lean > 0 else 'low'} values (skewness {lean:.1f}): intervals near"
                    " their limit should be read with care")  # fmt: skip
    if tails > TAILS:
        n_far = int(np.sum(np.abs(z) > FAR))
        told.append(f"residuals have heavy tails (excess kurtosis {tails:.1f}; {n_far} tokens beyond {FAR:g} SD):"
                    " listen to the tokens in unlike.csv")  # fmt: skip
    spread = [float(left[group_codes == k].std()) for k in range(len(groups))]
    if min(spread) > 0 and max(spread) / min(spread) > UNLIKE:
        told.append(f"the spread of tokens differs between groups (SD {max(spread) / min(spread):.1f} times as large in"
                    f" {groups[int(np.argmax(spread))]} as in {groups[int(np.argmin(spread))]}): the analysis over"
                    " speakers' means does not assume it alike")  # fmt: skip
    counts = np.bincount(speakers)
    if counts.max() > 0.2 * left.size and counts.size > 5:
        told.append(f"one speaker gives {100 * counts.max() / left.size:.0f} % of all tokens")
    return tuple(told) or ("residuals: no lean, no heavy tails, spread alike in the groups",)
