"""A comparison of the client's own: /s/ less another sound, practised words less others, probed at the same sessions.

What moves both - the day, the microphone, the room - is taken off; what moves /s/ alone, or the practised words alone,
stays. Judged by the plain rule, over the baseline's own differences.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..terms.change import UNJUDGED, WITHIN, Change
from ..terms.clinic import Session
from ..terms.kept import KeptToken
from ..terms.summaries import MeasureSummary
from .change import (
    LEAST_BASELINE,
    LEAST_WORDS,
    agreed,
    difference_from,
    direction_word,
    plain_limits,
    token_error,
    too_few,
)
from .frame import Frame
from .session import is_main_s, summarise

ANOTHER_SOUND = "less /ʃ/ probed at the same sessions"
NOT_PRACTISED = "practised words less words not practised"
Wanted = Callable[[KeptToken], bool]
Pair = Callable[[Frame, Session], tuple[Wanted, Wanted]]


@dataclass(frozen=True, slots=True)
class Both:
    """What is followed and what is taken off, in one session."""

    session: int
    followed: MeasureSummary
    beside: MeasureSummary


def own_comparisons(frame: Frame) -> tuple[Change, ...]:
    """Return the main measure's changes less what was probed beside it; empty where there is nothing of the kind.

    Only where eight words of both were measured in the baseline and later, on the main line.
    """
    line = frame.series[0] if frame.series else None
    if line is None or len(line.baseline) < LEAST_BASELINE:
        return ()
    later = [session for session in line.later if frame.shown(session)]
    key = frame.keys[0]
    found: list[Change] = []
    for against, pair in _offered(frame, later):
        first = []
        for session in later:
            wanted = pair(frame, session)
            method = frame.under(session, key)
            baseline = [_both(frame, one, method, wanted) for one in line.baseline]
            first.append(less(key, baseline, _both(frame, session, method, wanted), against))
        found += agreed([one for one in first if one is not None])
    return tuple(found)


def _offered(frame: Frame, later: Sequence[Session]) -> list[tuple[str, Pair]]:
    """What was probed beside the words followed at all."""
    pairs: list[tuple[str, Pair]] = []
    if any(_is_sh(token) for token in frame.case.tokens):
        pairs.append((ANOTHER_SOUND, _sounds))
    if any(frame.treated(token, session) for session in later[-1:] for token in frame.tokens(session)):
        pairs.append((NOT_PRACTISED, _practised))
    return pairs


def _sounds(frame: Frame, session: Session) -> tuple[Wanted, Wanted]:
    """/s/ in the words that are followed, and /ʃ/."""
    return (lambda t: is_main_s(t) and bool(frame.wanted([t], session))), _is_sh


def _practised(frame: Frame, session: Session) -> tuple[Wanted, Wanted]:
    """/s/ in words practised by the later session's day, and in the others: the same words in the baseline."""
    return (
        lambda t: is_main_s(t) and frame.treated(t, session),
        lambda t: is_main_s(t) and not frame.treated(t, session),
    )


def _is_sh(token: KeptToken) -> bool:
    return token.sound.phone == "SH"


def _both(frame: Frame, session: Session, method: str, wanted: tuple[Wanted, Wanted]) -> Both:
    tokens, key = frame.tokens(session), frame.keys[0]
    followed, beside = (summarise([t for t in tokens if want(t)], key, method) for want in wanted)
    return Both(session.number, followed, beside)


def less(key: str, baseline: Sequence[Both], new: Both, against: str) -> Change | None:
    """Return one later probe against the baseline, less what was probed beside it; None under eight words of either.

    The difference of each baseline probe is (followed new - before) - (beside new - before), both over shared words;
    the limit is t(.975, k - 1) s sqrt(1 + 1/k) over those differences, s no smaller than what tokens alone give.
    """
    followed = difference_from([one.followed for one in baseline], new.followed)
    beside = difference_from([one.beside for one in baseline], new.beside)
    n_shared = min(followed.n_shared, beside.n_shared)
    k = len(baseline)
    if n_shared < LEAST_WORDS:
        return None
    each = [one - other for one, other in zip(followed.each, beside.each, strict=True)]
    value = math.fsum(each) / k
    s = math.sqrt(math.fsum((one - value) ** 2 for one in each) / (k - 1)) if k > 1 else math.nan
    floor = math.hypot(*(token_error(side) for side in ([b.followed for b in baseline], [b.beside for b in baseline])))
    half, limit = plain_limits(s, k, floor, new.session)
    reasons = (too_few(k),) if k < LEAST_BASELINE else ()
    return Change(
        key=key,
        session=new.session,
        verdict=UNJUDGED if reasons else WITHIN,
        difference=value,
        low=value - half,
        high=value + half,
        limit=limit,
        word=direction_word(key, value),
        reasons=reasons,
        n_shared_words=n_shared,
        n_measured=new.followed.n_measured,
        n_expected=new.followed.n_expected,
        awaits=not reasons and abs(value) > limit,
        plain_limit=limit,
        against=against,
    )
