"""The decision rule: one later probe against k baseline probes, in the words fixed for it.

Limit: |difference| > t(.975, k - 1) s sqrt(1 + 1/k), with s the SD of the baseline probes and no smaller than what
the tokens alone would give; two probes running must pass it on the same side before it is called larger than error.
Rule: own, fixed for this project; t(.975, k - 1) sqrt(1 + 1/k) is 4.97, 3.56, 3.04 for k = 3, 4, 5.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..ranges.quantiles import t_quantile
from ..terms.change import LARGER, UNJUDGED, WITHIN, Change, MeasurementError
from ..terms.clinic import Direction
from ..terms.summaries import MeasureSummary
from .means import Estimate, mean_interval, sd_interval
from .pooled import is_pooled, pooled_difference, pooled_level
from .room import noise_left, reasons_of_room
from .session import by_word

LEAST_BASELINE = 3  # the rule's own numbers (docs/change.md), as are the next two
LEAST_WORDS = 8  # words shared with the baseline
LEAST_SHARE = 0.8  # of what was expected, measured
Probe = tuple[int, MeasureSummary]
Limits = Callable[[float, int, float, int], tuple[float, float]]
"""From the baseline's SD, its k, the token error and the later probe's session: half the interval, and the limit."""


def limit_factor(k: int) -> float:
    """Return t(.975, k - 1) sqrt(1 + 1/k): how many baseline SDs one later probe must differ by.

    Examples
    --------
    >>> [round(limit_factor(k), 2) for k in (3, 4, 5)]
    [4.97, 3.56, 3.04]
    """
    return t_quantile(k - 1) * math.sqrt(1 + 1 / k)


def plain_factor(k: int, n_measures: int = 1) -> float:
    """Return the factor by which several exploratory measures keep one promise between them (Bonferroni).

    Examples
    --------
    >>> [round(plain_factor(3, n), 2) for n in (1, 2)]
    [4.97, 7.17]
    """
    return t_quantile(k - 1, 1 - 0.05 / n_measures) * math.sqrt(1 + 1 / k)


def enough(summary: MeasureSummary) -> str:
    """Return why a probe has too few measured tokens to be judged; empty when it has enough."""
    if summary.n_expected == 0 or summary.n_measured < LEAST_SHARE * summary.n_expected:
        return f"{summary.counted}; {100 * LEAST_SHARE:.0f} % are needed"
    return ""


def buried(summary: MeasureSummary) -> str:
    """Return what can be said of a level that is buried as a whole; empty where it stands clear of the noise."""
    if not is_pooled(summary):
        return ""
    level = pooled_level(summary.sums)
    if math.isfinite(level.value):
        return ""
    most = f": at most {level.at_most:.1f} dB" if math.isfinite(level.at_most) else ""
    return f"buried in the noise as a whole{most}"


def usable_baseline(probes: Sequence[Probe]) -> tuple[list[Probe], tuple[str, ...]]:
    """Return the baseline probes with enough tokens measured and a figure, and why the others don't serve."""
    why = {number: enough(summary) or buried(summary) for number, summary in probes}
    good = [(number, summary) for number, summary in probes if not why[number]]
    return good, tuple(f"baseline {number} left out: {told}" for number, told in why.items() if told)


def measurement_error(key: str, probes: Sequence[Probe]) -> MeasurementError:
    """Return what the baseline says of error; ``probes`` are (session, summary) of the baseline, in order."""
    good, reasons = usable_baseline(probes)
    means = np.asarray([summary.mean for _, summary in good], dtype=float)
    k = means.size
    sessions = tuple(number for number, _ in good)
    mean = float(means.mean()) if k else math.nan
    sd = float(means.std(ddof=1)) if k > 1 else math.nan
    low, high = sd_interval(sd, k - 1)
    floor = token_error([summary for _, summary in good])
    limit = limit_factor(k) * _at_least(sd, floor) if k >= LEAST_BASELINE else math.nan
    if k < LEAST_BASELINE:
        reasons = (*reasons, too_few(k, len(probes) - k))
    if k < 2:
        reasons = (*reasons, "the token-only figure is a lower bound of the error")
    sdc = 1.96 * math.sqrt(2) * (sd if k > 1 else floor)
    return MeasurementError(key, sessions, mean, sd, limit, sd, low, high, sdc, floor, reasons)


