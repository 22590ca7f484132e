"""What others measured, and how a value may be set beside it: evidence, never a verdict on a person."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from .vocabulary import check_words

Obtained = Literal["read", "second-hand", "memory", "computed", "yours"]
Use = Literal["value", "orientation", "acquisition", "background"]
Placement = Literal["below", "within", "above", "not comparable"]

INSIDE_SENTENCE = "Inside a range does not mean the sound is acceptable to a listener; outside does not mean it is not."
FEWEST_SPEAKERS = 10  # fewer are no range (own choice, docs/ranges.md)
ADULT_MONTHS = 18 * 12  # 18 years

_SEX_WORDS = {"f": "female", "m": "male", "both": "both sexes", "": "sex not stated"}


@dataclass(frozen=True, slots=True)
class Population:
    """Who was measured; what the source does not say is None or empty."""

    description: str
    n_speakers: int | None = None
    age_low_y: float | None = None
    age_high_y: float | None = None
    sex: str = ""
    dialect: str = ""

    @property
    def adult(self) -> bool:
        """Whether these are adults, by their ages or, where none are given, by the source's own words."""
        if self.age_low_y is not None:
            return self.age_low_y >= 18
        return "child" not in self.description and "preschool" not in self.description

    @property
    def words(self) -> str:
        """The population in one phrase, what is not known said aloud."""
        number = f"{self.n_speakers} speaker{'' if self.n_speakers == 1 else 's'}" if self.n_speakers else ""
        ages = "age not stated" if self.age_low_y is None else _ages(self.age_low_y, self.age_high_y)
        parts = (
            number or "number of speakers not stated",
            _SEX_WORDS[self.sex],
            ages,
            self.description,
            self.dialect if self.dialect not in self.description else "",
        )
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Circumstances:
    """In what place and under what task the sounds were said.

    ``cluster`` is ``none`` for single consonants, ``any``, a cluster such as ``st``, or empty where the source does
    not say; ``position``, ``level`` and ``cue`` likewise; ``context`` is the source's own wording.
    """

    position: str = ""
    cluster: str = ""
    level: str = ""
    cue: str = ""
    context: str = ""

    @property
    def words(self) -> str:
        """The circumstances in one phrase."""
        cluster = {"none": "no cluster", "any": "clusters or none", "": ""}.get(self.cluster, f"cluster {self.cluster}")
        known = (
            f"position {self.position or 'not stated'}",
            cluster,
            f"level {self.level}" if self.level else "",
            f"cue {self.cue}" if self.cue else "cue not stated",
        )
        return ", ".join(part for part in known if part)


@dataclass(frozen=True, slots=True)
class Basis:
    """Where a value stands and how it was had; ``label`` says so wherever the value is shown."""

    citation: str
    obtained: Obtained
    label: str
    citation_key: str = ""
    where: str = ""
    confidence: str = ""
    note: str = ""
    rows: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_words(self, obtained=get_args(Obtained))
        if not self.citation.strip() or not self.label.strip():
            raise ValueError("a reference value needs its source and how it was had")


@dataclass(frozen=True, slots=True)
class ReferenceRange:
    """One published, computed or own value with everything that gives it meaning.

    ``measure`` is a key of ``MEASURES`` (empty for what this program does not measure, then ``name`` says it);
    ``mean`` (or what ``statistic`` says), ``sd`` (between speakers), ``sd_within`` (between the tokens of a speaker,
    of whom each gave ``sounds_each``),
    ``low`` and ``high`` (lowest and highest speaker, or the edges the source gives) are in ``unit``; ``method`` names
    the ``Method`` under which a token must be measured (empty for durations, and where none is known); ``unknown``
    lists what the source does not say of its protocol.
    """

    measure: str
    name: str
    phone: str
    unit: str
    population: Population
    circumstances: Circumstances
    basis: Basis
    mean: float | None = None
    statistic: str = "mean"
    sd: float | None = None
    sd_within: float | None = None
    low: float | None = None
    high: float | None = None
    method: str = ""
    protocol: str = ""
    band_hz: tuple[float, float] | None = None
    unknown: tuple[str, ...] = ()
    use: Use = "value"
    sounds_each: float | None = None

    def __post_init__(self) -> None:
        check_words(self, use=get_args(Use))
        if self.mean is None and self.low is None and self.high is None:
            raise ValueError("a reference value needs a mean or an edge")
        if self.sd is not None and self.sd <= 0:
            raise ValueError("a standard deviation between speakers is above zero")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError("the low edge lies above the high one")

    @property
    def source(self) -> str:
        """Source, population, circumstances, method and how the value was had, in one line."""
        method = f"method {self.method}" if self.method else self.protocol or "method not stated"
        parts = (self.basis.citation, self.population.words, self.circumstances.words, method, self.basis.label)
        return " | ".join(parts)


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a reference value does not fit: a short code, and a sentence for people."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """A mean over tokens beside a range. ``not comparable`` carries every reason; nothing here judges a sound.

    ``value`` is the mean of ``n_tokens`` tokens, None when none could be used; ``band`` is the range for a new
    speaker; ``needs_method`` names the method the tokens must be measured with before a placement can be made.
    """

    placement: Placement
    why: tuple[Reason, ...]
    range: ReferenceRange | None = None
    value: float | None = None
    n_tokens: int = 0
    band: tuple[float, float] | None = None
    needs_method: str = ""
    statement: str = ""
    cautions: tuple[str, ...] = ()
    sentence: str = INSIDE_SENTENCE

    def __post_init__(self) -> None:
        check_words(self, placement=get_args(Placement))
        if self.placement != "not comparable" and (self.range is None or self.band is None or self.value is None):
            raise ValueError("a placement needs a value, its range and its band")
        if self.placement == "not comparable" and not self.why:
            raise ValueError("'not comparable' needs its reasons")
        if self.sentence != INSIDE_SENTENCE:
            raise ValueError("the sentence that goes with a placement is fixed")


def _ages(low_y: float, high_y: float | None) -> str:
    return f"{low_y:g} years" if high_y is None or high_y == low_y else f"{low_y:g} to {high_y:g} years"
