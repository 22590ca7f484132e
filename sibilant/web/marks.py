"""The keys and marks of judgement: each mark stands beside its word, and none is chosen beforehand."""

from __future__ import annotations

from typing import NamedTuple


class Mark(NamedTuple):
    """One thing that can be heard: the word kept, the key for it, its mark, and what it is called."""

    heard: str
    key: str
    mark: str
    name: str


MARKS = (
    Mark("correct", "c", "●", "correct"),
    Mark("approximation", "a", "○", "approximation"),
    Mark("distorted", "d", "◐", "distorted"),
    Mark("substituted", "s", "■", "substituted"),
    Mark("omitted", "o", "–", "omitted"),
    Mark("added", "+", "+", "added"),
    Mark("no_response", "n", "·", "no response"),
    Mark("not_scorable", "x", "×", "not scorable"),
)
