"""Two kept sounds to hear one after another: the same word then and now, or a word and the one nearest the mean."""

from __future__ import annotations

from dataclasses import dataclass

from ..progress import expected
from ..terms.case_view import CaseView
from ..terms.clinic import Case
from ..terms.kept import KeptToken


@dataclass(frozen=True, slots=True)
class KeptWord:
    """A word whose sound is kept: where it is found, how it is called, and its figure where it may be seen."""

    session: int
    key: str
    word: str
    heard: str = ""
    value: float | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """Two words to set beside each other, and why."""

    why: str
    first: KeptWord
    second: KeptWord


def kept_words(case: Case, view: CaseView) -> dict[int, tuple[KeptWord, ...]]:
    """Return by session the words whose sound is kept, lowest figure first where figures may be seen."""
    found: dict[int, tuple[KeptWord, ...]] = {}
    for session in case.sessions:
        values = _values(view, session.number)
        words = [_word(token, values) for token in expected(case.tokens_of(session.number)) if token.clip]
        if words:
            known = [one for one in words if one.value is not None]
            rest = [one for one in words if one.value is None]
            found[session.number] = (*sorted(known, key=lambda one: one.value or 0.0), *rest)
    return found


def _values(view: CaseView, number: int) -> dict[str, float]:
    summary = next((one for one in view.summaries if one.number == number and one.shown), None)
    measured = summary.measures.get(view.main_measure) if summary is not None else None
    return {word.key: word.value for word in measured.words} if measured is not None else {}


def _word(token: KeptToken, values: dict[str, float]) -> KeptWord:
    heard = token.judgements[-1].heard if token.judgements else ""
    return KeptWord(token.session, token.key, token.prompt, heard, values.get(token.key))


def pairs(words: dict[int, tuple[KeptWord, ...]], view: CaseView) -> tuple[Pair, ...]:
    """Return each word that is kept both early and late; then the word farthest from the last mean and the nearest.

    A pair by figures is offered only where the session's figures may be seen.
    """
    numbers = sorted(words)
    found: list[Pair] = []
    if len(numbers) > 1:
        late = {one.word: one for one in words[numbers[-1]]}
        early = {one.word: one for one in reversed(words[numbers[0]])}
        found = [Pair("the same word, then and now", early[w], late[w]) for w in sorted(early.keys() & late.keys())]
    return (*found, *_beside_the_mean(words[numbers[-1]] if numbers else (), view))


def _beside_the_mean(words: tuple[KeptWord, ...], view: CaseView) -> tuple[Pair, ...]:
    known = [one for one in words if one.value is not None]
    last = view.last
    measured = last.measures.get(view.main_measure) if last is not None else None
    if len(known) < 3 or measured is None:
        return ()
    ordered = sorted(known, key=lambda one: abs((one.value or 0.0) - measured.mean))
    why = "the word farthest from the session’s mean, and the one nearest it"
    return (Pair(why, ordered[-1], ordered[0]),)
