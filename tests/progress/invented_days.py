"""Invented clients day by day, in plain numpy: written apart from ``synthetic`` and from the model behind any limit.

Every client has words with levels of their own, tokens that scatter, and a state that differs from day to day in one of
several ways. Whole tables of clients are drawn at once. Invented data – not a person.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

N_WORDS, WORD_SD, TOKEN_SD, DAY_SD = 20, 600.0, 500.0, 200.0
N_LATER, DAYS_A_MONTH = 12, 30


@dataclass(frozen=True)
class Days:
    """How days differ: their SD, how long they resemble each other (0: not at all), drift a year, and their tails."""

    sd: float = DAY_SD
    decay: float = 0.0
    drift: float = 0.0
    heavy: bool = False

    def state(self, random: np.random.Generator, shape: tuple[int, ...], on: np.ndarray, sd: np.ndarray) -> np.ndarray:
        """The state on each day: (*shape, days); ``sd`` broadcasts against ``shape``."""
        z = (
            random.standard_t(3, (*shape, on.size)) / np.sqrt(3)
            if self.heavy
            else random.normal(size=(*shape, on.size))
        )
        if self.decay:
            gaps = np.diff(on)
            for i, gap in enumerate(gaps, start=1):
                like = np.exp(-gap / self.decay)
                z[..., i] = like * z[..., i - 1] + np.sqrt(1 - like**2) * z[..., i]
        return sd[..., np.newaxis] * z + self.drift * (on - on[0]) / 365.0


@dataclass(frozen=True)
class Scenario:
    """What happens to a client: baselines, their spacing, the days, a step, a gradual change, words lost, a microphone.

    ``step`` is there from the first later probe on; ``learning`` is approached with a time constant of 60 days;
    ``microphone`` is added from a later probe drawn at random; ``lost`` is the share of words that fail at random.
    """

    k: int = 3
    spacing: float = 21.0
    days: Days = Days()
    step: float = 0.0
    learning: float = 0.0
    lost: float = 0.0
    microphone: float = 0.0
    declared: bool = False

    def on(self) -> np.ndarray:
        """Days of all probes, baselines first."""
        base = self.spacing * np.arange(self.k)
        return np.concatenate([base, base[-1] + DAYS_A_MONTH * np.arange(1, N_LATER + 1)])


@dataclass(frozen=True)
class Clinic:
    """The other clients: how many, the median of their SD against this client's, its log spread, and a second kind."""

    n: int = 20
    ratio: float = 1.0
    spread: float = 0.35
    second: float = 0.0

    def sds(self, random: np.random.Generator, n_clinics: int) -> np.ndarray:
        """Each other client's SD of a probe against this client's: (clinics, others)."""
        middle = np.full((n_clinics, self.n), self.ratio)
        if self.second:
            middle = np.where(random.random(middle.shape) < 0.5, self.ratio, self.second)
        return middle * np.exp(random.normal(0, self.spread, middle.shape))


@dataclass(frozen=True)
class Drawn:
    """What a rule is given of each client: differences, baseline SDs and token errors, (clients, later probes)."""

    difference: np.ndarray
    s: np.ndarray
    floor: np.ndarray
    enough: np.ndarray
    truth: np.ndarray
    values: np.ndarray


def draw(random: np.random.Generator, scenario: Scenario, n: int, *, scale: np.ndarray | None = None) -> Drawn:
    """Draw clients; ``scale`` (n,) multiplies the day and token SD of each."""
    on, k = scenario.on(), scenario.k
    scale = np.ones(n) if scale is None else scale
    state = scenario.days.state(random, (n,), on, scenario.days.sd * scale)
    truth = np.zeros((n, N_LATER)) + scenario.step
    truth += scenario.learning * (1 - np.exp(-(on[k:] - on[k - 1]) / 60.0))
    state[:, k:] += truth
    from_probe = random.integers(0, N_LATER, n) if scenario.microphone else np.full(n, N_LATER)
    state[:, k:] += scenario.microphone * (np.arange(N_LATER) >= from_probe[:, np.newaxis])
    words = 6000 + random.normal(0, WORD_SD, (n, 1, N_WORDS))
    tokens = scale[:, np.newaxis, np.newaxis] * random.normal(0, TOKEN_SD, (n, on.size, N_WORDS))
    values = words + state[..., np.newaxis] + tokens
    if scenario.lost:
        values[random.random(values.shape) < scenario.lost] = np.nan
    counted = np.isfinite(values).sum(axis=2)
    each = np.nanmean(values[:, k:, np.newaxis] - values[:, np.newaxis, :k], axis=3)
    s = each.std(axis=2, ddof=1)
    enough = counted[:, k:] >= 0.8 * N_WORDS
    enough &= (counted[:, :k] >= 0.8 * N_WORDS).all(axis=1)[:, np.newaxis]
    if scenario.declared:
        enough &= np.arange(N_LATER) < from_probe[:, np.newaxis]
    return Drawn(each.mean(axis=2), s, token_error(values[:, :k]), enough, truth, values)


def token_error(baseline: np.ndarray) -> np.ndarray:
    """Standard error of a probe's mean by its tokens: two-way residuals over words measured every time, (clients,)."""
    every = np.isfinite(baseline).all(axis=1, keepdims=True)
    n = every.sum(axis=2, keepdims=True)
    kept = np.where(every, baseline, 0.0)
    of_word = kept.mean(axis=1, keepdims=True)
    of_probe = kept.sum(axis=2, keepdims=True) / n
    rest = np.where(every, kept - of_word - of_probe + of_probe.mean(axis=1, keepdims=True), 0.0)
    count = n[:, 0, 0]
    return np.sqrt((rest**2).sum(axis=(1, 2)) / ((count - 1) * (baseline.shape[1] - 1)) / count)


def others(random: np.random.Generator, scenario: Scenario, clinic: Clinic, n_clinics: int) -> np.ndarray:
    """SDs of the other clients' baseline probe means: (clinics, others). Their days are like this client's."""
    on = scenario.on()[: scenario.k]
    sds = clinic.sds(random, n_clinics)
    days = replace(scenario.days, drift=scenario.days.drift)
    state = days.state(random, sds.shape, on, days.sd * sds)
    means = state + sds[..., np.newaxis] * random.normal(0, TOKEN_SD / np.sqrt(N_WORDS), (*sds.shape, on.size))
    return means.std(axis=2, ddof=1)


def called(difference: np.ndarray, limit: np.ndarray, enough: np.ndarray) -> np.ndarray:
    """Which later probes are called larger than error: past the limit, the judged probe beside it too, same side."""
    found = np.zeros(difference.shape, dtype=bool)
    side = np.where(enough & (np.abs(difference) > limit), np.sign(difference), 0)
    last = np.full(difference.shape[0], -1)
    rows = np.arange(difference.shape[0])
    for i in range(difference.shape[1]):
        agree = enough[:, i] & (last >= 0) & (side[:, i] != 0) & (side[rows, last] == side[:, i])
        found[:, i] |= agree
        found[rows[agree], last[agree]] = True
        last = np.where(enough[:, i], i, last)
    return found
