"""Kinds of error by probe, position, level and cue; words heard correct; and consistency over three sayings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from ..terms.by_ear import Accuracy, MoveUp
from ..terms.care import Goal
from ..terms.clinic import MoveUpRule, Session
from ..terms.heard import Consistency, ErrorKind, GroupedBy, HeardGroup, WordsHeard
from ..terms.kept import Judgement, KeptToken
from ..terms.summaries import SessionSummary
from .accuracy import SCORED, counts, is_correct, judgement_by, move_up
from .frame import Frame
from .session import is_main_s
from .sets import sets_of_three

Judged = tuple[KeptToken, Judgement]


def error_kind(judgement: Judgement) -> ErrorKind:
    """Return the kind of error that a person marked."""
    if judgement.heard == "distorted":
        return ErrorKind("distorted", tuple(sorted(judgement.types)))
    if judgement.heard == "substituted":
        return ErrorKind("substituted", (), judgement.substitute.strip())
    return ErrorKind(judgement.heard)


def heard_groups(frame: Frame) -> tuple[HeardGroup, ...]:
    """Return every judged probe, whole and in groups: by position, level and cue, each where there is more than one."""
    found: list[HeardGroup] = []
    for session in frame.sessions:
        here = _judged(frame, frame.wanted(frame.tokens(session), session))
        if here:
            found.append(_group(session, "probe", "", here))
            found += _grouped(session, "position", [(_position(token), (token, one)) for token, one in here])
        everything = _judged(frame, frame.case.tokens_of(session.number))
        found += _grouped(session, "level", [(t.level or session.level, (t, j)) for t, j in everything])
        found += _grouped(session, "cue", [(j.cue or t.cue or session.cue, (t, j)) for t, j in everything])
    return tuple(found)


def _judged(frame: Frame, tokens: Iterable[KeptToken]) -> list[Judged]:
    """The sounds of the main figures that one person scored."""
    own = [(t, judgement_by(t, frame.rater)) for t in tokens if is_main_s(t) and counts(t)]
    return [(token, one) for token, one in own if one is not None and one.heard in SCORED]


def _position(token: KeptToken) -> str:
    return token.sound.position


def _grouped(session: Session, by: GroupedBy, named: Sequence[tuple[str, Judged]]) -> list[HeardGroup]:
    values = list(dict.fromkeys(value for value, _ in named if value))
    if len(values) < 2:
        return []
    return [_group(session, by, value, [one for named_so, one in named if named_so == value]) for value in values]


def _group(session: Session, by: GroupedBy, value: str, judged: Sequence[Judged]) -> HeardGroup:
    n_correct = sum(is_correct(one) for _, one in judged)
    kinds = Counter(error_kind(one) for _, one in judged if not is_correct(one))
    ordered = tuple(sorted(kinds.items(), key=lambda item: (-item[1], item[0])))
    return HeardGroup(session.number, by, value, n_correct, len(judged), ordered)


def words_heard(frame: Frame) -> tuple[WordsHeard, ...]:
    """Return the words of every judged probe by what was heard in them, in the order of the list."""
    found = []
    for session in frame.sessions:
        right: dict[str, bool] = {}
        for token, one in _judged(frame, frame.wanted(frame.tokens(session), session)):
            right[token.prompt] = right.get(token.prompt, True) and is_correct(one)
        if right:
            correct = tuple(word for word, is_right in right.items() if is_right)
            other = tuple(word for word, is_right in right.items() if not is_right)
            found.append(WordsHeard(session.number, correct, other))
    return tuple(found)


def consistencies(frame: Frame) -> tuple[Consistency, ...]:
    """Return, probe by probe, how many words said three times were heard alike each time."""
    found: dict[int, Counter[str]] = {}
    for three in sets_of_three(frame.case.tokens):
        heard = [judgement_by(token, frame.rater) for token in three if counts(token)]
        judged = [one for one in heard if one is not None and one.heard in SCORED]
        if len(judged) == 3:
            found.setdefault(three[0].session, Counter())[_alike(judged)] += 1
    return tuple(
        Consistency(number, sum(n.values()), n["correct"], n["same error"]) for number, n in sorted(found.items())
    )


def _alike(judged: Sequence[Judgement]) -> str:
    if all(is_correct(one) for one in judged):
        return "correct"
    same = len({error_kind(one) for one in judged}) == 1
    return "same error" if same and not is_correct(judged[0]) else "mixed"


def goal_probes(goal: Goal, summaries: Sequence[SessionSummary]) -> tuple[tuple[SessionSummary, Accuracy], ...]:
    """Return the judged probes at a goal's level and cue, in order."""
    return tuple(
        (one, one.accuracy)
        for one in summaries
        if one.session.level == goal.level
        and goal.cue in ("", one.session.cue)
        and one.accuracy is not None
        and one.accuracy.n_scored
    )


def goal_met(goal: Goal, summaries: Sequence[SessionSummary]) -> MoveUp:
    """Apply a goal's own criterion to the last probes at its level and cue; the intervals stand beside the answer."""
    rule = MoveUpRule(goal.share, goal.n_sessions, goal.n_sounds, "the goal's criterion")
    return move_up(rule, goal.level, [(one.session, accuracy) for one, accuracy in goal_probes(goal, summaries)])
