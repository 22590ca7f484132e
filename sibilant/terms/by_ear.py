"""What people heard, counted: accuracy with its intervals, words gained, agreement of raters, ear beside figure."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal, get_args

from .vocabulary import check_words

AgreementKind = Literal["between raters", "one rater twice"]


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Percent correct by ear: k of n with its Wilson 95 % interval and the rule by which it was counted."""

    n_correct: int
    n_scored: int
    low: float
    high: float
    rule: str
    rater: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.n_correct <= self.n_scored:
            raise ValueError(f"correct tokens lie between 0 and those scored; got {self.n_correct} of {self.n_scored}")

    @property
    def share(self) -> float:
        """Share correct, NaN with none scored."""
        return self.n_correct / self.n_scored if self.n_scored else float("nan")


@dataclass(frozen=True, slots=True)
class AccuracyCell:
    """Accuracy of one group of tokens: ``by`` is position, level, cue or group (treated words, untreated words)."""

    by: str
    value: str
    accuracy: Accuracy
    treated: bool = False


@dataclass(frozen=True, slots=True)
class Additions:
    """Over-use of /s/: foil words said and those heard (or marked) with a sibilant, and extras inside prompts."""

    session: int
    n_foils: int
    n_foils_with_frication: int
    n_extra: int
    n_added_by_ear: int
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Presence:
    """Whether /s/ was there: heard in ``n_heard`` of ``n_scored``, frication found in ``n_found`` of ``n_said``."""

    session: int
    n_heard: int
    n_scored: int
    n_found: int
    n_said: int

    @property
    def share_left_out(self) -> float:
        """Share of words without /s/, by ear where they are judged, else by sound; 0 where neither is known."""
        if self.n_scored:
            return 1 - self.n_heard / self.n_scored
        return 1 - self.n_found / self.n_said if self.n_said else 0.0


@dataclass(frozen=True, slots=True)
class EarAndFigure:
    """How often a sound heard as right has the higher figure than one of its session heard as wrong, with interval."""

    key: str
    n_right: int
    n_wrong: int
    auc: float
    low: float
    high: float
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MoveUp:
    """The clinic's own rule applied: ``met`` is None where it can't be told; the intervals stand beside it."""

    rule: str
    level: str
    met: bool | None
    sessions: tuple[int, ...] = ()
    accuracies: tuple[Accuracy, ...] = ()
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WordsGained:
    """Accuracy of two sessions: the same words (exact McNemar) and the difference with Newcombe's interval.

    ``early_on`` and ``late_on`` are their days, without which nothing is told of it; ``cautions`` say what was unlike.
    """

    early_session: int
    late_session: int
    n_same: int
    gained: int
    lost: int
    p: float
    difference: float
    low: float
    high: float
    early_on: dt.date
    late_on: dt.date
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement of two or more raters, each figure with its interval by resampling tokens; NaN where not had."""

    raters: tuple[str, ...]
    n_tokens: int
    point_to_point: float
    point_low: float
    point_high: float
    kappa: float
    kappa_low: float
    kappa_high: float
    alpha: float
    alpha_low: float
    alpha_high: float
    icc: float
    icc_low: float
    icc_high: float
    n_lines: int = 0
    kind: AgreementKind = "between raters"
    reasons: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_words(self, kind=get_args(AgreementKind))
