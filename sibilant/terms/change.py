"""Change against measurement error, its words fixed: the baseline's error, one later probe, trend and phases."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from .clinic import Direction
from .lending import ClinicSpread
from .sound import Interval
from .vocabulary import check_words

Verdict = Literal["larger than error", "within error", "cannot be judged"]
LARGER: Verdict = "larger than error"
WITHIN: Verdict = "within error"
UNJUDGED: Verdict = "cannot be judged"


@dataclass(frozen=True, slots=True)
class MeasurementError:
    """What the baseline says of error: k probes on different days, their mean and SD, and Weir's values beside it.

    ``limit`` is the decision limit that gives the verdicts of the first looks, ``later_limit`` that from the fourth on,
    ``plain_limit`` that of the rule without other clients; ``sem`` and ``sdc`` are Weir's standard error of measurement
    and smallest detectable change with their chi-square interval; ``token_only`` is the error that words alone give,
    under which the baseline's SD is never taken; ``lent`` is what others lend, ``sd_known`` the SD taken with it.
    """

    key: str
    sessions: tuple[int, ...]
    mean: float
    sd: float
    limit: float
    sem: float
    sem_low: float
    sem_high: float
    sdc: float
    token_only: float
    reasons: tuple[str, ...] = ()
    lent: ClinicSpread | None = None
    sd_known: float = float("nan")
    later_limit: float = float("nan")
    plain_limit: float = float("nan")

    @property
    def k(self) -> int:
        """How many baseline probes."""
        return len(self.sessions)


@dataclass(frozen=True, slots=True)
class Change:
    """One session against the baseline, in the fixed words; ``reasons`` say why it can't be judged, or what limits it.

    ``difference`` is the mean over words measured in both, with its interval ``low`` to ``high``; ``word`` is higher,
    lower, longer, shorter or unchanged sign ``none``; ``as_expected`` is None where no direction was chosen;
    ``awaits`` says that the limit is passed but the next probe has not yet agreed; ``n_looks`` counts the looks.
    ``plain_verdict`` and ``plain_limit`` are those of the rule without other clients; ``lent`` is what other clients
    lent, kept with the verdict (None: the plain rule gave it). ``provisional`` says why days may be alike, with the
    verdict and limit under the decay of ``related_days``, stated or as ``related_basis`` says. ``n_measures`` is how
    many exploratory measures share one promise.
    ``against`` names what was taken off, probed at the same sessions: another sound, or words not practised.
    ``baseline`` is the baseline's mean where the probe is compared under a narrower method than the line's. ``noise``
    is how far noise unlike the baseline's may still move the figure; the limit holds it.
    """

    key: str
    session: int
    verdict: Verdict
    difference: float
    low: float
    high: float
    limit: float
    word: Direction
    reasons: tuple[str, ...] = ()
    n_shared_words: int = 0
    n_measured: int = 0
    n_expected: int = 0
    as_expected: bool | None = None
    awaits: bool = False
    confirmed_by: int | None = None
    n_looks: int = 1
    exploratory: bool = False
    plain_verdict: Verdict = UNJUDGED
    plain_limit: float = float("nan")
    lent: ClinicSpread | None = None
    provisional: str = ""
    related_verdict: Verdict | None = None
    related_limit: float = float("nan")
    related_days: float = 60.0
    related_basis: str = ""
    n_measures: int = 1
    against: str = ""
    baseline: float = float("nan")
    noise: float = 0.0

    def __post_init__(self) -> None:
        verdicts = get_args(Verdict)
        check_words(self, verdict=verdicts, plain_verdict=verdicts, related_verdict=verdicts, word=get_args(Direction))


@dataclass(frozen=True, slots=True)
class Trend:
    """Theil-Sen slope per month within one phase; ``p`` is None under five probes, with the reason."""

    key: str
    phase: str
    slope_per_month: float
    low: float
    high: float
    intercept: float
    n: int
    p: float | None
    reasons: tuple[str, ...] = ()
    formula: str = "Theil-Sen slope; Kendall's S, exact permutation p, two-sided"


@dataclass(frozen=True, slots=True)
class PhaseEffect:
    """Later probes against baseline probes: NAP and Tau with interval, the formula named."""

    key: str
    n_baseline: int
    n_later: int
    nap: float
    nap_low: float
    nap_high: float
    tau: float
    baseline_slope: float
    reasons: tuple[str, ...] = ()
    formula: str = "NAP = P(later > baseline) + half ties, over all pairs; Tau = 2 NAP - 1"


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """The same word early and late, to be played to a family: hashes of the kept clips, undated."""

    word: str
    early_session: int
    early_clip: str
    late_session: int
    late_clip: str
    early: Interval | None = None
    late: Interval | None = None
