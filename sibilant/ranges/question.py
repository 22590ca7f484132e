"""What is asked of the tables of reference values: a measure of a person, a sound, a task and a method."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from ..errors import UsageError
from ..terms.reference import ADULT_MONTHS
from ..terms.vocabulary import CUES, LEVELS, TARGETS

Group = Literal["f", "m"]

GROUPS: Mapping[str, Group | None] = {"f": "f", "m": "m", "": None}
CONTRAST = "S-SH"
"""The phone of measures that set /s/ against /ʃ/."""


def read_group(text: str) -> Group | None:
    """Return the reference group that a text names, None for an empty one.

    Raises
    ------
    UsageError
        For any other text.

    Examples
    --------
    >>> read_group("f"), read_group("")
    ('f', None)
    """
    if text not in GROUPS:
        raise UsageError(f"group {text!r}: the reference group is f or m, or none at all")
    return GROUPS[text]


@dataclass(frozen=True, slots=True)
class Question:
    """What a value is to be set beside.

    ``group`` is the reference group, asked for, optional and off (None) by default; ``cluster`` is empty or ``none``
    for a single consonant; ``method`` is the label the tokens were measured under (empty: they will be measured again);
    ``own_baseline`` turns every range off (dialect, second language, or by choice); ``orientation`` asks for the 6–13
    year strip; ``listing`` lets what is not said go unasked, for reading the tables, never for a placement.

    Raises
    ------
    UsageError
        When group, phone, level, cue or age are not ones that can be asked for.
    """

    measure: str
    phone: str = "S"
    age_months: int | None = None
    group: Group | None = None
    position: str = ""
    cluster: str = ""
    level: str = ""
    cue: str = ""
    method: str = ""
    bandwidth_hz: float | None = None
    n_tokens: int | None = None
    dialect: str = ""
    own_baseline: bool = False
    orientation: bool = False
    listing: bool = False

    def __post_init__(self) -> None:
        phone = CONTRAST if self.phone.strip().upper() == CONTRAST else TARGETS.find(self.phone)
        if phone is None:
            raise UsageError(f"phone {self.phone!r}: reference values are asked for s, z, sh or zh")
        object.__setattr__(self, "phone", phone)
        if self.group not in ("f", "m", None):
            raise UsageError(f"group {self.group!r}: the reference group is f or m, or none at all")
        if self.age_months is not None and self.age_months < 0:
            raise UsageError("an age is zero months or more")
        object.__setattr__(self, "cue", CUES.read_or_empty(self.cue))
        object.__setattr__(self, "level", LEVELS.read_or_empty(self.level))
        object.__setattr__(self, "cluster", "" if self.cluster == "none" else self.cluster)

    @property
    def minor(self) -> bool:
        """Whether the age is known and below 18 years."""
        return self.age_months is not None and self.age_months < ADULT_MONTHS
