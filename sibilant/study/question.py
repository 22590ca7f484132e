"""What is asked of a study, and what it answers."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import UsageError

DEFAULT_MEASURES = (
    "core_duration_ms",
    "centroid_hz",
    "sd_hz",
    "skewness",
    "excess_kurtosis",
    "peak_hz",
    "tonality_db",
)


@dataclass(frozen=True, slots=True)
class Question:
    """What is compared: groups by a column, speakers, words, measures, and how chance is drawn.

    ``reference``: compare every group with this one only (planned contrasts); without it, all pairs. ``phone``: the
    sibilant that is compared (its tokens only; all where the table names no phones). ``context``: a column that enters
    the models beside the group, with a slope of its own for each speaker. ``method``: which of several in the table.
    """

    by: str
    speaker: str = "speaker"
    word: str = "prompt"
    measures: tuple[str, ...] = ()
    reference: str = ""
    phone: str = "S"
    context: str = ""
    method: str = ""
    n_permutations: int = 9999
    n_chance: int = 100
    n_folds: int = 10
    seed: int = 2026

    def __post_init__(self) -> None:
        if not self.by or not self.speaker:
            raise UsageError("a study needs the column of the groups (--by) and that of the speakers (--speaker)")
        if self.by == self.speaker:
            raise UsageError(f"--by and --speaker both name {self.by}; groups and speakers are two columns")
        if self.n_permutations < 99 or self.n_chance < 19 or self.n_folds < 2:
            raise UsageError("a study needs at least 99 permutations, 19 draws of chance and 2 folds")
