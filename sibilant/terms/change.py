"""What is followed over sessions: summaries, change against measurement error, trend, accuracy, and one view of all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args

from .care import Goal, PracticeRun, Visit
from .clinic import Client, Device, Direction, EarlierProbe, Event, Session
from .heard import Consistency, HeardGroup, WordsHeard
from .lending import ClinicSpread
from .sound import Interval
from .vocabulary import HEARD, PHASES, POSITIONS, Heard, Phase, check_words

Verdict = Literal["larger than error", "within error", "cannot be judged"]
LARGER: Verdict = "larger than error"
WITHIN: Verdict = "within error"
UNJUDGED: Verdict = "cannot be judged"
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


@dataclass(frozen=True, slots=True)
class CaseView:
    """Everything a chart or a report needs of one client, computed once.

    ``changes``, ``errors``, ``trends`` and ``effects`` are in the order of ``measures``, the main one first; those
    of other measures are exploratory. ``voiced`` and ``str_cluster`` hold /z/ and /str/, which are never in the main
    figures. ``joins`` are sentences that say what was and was not joined; ``questions`` ask the clinician what nobody
    stated (when therapy started, a device, a cue); ``asked_of_devices`` what several clients' figures make worth asking
    of a device, for the clinic and never for a report; ``own_comparisons`` are changes of the main measure less what
    was probed beside it at the same sessions;
    ``presence`` is filled where /s/ was left out. ``reference`` is what the probes that later
    ones are compared with are called, ``reference_sessions`` their numbers.
    """

    client: Client
    measures: tuple[str, ...]
    summaries: tuple[SessionSummary, ...]
    errors: tuple[MeasurementError, ...] = ()
    changes: tuple[Change, ...] = ()
    trends: tuple[Trend, ...] = ()
    effects: tuple[PhaseEffect, ...] = ()
    contexts: tuple[ContextCell, ...] = ()
    sets_of_three: tuple[SetOfThree, ...] = ()
    additions: tuple[Additions, ...] = ()
    contrasts: tuple[Contrast, ...] = ()
    sustained: tuple[SustainedHold, ...] = ()
    spreads: tuple[SpreadPoint, ...] = ()
    generalisation: tuple[AccuracyCell, ...] = ()
    gained: WordsGained | None = None
    before_after: tuple[BeforeAfter, ...] = ()
    move_up: MoveUp | None = None
    agreement: Agreement | None = None
    voiced: Mapping[int, MeasureSummary] = field(default_factory=dict)
    str_cluster: Mapping[int, MeasureSummary] = field(default_factory=dict)
    events: tuple[Event, ...] = ()
    devices: tuple[Device, ...] = ()
    earlier: tuple[EarlierProbe, ...] = ()
    joins: tuple[str, ...] = ()
    made_on: dt.date | None = None
    questions: tuple[str, ...] = ()
    presence: tuple[Presence, ...] = ()
    reference: Phase = "baseline"
    reference_sessions: tuple[int, ...] = ()
    contrasts_beside: tuple[Contrast, ...] = ()
    ear_and_figure: EarAndFigure | None = None
    advice: tuple[str, ...] = ()
    heard: tuple[HeardGroup, ...] = ()
    words_heard: tuple[WordsHeard, ...] = ()
    consistency: tuple[Consistency, ...] = ()
    goals: tuple[Goal, ...] = ()
    visits: tuple[Visit, ...] = ()
    runs: tuple[PracticeRun, ...] = ()
    asked_of_devices: tuple[str, ...] = ()
    own_comparisons: tuple[Change, ...] = ()

    def __post_init__(self) -> None:
        for name in ("voiced", "str_cluster"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))
        check_words(self, reference=PHASES)

    @property
    def main_measure(self) -> str:
        """The measure chosen at the start."""
        return self.measures[0]

    def changes_of(self, key: str) -> tuple[Change, ...]:
        """Changes of one measure, by session."""
        return tuple(change for change in self.changes if change.key == key)

    def error_of(self, key: str) -> MeasurementError | None:
        """The baseline's error of one measure."""
        return next((error for error in self.errors if error.key == key), None)

    @property
    def last(self) -> SessionSummary | None:
        """The latest session."""
        return self.summaries[-1] if self.summaries else None
