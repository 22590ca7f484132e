r"""A step that several clients share on one device and date: asked about, never taken out.

In: how each session lies against its client's others, word by word. Out: questions. Own: at each date a step beside a
slope is fitted to every client's probes near it; their weighted mean over its error is compared with a limit that few
unchanged years pass. Only probes of one phase, and a slope of the client's own: learning is no step of the microphone.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..terms.lending import DeviceProbe
from .frame import Frame
from .session import by_word

KEY = "centroid_hz"
"""A microphone's response moves spectral measures; the spectral mean stands for them."""
LEAST_CLIENTS = 3  # fewer sharing a microphone can't speak for it; own choice
LEAST_ALIKE = 0.75
"""Share of the clients whose figures move to one side."""
LIMIT = 3.25
"""Of the mean step over its error, at the largest of all dates; what it holds is counted in docs/change.md."""
NEAR_DAYS = 135  # sessions compared lie within this of the step
EACH_SIDE, LEAST_NEAR = 2, 5  # probes on each side at least, and on both together
_SWEEPS = 20  # sweeps at most


@dataclass(frozen=True, slots=True)
class SharedStep:
    """A step on a device between two days: how many clients straddle it, how many move to its side, and its size."""

    device: str
    after: dt.date
    until: dt.date
    n_clients: int
    n_alike: int
    size: float
    score: float

    @property
    def question(self) -> str:
        """The question to the clinician."""
        side = "higher" if self.size > 0 else "lower"
        return (
            f"did something change on the microphone {self.device} between {self.after} and {self.until}? The spectral"
            f" mean of {self.n_alike} of {self.n_clients} clients is {side} after it, by {abs(self.size):.0f} Hz in the"
            " mean; if so, give it another name from then on"
        )


def device_probes(frame: Frame) -> tuple[DeviceProbe, ...]:
    """Return how each session lies against the client's others on its device; empty where no device was stated."""
    found = []
    for line in frame.series:
        groups = defaultdict(list)
        for session in line.sessions:
            if session.device and not session.bridge:
                groups[session.device, frame.under(session, KEY)].append(session)
        for (device, method), sessions in groups.items():
            effects = session_effects([by_word(frame.summary(one, KEY, method).words) for one in sessions])
            found += [
                DeviceProbe(device, method, session.on, session.phase, effect)
                for session, effect in zip(sessions, effects, strict=True)
                if math.isfinite(effect)
            ]
    return tuple(found)


def session_effects(tables: Sequence[dict[str, float]]) -> list[float]:
    """Return each session's effect beside the words' own (two-way least squares, by sweeps), NaN without a word.

    Examples
    --------
    A word missing from one session moves nothing.

    >>> session_effects([{"a": 1.0, "b": 5.0}, {"a": 3.0, "b": 7.0}, {"b": 9.0}])
    [-2.0, 0.0, 2.0]
    """
    words = sorted(set().union(*tables)) if tables else []
    x = np.asarray([[table.get(word, np.nan) for word in words] for table in tables], dtype=float)
    there = np.isfinite(x)
    if not there.any():
        return [math.nan] * len(tables)
    kept, n_words, n_sessions = np.where(there, x, 0.0), there.sum(axis=1), there.sum(axis=0)
    effects = np.zeros(len(tables))
    for _ in range(_SWEEPS):
        of_word = (kept - there * effects[:, np.newaxis]).sum(axis=0) / n_sessions
        effects = (kept - there * of_word).sum(axis=1) / np.maximum(n_words, 1)
    effects -= effects[n_words > 0].mean()
    return [round(float(value), 2) if n else math.nan for value, n in zip(effects, n_words, strict=True)]