def too_few(k: int, n_left_out: int = 0, n_buried: int = 0) -> str:
    """Say how many baseline probes there are, how many of them serve, and how many are needed."""
    if n_left_out:
        made = k + n_left_out
        probes = f"{made} baseline probe{'s' * (made > 1)}, {k} of them with enough sounds measured"
        probes += f" ({n_buried} buried in the noise as a whole)" if n_buried else ""
        return f"{probes}; {LEAST_BASELINE} on different days are needed"
    return f"{k} baseline {'probe' if k == 1 else 'probes'}; {LEAST_BASELINE} on different days are needed"


def _at_least(sd: float, floor: float) -> float:
    return max(sd, floor) if math.isfinite(floor) else sd


def token_error(summaries: Sequence[MeasureSummary]) -> float:
    """Return the standard error of one probe's mean that its tokens alone give.

    Over words measured in every probe: sqrt(residual mean square of words by probes / words); with one probe, its SD
    over words / sqrt(words), an upper bound since words differ.
    """
    tables = [by_word(summary.words) for summary in summaries]
    if not tables:
        return math.nan
    shared = sorted(set.intersection(*(set(table) for table in tables)))
    if len(tables) == 1:
        values = np.asarray(list(tables[0].values()), dtype=float)
        return float(values.std(ddof=1)) / math.sqrt(values.size) if values.size > 1 else math.nan
    if len(shared) < 2:
        return math.nan
    x = np.asarray([[table[word] for table in tables] for word in shared], dtype=float)
    residual = x - x.mean(axis=1, keepdims=True) - x.mean(axis=0, keepdims=True) + x.mean()
    mean_square = float(np.sum(residual**2)) / ((x.shape[0] - 1) * (x.shape[1] - 1))
    return math.sqrt(mean_square / len(shared))


def plain_limits(s: float, k: int, floor: float, session: int, *, n_measures: int = 1) -> tuple[float, float]:
    """Return half the interval and the limit by the plain rule; several exploratory measures share its level."""
    factor = plain_factor(k, n_measures)
    return limit_factor(k) * s, _at_least(factor * s, factor * floor)


@dataclass(frozen=True, slots=True)
class Bridge:
    """One probe made with two devices at once: what the new device adds, with its standard error and words."""

    device: str
    offset: Estimate
    se: float
    n_words: int


def bridge(device: str, old: MeasureSummary, new: MeasureSummary) -> Bridge | None:
    """Return the offset (new - old) over words that both devices measured; None under eight of them."""
    a, b = by_word(old.words), by_word(new.words)
    differences = [b[word] - a[word] for word in sorted(a.keys() & b.keys())]
    if len(differences) < LEAST_WORDS:
        return None
    se = float(np.std(differences, ddof=1)) / math.sqrt(len(differences))
    return Bridge(device, mean_interval(differences), se, len(differences))


@dataclass(frozen=True, slots=True)
class Difference:
    """New minus baseline over shared words: one figure a baseline probe, and the SD over them."""

    value: float
    s: float
    n_shared: int
    each: tuple[float, ...] = ()


def difference_from(baseline: Sequence[MeasureSummary], new: MeasureSummary) -> Difference:
    """Return new minus baseline over the words that each baseline probe shares with the new one."""
    fresh = by_word(new.words)
    each, shared_counts = [], []
    pooled = any(is_pooled(one) for one in (*baseline, new)) and all(one.sums for one in (*baseline, new))
    for summary in baseline:
        before = by_word(summary.words)
        shared = sorted(summary.sums.keys() & new.sums.keys() if pooled else before.keys() & fresh.keys())
        shared_counts.append(len(shared))
        if pooled:
            each.append(pooled_difference(summary, new, shared))
            continue
        each.append(math.fsum(fresh[w] - before[w] for w in shared) / len(shared) if shared else math.nan)
    array = np.asarray(each, dtype=float)
    s = float(array.std(ddof=1)) if array.size > 1 else math.nan
    value = float(array.mean()) if array.size else math.nan
    return Difference(value, s, min(shared_counts, default=0), tuple(each))


