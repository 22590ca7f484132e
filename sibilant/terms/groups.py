"""Sounds set side by side: by context, in sets of three sayings, /s/ against another sound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class ContextCell:
    """One context: position, cluster, neighbour vowel. ``rank`` is None under eight tokens, equals share it."""

    key: str
    position: str
    cluster: str
    vowel: str
    n: int
    mean: float
    low: float
    high: float
    shrunk: float
    rank: int | None = None
    reason: str = ""

    @property
    def name(self) -> str:
        """The context in words."""
        return " ".join(part for part in (self.position, self.cluster and f"/{self.cluster}/", self.vowel) if part)


@dataclass(frozen=True, slots=True)
class SetOfThree:
    """First against third in words said three times: sets falling, exact paired p, and the measure's own fall."""

    key: str
    n_sets: int
    n_falling: int
    n_rising: int
    first: float
    third: float
    p: float | None
    reasons: tuple[str, ...] = ()
    formula: str = "exact sign test over sets (McNemar for judgements)"

    @property
    def sentence(self) -> str:
        """The plain sentence, which names no cause."""
        return f"third lower than first in {self.n_falling} of {self.n_sets} sets"


@dataclass(frozen=True, slots=True)
class Contrast:
    """/s/ against /ʃ/ (or /θ/) for this speaker in one session; ``reasons`` where it can't be judged (seven of each).

    ``over`` says which sounds: those judged correct, all attempts, or /s/ heard as wrong beside like vowels.
    ``left_out`` counts, by reason, those of them that gave no value.
    """

    key: str
    session: int
    n_s: int
    n_sh: int
    difference: float
    low: float
    high: float
    auc: float
    auc_low: float
    auc_high: float
    overlap: float
    reasons: tuple[str, ...] = ()
    over: str = "sounds judged correct"
    against: str = "ʃ"
    overlap_low: float = float("nan")
    overlap_high: float = float("nan")
    left_out: Mapping[str, int] = field(default_factory=dict)

    @property
    def left_out_words(self) -> str:
        """Such as ``left out: buried 3 (weak sounds fail first), uncorrected 2``; empty with none."""
        said = {"buried": " (weak sounds fail first)", "uncorrected": " (no pause to judge the noise by)"}
        parts = [f"{reason} {n}{said.get(reason, '')}" for reason, n in sorted(self.left_out.items())]
        return f"left out: {', '.join(parts)}" if parts else ""
