"""One session summed up: a measure over its words, the session whole, its spread, its held sounds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from .by_ear import Accuracy, AccuracyCell
from .clinic import Event, Session
from .vocabulary import HEARD, POSITIONS, Heard, Phase, check_words


@dataclass(frozen=True, slots=True)
class WordValue:
    """One measured token, for the faint dots of a chart: ``value`` under the measure and method of its summary.

    ``error`` is one standard error of the estimator for this one sound, NaN where the measure has none.
    """

    key: str
    word: str
    value: float
    heard: Heard | None = None
    treated: bool | None = None
    position: str = ""
    cluster: str = ""
    clip: str = ""
    error: float = float("nan")

    def __post_init__(self) -> None:
        check_words(self, heard=HEARD, position=("", *POSITIONS))


@dataclass(frozen=True, slots=True)
class MeasureSummary:
    """One measure in one session: mean over words with its t interval, SD over words, and what was left out why.

    A word said more than once counts once (its mean). ``spread`` is a robust SD (1.4826 times the median absolute
    deviation); ``left_out`` counts tokens by reason and adds up to ``n_expected - n_measured``. ``apart`` says why it
    is under another method than the line, and so not joined. ``snr_db`` is the sounds' mean ratio to the noise, NaN
    without a pause; ``uncorrected`` says that the noise could be taken out of none of them, ``left_in`` that it is in
    the figure, for that reason or because the method leaves it. ``sums`` holds by word, for levels of one band over
    another, both powers, those of sounds buried in the noise too.
    """

    key: str
    method: str
    mean: float
    low: float
    high: float
    sd: float
    n_words: int
    n_measured: int
    n_expected: int
    left_out: Mapping[str, int] = field(default_factory=dict)
    words: tuple[WordValue, ...] = ()
    spread: float = float("nan")
    sd_low: float = float("nan")
    sd_high: float = float("nan")
    apart: tuple[str, ...] = ()
    snr_db: float = float("nan")
    uncorrected: bool = False
    sums: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    left_in: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "left_out", MappingProxyType(dict(self.left_out)))
        object.__setattr__(self, "sums", MappingProxyType(dict(self.sums)))

    @property
    def counted(self) -> str:
        """Such as ``measured 17 of 20 expected, left out: weak 2, voiced 1``."""
        text = f"measured {self.n_measured} of {self.n_expected} expected"
        reasons = ", ".join(f"{reason} {n}" for reason, n in sorted(self.left_out.items()))
        return f"{text}, left out: {reasons}" if reasons else text


@dataclass(frozen=True, slots=True)
class SessionSummary:
    """One session as charts and reports need it. ``month`` counts from the first baseline (days / 30.4375).

    ``measures`` holds /s/ only, by measure key; ``joined`` says whether it may be joined to the first baseline's line;
    ``apart`` lists the reasons why not (another device, level, cue or list form). ``n_checked`` of ``n_tokens`` were
    looked at by a person. ``shown`` false: figures are held back until the tokens are judged by ear.
    """

    session: Session
    month: float
    measures: Mapping[str, MeasureSummary]
    accuracy: Accuracy | None = None
    accuracy_by: tuple[AccuracyCell, ...] = ()
    n_tokens: int = 0
    n_checked: int = 0
    n_judged: int = 0
    apart: tuple[str, ...] = ()
    shown: bool = True
    events: tuple[Event, ...] = ()
    age_months: int | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "measures", MappingProxyType(dict(self.measures)))

    @property
    def number(self) -> int:
        """The session's number."""
        return self.session.number

    @property
    def on(self) -> dt.date:
        """The session's day."""
        return self.session.on

    @property
    def phase(self) -> Phase:
        """The session's phase."""
        return self.session.phase

    def apart_in(self, key: str) -> tuple[str, ...]:
        """Why the session stands apart in one measure: its conditions, or a narrower method."""
        summary = self.measures.get(key)
        return (*self.apart, *(summary.apart if summary is not None else ()))

    @property
    def joined(self) -> bool:
        """Whether the session may stand on one line with the first baseline."""
        return not self.apart


@dataclass(frozen=True, slots=True)
class SustainedHold:
    """A held /s/ in isolation, apart from durations in words."""

    session: int
    key: str
    duration_s: float
    steadiness_db: float
    drift_hz_per_s: float
    n_breaks: int


@dataclass(frozen=True, slots=True)
class SpreadPoint:
    """Variability within one session: SD over words with its chi-square interval, and a robust SD beside it."""

    key: str
    session: int
    month: float
    sd: float
    low: float
    high: float
    robust: float
    n: int
