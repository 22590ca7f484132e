"""/s/ against another fricative for one speaker: over sounds judged correct, all attempts, and /s/ heard as wrong.

A contrast that is made and not yet heard shows in the last: the attempts at /s/ that a person heard as wrong, against
/ʃ/, beside like vowels. Sounds buried in the noise, and those whose noise could not be taken out, are left out and
counted.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..terms.groups import Contrast
from ..terms.kept import KeptToken
from ..terms.sound import SibilantSlot
from ..terms.takes import NEEDED_EACH, Separation
from ..terms.vocabulary import Heard
from .accuracy import counts, judgement_by
from .separation import separation
from .session import measured_under, reason_left_out, values_under

CORRECT, ALL, WRONG = "sounds judged correct", "all attempts", "/s/ heard as wrong, beside like vowels"
_WRONG: frozenset[Heard] = frozenset({"approximation", "distorted", "substituted"})
_IPA = {"SH": "ʃ", "TH": "θ"}
_FRONT = frozenset({"IY", "IH", "EY", "EH", "AE"})
_ROUND = frozenset({"UW", "UH", "OW", "AO", "OY", "W"})
Value = tuple[str, float]


def contrast(
    tokens: Sequence[KeptToken], session: int, key: str, method: str, rater: str, *, second: str = "SH"
) -> Contrast | None:
    """Return the separation of /s/ and another sound over those judged correct; None when no other was asked for.

    Seven of each are needed; the figures are those of :func:`~sibilant.progress.separation`.
    """
    if not any(_phone(token) == second for token in tokens):
        return None
    asked = _Asked(tokens, key, method, rater)
    return _contrast(key, session, asked.of("S", _correct), asked.of(second, _correct), (CORRECT, second))


def contrasts_beside(
    tokens: Sequence[KeptToken], session: int, key: str, method: str, rater: str
) -> tuple[Contrast, ...]:
    """Return the same over all attempts and over /s/ heard as wrong, and against /θ/ where words for it were asked.

    Beside like vowels means: both sounds are taken next to the kinds of vowel (front, rounded, other) that both have,
    each value less the middle of the two sounds' means beside its vowel.
    """
    found, asked = [], _Asked(tokens, key, method, rater)
    if any(_phone(token) == "SH" for token in tokens):
        found.append(_contrast(key, session, asked.of("S", _any), asked.of("SH", _any), (ALL, "SH")))
        wrong, sh = asked.of("S", _heard_wrong), asked.of("SH", _correct)
        if wrong.values or wrong.left_out:
            left, right = beside_like_vowels(wrong.values, sh.values)
            matched = replace(wrong, values=tuple(left)), replace(sh, values=tuple(right))
            found.append(_contrast(key, session, *matched, (WRONG, "SH")))
    against = contrast(tokens, session, key, method, rater, second="TH")
    return (*found, against) if against is not None else tuple(found)


def beside_like_vowels(first: Sequence[Value], second: Sequence[Value]) -> tuple[list[Value], list[Value]]:
    """Return both sounds' (vowel, value) beside the vowels that both have, the vowels' own share taken off.

    A vowel's share is the middle of the two sounds' means beside it, less the mean of those middles.

    Examples
    --------
    >>> s = [("front", 6000.0), ("front", 6200.0), ("rounded", 5000.0)]
    >>> beside_like_vowels(s, [("front", 5100.0), ("rounded", 4100.0), ("other", 9000.0)])
    ([('front', 5475.0), ('front', 5675.0), ('rounded', 5525.0)], [('front', 4575.0), ('rounded', 4625.0)])
    """
    shared = sorted({vowel for vowel, _ in first} & {vowel for vowel, _ in second})
    middles = {vowel: (_mean(first, vowel) + _mean(second, vowel)) / 2 for vowel in shared}
    whole = math.fsum(middles.values()) / len(middles) if middles else math.nan
    matched = [[(v, x - middles[v] + whole) for v, x in side if v in middles] for side in (first, second)]
    return matched[0], matched[1]


def _mean(values: Sequence[Value], vowel: str) -> float:
    own = [x for v, x in values if v == vowel]
    return math.fsum(own) / len(own)


def vowel_kind(slot: SibilantSlot) -> str:
    """Return front, rounded or other, of the vowel after a sound, or before it where none follows."""
    vowel = (slot.vowel_after or slot.vowel_before).rstrip("012")
    return "rounded" if slot.rounded or vowel in _ROUND else "front" if vowel in _FRONT else "other"


@dataclass(frozen=True, slots=True)
class _Side:
    """One sound's (vowel, value), and why others of it that were wanted have none."""

    values: tuple[Value, ...]
    left_out: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class _Asked:
    tokens: Sequence[KeptToken]
    key: str
    method: str
    rater: str

    def of(self, phone: str, wanted: Callable[[Heard | None], bool]) -> _Side:
        """The values of one sound, of those that the ear's word lets in; what was left out, counted."""
        values, left_out = [], Counter[str]()
        for token in self.tokens:
            slot = token.sound.slot
            if slot is None or slot.phone != phone or not counts(token) or slot.cluster.startswith("str"):
                continue
            judgement = judgement_by(token, self.rater)
            if not wanted(judgement.heard if judgement is not None else None):
                continue
            if reason := self._left_out(token):
                left_out[reason] += 1
            else:
                values.append((vowel_kind(slot), float(values_under(token, self.method)[self.key])))
        return _Side(tuple(values), dict(left_out))

    def _left_out(self, token: KeptToken) -> str:
        """A sound buried in the noise has no value; one whose noise could not be taken out lies towards the noise."""
        reason = reason_left_out(token, self.key, self.method)
        measured = measured_under(token, self.method)
        flags = {*measured.flags, *measured.measures.flags} if measured is not None else set()
        if "uncorrected" in flags:
            return "uncorrected"
        return "buried" if reason and "buried" in flags else reason


def _contrast(key: str, session: int, s: _Side, other: _Side, what: tuple[str, str]) -> Contrast:
    over, against = what[0], _IPA.get(what[1], what[1])
    left_out = dict(Counter(s.left_out) + Counter(other.left_out))
    found = separation([x for _, x in s.values], [x for _, x in other.values])
    n_s, n_other = len(s.values), len(other.values)
    if not found.judged:
        nan = math.nan
        reason = f"{n_s} /s/ and {n_other} /{against}/ measured, {over}; {NEEDED_EACH} of each are needed"
        figures = (nan, nan, nan, nan, nan, nan, nan)
        return Contrast(key, session, n_s, n_other, *figures, (reason,), over, against, left_out=left_out)
    return Contrast(key, session, n_s, n_other, *_figures(found), (), over, against, *_ends(found), left_out)


def _figures(found: Separation) -> tuple[float, float, float, float, float, float, float]:
    assert found.difference is not None and found.auc is not None and found.overlap is not None
    low, high = found.difference_interval or (math.nan, math.nan)
    auc_low, auc_high = found.auc_interval or (math.nan, math.nan)
    return found.difference, low, high, found.auc, auc_low, auc_high, found.overlap


def _ends(found: Separation) -> tuple[float, float]:
    return found.overlap_interval or (math.nan, math.nan)


def _phone(token: KeptToken) -> str:
    return token.sound.phone


def _correct(heard: Heard | None) -> bool:
    return heard == "correct"


def _any(heard: Heard | None) -> bool:
    return True


def _heard_wrong(heard: Heard | None) -> bool:
    return heard in _WRONG