def compare(
    key: str,
    baseline: Sequence[Probe],
    probe: Probe,
    *,
    apart: Sequence[str] = (),
    offset: Bridge | None = None,
    limits: Limits = plain_limits,
) -> Change:
    """Return one probe against the baseline, before the next probe's word is taken in (see :func:`changes`).

    The difference's 95 % interval is value -+ t(.975, k - 1) s sqrt(1 + 1/k) with the baseline's own s; the limit that
    the verdict hangs on takes no s below the token-only error, and is never narrower than the interval. Both are
    widened by what noise unlike the baseline's may still do.
    """
    number, summary = probe
    good, unusable = usable_baseline(baseline)
    k = len(good)
    before = [one for _, one in good]
    base = difference_from(before, summary)
    n_buried = sum(bool(buried(one)) for _, one in baseline)
    reasons = [*apart, *_why_not(summary, base, (k, len(unusable), n_buried))]
    half = limit = math.nan
    if k > 1:
        half, limit = limits(base.s, k, token_error(before), number)
    if k < LEAST_BASELINE:
        limit = math.nan
    value = base.value
    if offset is not None:
        value -= offset.offset.value
        more = t_quantile(offset.n_words - 1) * offset.se
        half, limit = math.hypot(half, more), math.hypot(limit, more)
    left = noise_left(key, before, summary)
    reasons += reasons_of_room(key, before, summary, left, limit)
    half, limit = half + left, limit + left
    passed = not reasons and abs(value) > limit
    return Change(
        key=key,
        session=number,
        verdict=UNJUDGED if reasons else WITHIN,
        difference=value,
        low=value - half,
        high=value + half,
        limit=limit,
        word=direction_word(key, value),
        reasons=tuple(reasons),
        n_shared_words=base.n_shared,
        n_measured=summary.n_measured,
        n_expected=summary.n_expected,
        awaits=passed,
        noise=left,
    )


def _why_not(summary: MeasureSummary, base: Difference, counts: tuple[int, int, int]) -> Iterator[str]:
    """Why a probe can't be judged against k baseline probes, so many left out, some of them buried; its room apart."""
    if why := enough(summary) or buried(summary):
        yield why
    if counts[0] < LEAST_BASELINE:
        yield too_few(*counts)
    if base.n_shared < LEAST_WORDS:
        yield f"{base.n_shared} words shared with the baseline; {LEAST_WORDS} are needed"
    elif not why and counts[0] >= LEAST_BASELINE and not math.isfinite(base.value):
        yield "buried in the noise over the words shared with the baseline"


def direction_word(key: str, value: float) -> Direction:
    """Return higher or lower, longer or shorter (durations); never a judgement."""
    if not math.isfinite(value) or value == 0:
        return "none"
    if key.endswith("_ms") or key.endswith("duration_s"):
        return "longer" if value > 0 else "shorter"
    return "higher" if value > 0 else "lower"


@dataclass(frozen=True, slots=True)
class ChangeRequest:
    """How a measure is looked at: which way is hoped for, and by session what sets it apart, and its bridge."""

    expected: Direction = "none"
    exploratory: bool = False
    apart: Mapping[int, Sequence[str]] = field(default_factory=dict)
    offsets: Mapping[int, Bridge] = field(default_factory=dict)


AS_IT_IS = ChangeRequest()
"""Nothing hoped for, nothing set apart."""


def changes(
    key: str,
    baseline: Sequence[Probe],
    later: Sequence[Probe],
    *,
    asked: ChangeRequest = AS_IT_IS,
    limits: Limits = plain_limits,
) -> tuple[Change, ...]:
    """Return every later probe against the baseline, each with the next (or previous) probe's word taken in.

    A probe past the limit is ``larger than error`` when the probe beside it passes on the same side; the last one of
    all waits ("cannot be judged" yet) unless the one before it agrees; one that its neighbours contradict is within
    error. "Looked at n times" counts the probes up to this one.
    """
    first = [
        compare(key, baseline, one, apart=asked.apart.get(one[0], ()), offset=asked.offsets.get(one[0]), limits=limits)
        for one in later
    ]
    return tuple(
        replace(
            change,
            n_looks=look,
            exploratory=asked.exploratory,
            as_expected=None if asked.expected == "none" else change.word == asked.expected,
        )
        for look, change in enumerate(agreed(first), start=1)
    )


def agreed(first: Sequence[Change]) -> tuple[Change, ...]:
    """Return changes, in the order of their days, with the word of the probe beside each taken in."""
    judged = [change for change in first if change.verdict != UNJUDGED]
    settled = {change.session: _settle(judged, place) for place, change in enumerate(judged)}
    return tuple(settled.get(change.session, change) for change in first)


def _settle(judged: Sequence[Change], place: int) -> Change:
    change = judged[place]
    if not change.awaits:
        return change
    neighbours = [judged[i] for i in (place + 1, place - 1) if 0 <= i < len(judged)]
    agreeing = [one.session for one in neighbours if one.awaits and one.word == change.word]
    if agreeing:
        return replace(change, verdict=LARGER, awaits=False, confirmed_by=agreeing[0])
    if place == len(judged) - 1:
        return replace(change, verdict=UNJUDGED, reasons=("past the limit; the next probe has to agree",))
    return replace(change, verdict=WITHIN, awaits=False, reasons=("past the limit once; the next probe did not agree",))
