"""What is asked of a study, checked at birth: groups, speakers, measures, filters, which analysis counts.

Declared before anything is looked at, and kept with the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import UsageError

Primary = Literal["", "mixed", "paired"]
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

    ``primary``: the analysis that the study's conclusions rest on, ``mixed`` (model of all tokens) or ``paired``
    (differences over speakers' means); undeclared, the model leads, and that is said. The other is told beside it.
    ``reference``: compare every group with this one only (planned contrasts); without it, all pairs. ``where``: filters
    such as ``age>7``. ``word``: column of the words; without it ``word`` where the table has one, else ``prompt``.
    ``phone``: the sibilants compared, with commas (all where the table names no phones). ``covariates``: columns that
    enter the models beside the group, numbers as numbers; ``interaction``: the one whose effect may differ between
    groups; ``context``: one more of them. ``method``: which of several in the table.
    """

    by: str
    speaker: str = "speaker"
    word: str = ""
    measures: tuple[str, ...] = ()
    primary: Primary = ""
    reference: str = ""
    where: tuple[str, ...] = ()
    phone: str = ""
    covariates: tuple[str, ...] = ()
    interaction: str = ""
    context: str = ""
    method: str = ""
    n_permutations: int = 9999
    n_chance: int = 100
    n_folds: int = 10
    n_repeats: int = 5
    seed: int = 2026

    def __post_init__(self) -> None:
        if not self.by or not self.speaker:
            raise UsageError("a study needs the column of the groups (--by) and that of the speakers (--speaker)")
        if self.by == self.speaker:
            raise UsageError(f"--by and --speaker both name {self.by}; groups and speakers are two columns")
        if self.primary not in ("", "mixed", "paired"):
            raise UsageError(f"--primary {self.primary}: mixed or paired")
        twice = [name for name in self.beside if name in (self.by, self.speaker)]
        if twice:
            raise UsageError(f"{twice[0]}: is already the column of groups or speakers; name another covariate")
        if self.n_permutations < 99 or self.n_chance < 19 or self.n_folds < 2 or self.n_repeats < 1:
            raise UsageError("a study needs at least 99 permutations, 19 draws of chance, 2 folds and 1 repeat")

    @property
    def leading(self) -> Literal["mixed", "paired"]:
        """The primary analysis, declared or not."""
        return self.primary or "mixed"

    @property
    def beside(self) -> tuple[str, ...]:
        """Columns that enter the models beside the group."""
        return tuple(dict.fromkeys(name for name in (*self.covariates, self.context, self.interaction) if name))

    @property
    def phones(self) -> tuple[str, ...]:
        """Sibilants compared: those asked; else /s/, or /s/ and /sh/ where the groups are the phones themselves."""
        asked = self.phone or ("S,SH" if self.by == "phone" else "S")
        return tuple(one.strip().upper() for one in asked.split(",") if one.strip())