def shared_steps(clients: Sequence[Sequence[DeviceProbe]]) -> tuple[SharedStep, ...]:
    """Return the largest step of each device and method that several clients share; none for most.

    Parameters
    ----------
    clients : sequence of sequences of DeviceProbe
        One a client.
    """
    groups: dict[tuple[str, str], list[list[DeviceProbe]]] = defaultdict(list)
    for probes in clients:
        for group in sorted({(one.device, one.method) for one in probes}):
            groups[group].append(sorted((p for p in probes if (p.device, p.method) == group), key=lambda p: p.on))
    found = [_largest(device, those) for (device, _), those in sorted(groups.items()) if len(those) >= LEAST_CLIENTS]
    return tuple(one for one in found if one is not None)


def _largest(device: str, clients: Sequence[Sequence[DeviceProbe]]) -> SharedStep | None:
    scale = _day_sd(clients)
    if not scale > 0:
        return None
    days = sorted({probe.on for probes in clients for probe in probes})[1:]
    steps = [step for day in days if (step := _step(device, day, clients, scale)) is not None]
    largest = max(steps, key=lambda step: abs(step.score), default=None)
    return largest if largest is not None and abs(largest.score) > LIMIT else None


def _day_sd(clients: Sequence[Sequence[DeviceProbe]]) -> float:
    """SD of one session's effect, from neighbours of one phase: by their median, which one step doesn't move."""
    apart = [
        later.value - earlier.value
        for probes in clients
        for earlier, later in pairwise(probes)
        if earlier.phase == later.phase
    ]
    return 1.4826 * float(np.median(np.abs(apart))) / math.sqrt(2) if len(apart) >= LEAST_CLIENTS else math.nan


def _step(device: str, day: dt.date, clients: Sequence[Sequence[DeviceProbe]], scale: float) -> SharedStep | None:
    near = [found for probes in clients if (found := _near(probes, day)) is not None]
    if len(near) < LEAST_CLIENTS:
        return None
    apart, variances = np.asarray([_own_step(early, late, day) for early, late in near]).T
    weight = 1 / variances
    size = float((weight * apart).sum() / weight.sum())
    n_alike = int((apart * size > 0).sum())
    if n_alike < LEAST_ALIKE * len(near):
        return None
    after, until = max(early[-1].on for early, _ in near), min(late[0].on for _, late in near)
    return SharedStep(device, after, until, len(near), n_alike, size, size * math.sqrt(float(weight.sum())) / scale)


def _near(probes: Sequence[DeviceProbe], day: dt.date) -> tuple[list[DeviceProbe], list[DeviceProbe]] | None:
    """Probes of one phase before a day and from it on; None where they are too few to tell a step from a slope."""
    late = [p for p in probes if p.on >= day and (p.on - day).days <= NEAR_DAYS]
    if not late:
        return None
    early = [p for p in probes if p.on < day and (day - p.on).days <= NEAR_DAYS and p.phase == late[0].phase]
    late = [p for p in late if p.phase == late[0].phase]
    enough = min(len(early), len(late)) >= EACH_SIDE and len(early) + len(late) >= LEAST_NEAR
    return (early, late) if enough else None


def _own_step(early: Sequence[DeviceProbe], late: Sequence[DeviceProbe], day: dt.date) -> tuple[float, float]:
    """One client's step beside a slope of its own, and its variance for probes of variance 1 (least squares).

    With t the days and h the side, both about their means: (S_yh S_tt - S_yt S_th) / (S_hh S_tt - S_th^2), in plain
    sums, since it is asked for at every date.
    """
    both, n_late = [*early, *late], len(late)
    n = len(both)
    days = [(probe.on - day).days for probe in both]
    middle, side, mean = sum(days) / n, n_late / n, math.fsum(probe.value for probe in both) / n
    tt = sum((t - middle) ** 2 for t in days)
    th = sum(t - middle for t in days[n - n_late :])
    hh = n_late * (1 - side)
    yt = math.fsum((probe.value - mean) * (t - middle) for probe, t in zip(both, days, strict=True))
    yh = math.fsum(probe.value - mean for probe in late)
    whole = hh * tt - th**2
    return (yh * tt - yt * th) / whole, tt / whole
