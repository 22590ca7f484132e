"""Percent correct by ear: whose judgement counts, by which rule, over which tokens."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Literal

from ..terms.by_ear import Accuracy, AccuracyCell, MoveUp, WordsGained
from ..terms.clinic import MoveUpRule, Session
from ..terms.kept import Judgement, KeptToken
from ..terms.vocabulary import Heard
from .paired_shares import newcombe_paired
from .proportions import mcnemar_exact, wilson

Rule = Literal["strict", "common distortions forgiven", "distortions forgiven"]
COMMON_DISTORTIONS = frozenset({"dentalised", "frontal"})
SCORED: frozenset[Heard] = frozenset({"correct", "approximation", "distorted", "substituted", "omitted"})
RULE_TEXT: dict[Rule, str] = {
    "strict": "percent /s/ correct = correct / (correct + approximation + distorted + substituted + omitted);"
    " added, no response and not scorable stand outside",
    "common distortions forgiven": "percent /s/ correct, dentalised and frontal distortions counted as correct;"
    " added, no response and not scorable stand outside",
    "distortions forgiven": "percent /s/ correct, all distortions counted as correct;"
    " added, no response and not scorable stand outside",
}


def main_rater(tokens: Iterable[KeptToken]) -> str:
    """Return the rater with the most tokens judged (the first by code among equals), empty with none."""
    counts = Counter(
        rater for token in tokens for rater in {judgement.rater for judgement in token.judgements}
    ).most_common()
    most = counts[0][1] if counts else 0
    return min((rater for rater, count in counts if count == most), default="")


def judgement_by(token: KeptToken, rater: str, *, turn: int | None = None) -> Judgement | None:
    """Return one rater's standing judgement: the one kept last in the first turn, or in the turn asked for.

    Kept last, not dated latest: the clock may have been wrong when either was made.
    """
    own = [judgement for judgement in token.judgements if judgement.rater == rater]
    if not own:
        return None
    wanted = min(judgement.turn for judgement in own) if turn is None else turn
    of_turn = [judgement for judgement in own if judgement.turn == wanted]
    return of_turn[-1] if of_turn else None


def is_correct(judgement: Judgement, rule: Rule = "strict") -> bool:
    """Say whether a judgement counts as correct under a rule."""
    if judgement.heard != "distorted":
        return judgement.heard == "correct"
    if rule == "common distortions forgiven":
        return bool(judgement.types) and set(judgement.types) <= COMMON_DISTORTIONS
    return rule == "distortions forgiven"


def accuracy(judgements: Sequence[Judgement], rule: Rule = "strict", rater: str = "") -> Accuracy:
    """Return k of n with Wilson's interval; added, no response and not scorable stand outside the count."""
    scored = [judgement for judgement in judgements if judgement.heard in SCORED]
    n_correct = sum(is_correct(judgement, rule) for judgement in scored)
    low, high = wilson(n_correct, len(scored))
    return Accuracy(n_correct, len(scored), low, high, RULE_TEXT[rule], rater)


def standing(tokens: Iterable[KeptToken], rater: str) -> list[Judgement]:
    """Return one standing judgement a token, of the attempt that counts."""
    return [judgement for token in tokens if counts(token) and (judgement := judgement_by(token, rater)) is not None]


def counts(token: KeptToken) -> bool:
    """Say whether this attempt enters the figures: the client's own voice, and the one that counts."""
    utterance = token.sound.utterance
    return utterance is None or (utterance.counts and utterance.voice == "client")


def accuracy_by(
    tokens: Sequence[KeptToken], rater: str, by: str, name_of: dict[str, str], rule: Rule = "strict"
) -> tuple[AccuracyCell, ...]:
    """Return accuracy of groups of tokens; ``name_of`` gives each token key its group, tokens without one left out."""
    groups = sorted({group for group in name_of.values() if group})
    cells = []
    for group in groups:
        judged = standing((token for token in tokens if name_of.get(token_id(token)) == group), rater)
        if judged:
            cells.append(AccuracyCell(by, group, accuracy(judged, rule, rater)))
    return tuple(cells)


def token_id(token: KeptToken) -> str:
    """Return a token's name within its client: session and key."""
    return f"{token.session}:{token.key}"


def words_gained(
    early: Sequence[KeptToken], late: Sequence[KeptToken], rater: str, *, days: tuple[dt.date, dt.date]
) -> WordsGained | None:
    """Return the same words judged on two days: gained and lost (exact McNemar), Newcombe's paired difference."""
    before, after = _right_by_word(early, rater), _right_by_word(late, rater)
    same = sorted(before.keys() & after.keys())
    if not same:
        return None
    gained = sum(after[word] and not before[word] for word in same)
    lost = sum(before[word] and not after[word] for word in same)
    both = sum(after[word] and before[word] for word in same)
    difference, low, high = newcombe_paired(both, gained, lost, len(same) - both - gained - lost)
    return WordsGained(
        early[0].session,
        late[0].session,
        len(same),
        gained,
        lost,
        mcnemar_exact(gained, lost),
        difference,
        low,
        high,
        *days,
    )


def _right_by_word(tokens: Sequence[KeptToken], rater: str) -> dict[tuple[str, int], bool]:
    right: dict[tuple[str, int], bool] = {}
    for token in tokens:
        judgement = judgement_by(token, rater) if counts(token) else None
        slot = token.sound.slot
        if judgement is not None and judgement.heard in SCORED and slot is not None:
            right.setdefault((token.prompt.casefold(), slot.index), is_correct(judgement))
    return right


def move_up(rule: MoveUpRule, level: str, scored: Sequence[tuple[Session, Accuracy]]) -> MoveUp:
    """Apply the clinic's own rule to the last sessions at a level; the intervals stand beside the answer."""
    at_level = [(session, result) for session, result in scored if session.level == level]
    last = at_level[-rule.n_sessions :]
    sessions = tuple(session.number for session, _ in last)
    accuracies = tuple(result for _, result in last)
    reasons = []
    if len(last) < rule.n_sessions:
        reasons.append(f"{len(last)} of {rule.n_sessions} sessions judged at this level")
    reasons += [
        f"session {session.number}: {result.n_scored} tokens scored, {rule.n_tokens} asked for"
        for session, result in last
        if result.n_scored < rule.n_tokens
    ]
    met = None if reasons else all(result.share >= rule.share for result in accuracies)
    return MoveUp(f"{rule.text} ({rule.source})", level, met, sessions, accuracies, tuple(reasons))
