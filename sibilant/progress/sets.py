"""Words said three times running: the first against the third, set by set, never pooled."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from ..terms.groups import SetOfThree
from ..terms.kept import KeptToken
from .accuracy import SCORED, is_correct, judgement_by
from .means import SEED
from .proportions import mcnemar_exact
from .session import reason_left_out, values_under

LEAST_SETS = 6  # with five, no sign-flip p is under 0.05: 2 of 32
LEVEL = "set-of-three"


def sets_of_three(tokens: Sequence[KeptToken]) -> list[tuple[KeptToken, KeptToken, KeptToken]]:
    """Return the sets: one prompt of three equal words, or three prompts running with the same text.

    Only tokens of the level ``set-of-three`` are looked at; a set that is not whole is left out.
    """
    by_prompt: dict[tuple[int, int], list[KeptToken]] = defaultdict(list)
    for token in tokens:
        if token.level == LEVEL and token.sound.phone == "S":
            by_prompt[(token.session, token.prompt_index)].append(token)
    found = [_ordered(group) for group in by_prompt.values() if len(group) == 3]
    singles = [group[0] for group in by_prompt.values() if len(group) == 1]
    singles.sort(key=lambda token: (token.session, token.prompt_index))
    place = 0
    while place + 3 <= len(singles):
        three = singles[place : place + 3]
        running = [token.prompt_index - three[0].prompt_index for token in three] == [0, 1, 2]
        if running and len({(token.session, token.prompt.casefold()) for token in three}) == 1:
            found.append((three[0], three[1], three[2]))
            place += 3
        else:
            place += 1
    return sorted(found, key=lambda three: (three[0].session, three[0].prompt_index))


def _ordered(group: Sequence[KeptToken]) -> tuple[KeptToken, KeptToken, KeptToken]:
    def place(token: KeptToken) -> tuple[int, int]:
        slot = token.sound.slot
        return token.attempt, slot.index if slot is not None else 0

    a, b, c = sorted(group, key=place)
    return a, b, c


def first_against_third(key: str, pairs: Sequence[tuple[float, float]]) -> SetOfThree:
    """Return first against third over sets of one measure; p by sign flips of the differences, exact to 13 sets.

    Examples
    --------
    >>> first_against_third("centroid_hz", [(6000.0 + i, 5000.0) for i in range(8)]).sentence
    'third lower than first in 8 of 8 sets'
    """
    if not pairs:
        return SetOfThree(key, 0, 0, 0, float("nan"), float("nan"), None, ("no whole set of three measured",))
    array = np.asarray(pairs, dtype=float)
    fall = array[:, 0] - array[:, 1]
    reasons: tuple[str, ...] = ()
    p: float | None = None
    if len(pairs) < LEAST_SETS:
        reasons = (f"{len(pairs)} sets; a p needs {LEAST_SETS}",)
    else:
        p = _sign_flip_p(fall)
    first, third = (float(column.mean()) for column in array.T)
    n_falling, n_rising = int(np.sum(fall > 0)), int(np.sum(fall < 0))
    formula = "paired sign-flip permutation of first - third over sets, two-sided"
    return SetOfThree(key, len(pairs), n_falling, n_rising, first, third, p, reasons, formula)


def _sign_flip_p(differences: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """Exact over all 2^n signs up to 13 sets, else 9,999 seeded draws with the observed one counted in."""
    n = differences.size
    if n <= 13:
        signs = 1 - 2 * ((np.arange(2**n)[:, None] >> np.arange(n)) & 1)
        sums = np.abs(signs @ differences)
        return float(np.mean(sums >= abs(differences.sum()) * (1 - 1e-12)))
    random = np.random.default_rng(SEED)
    signs = random.choice([-1.0, 1.0], size=(9999, n))
    extreme = int(np.sum(np.abs(signs @ differences) >= abs(differences.sum()) * (1 - 1e-12)))
    return (extreme + 1) / 10000


def fades(tokens: Sequence[KeptToken], keys: Sequence[str], method: str, rater: str) -> tuple[SetOfThree, ...]:
    """Return first against third by ear (exact McNemar over sets) and for each measure."""
    sets = sets_of_three(tokens)
    if not sets:
        return ()
    results = [by_ear] if (by_ear := _fade_by_ear(sets, rater)) is not None else []
    for key in keys:
        pairs = []
        for first, _, third in sets:
            if reason_left_out(first, key, method) or reason_left_out(third, key, method):
                continue
            pairs.append((values_under(first, method)[key], values_under(third, method)[key]))
        results.append(first_against_third(key, pairs))
    return tuple(results)


def _fade_by_ear(sets: Sequence[tuple[KeptToken, KeptToken, KeptToken]], rater: str) -> SetOfThree | None:
    judged = []
    for first, _, third in sets:
        a, c = judgement_by(first, rater), judgement_by(third, rater)
        if a is not None and c is not None and a.heard in SCORED and c.heard in SCORED:
            judged.append((is_correct(a), is_correct(c)))
    if not judged:
        return None
    falling = sum(a and not c for a, c in judged)
    rising = sum(c and not a for a, c in judged)
    n = len(judged)
    first_share, third_share = sum(a for a, _ in judged) / n, sum(c for _, c in judged) / n
    p = mcnemar_exact(rising, falling)
    formula = "exact McNemar over sets, judged by ear"
    return SetOfThree("accuracy", n, falling, rising, first_share, third_share, p, (), formula)
