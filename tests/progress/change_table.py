"""The table of alarms, coverage and power: the plain rule and the clinic's limit on clients drawn day by day.

Invented data – not a person.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
from invented_days import Clinic, Days, Drawn, Scenario, called, draw, others
from scipy.special import digamma, polygamma

from sibilant.progress.change import limit_factor
from sibilant.progress.related import likeness, widened
from sibilant.progress.spread import FIRST_LOOKS, ClinicSpread, clinic_level, clinic_limit, fit_spread, sd_known

A_CLINIC = 20
OTHERS = (12, 20, 40)
UNCHANGED: dict[str, Scenario] = {
    "independent days": Scenario(),
    "days related over 15 days": Scenario(days=Days(decay=15)),
    "days related over 30 days": Scenario(days=Days(decay=30)),
    "days related over 60 days": Scenario(days=Days(decay=60)),
    "days related over 180 days": Scenario(days=Days(decay=180)),
    "days related over 60 days, weekly baseline": Scenario(spacing=7, days=Days(decay=60)),
    "days related over 30 days, consecutive baseline": Scenario(spacing=1, days=Days(decay=30)),
    "independent days, weekly baseline": Scenario(spacing=7),
    "drift of +100 Hz a year": Scenario(days=Days(drift=100)),
    "drift of -100 Hz a year": Scenario(days=Days(drift=-100)),
    "drift of +200 Hz a year": Scenario(days=Days(drift=200)),
    "drift of -200 Hz a year": Scenario(days=Days(drift=-200)),
    "drift of +400 Hz a year": Scenario(days=Days(drift=400)),
    "drift of -400 Hz a year": Scenario(days=Days(drift=-400)),
    "heavy tails": Scenario(days=Days(heavy=True)),
    "one word in ten missing": Scenario(lost=0.1),
    "microphone +400 Hz, undeclared": Scenario(microphone=400),
    "microphone +400 Hz, declared": Scenario(microphone=400, declared=True),
}
STEPS = (300, 500, 800, 1100, 1400, 1700)
CHANGED: dict[str, Scenario] = {
    **{f"step of {step} Hz": Scenario(step=step) for step in STEPS},
    "learnt: 800 Hz, time constant 60 days": Scenario(learning=800),
    "learnt: 1400 Hz, time constant 60 days": Scenario(learning=1400),
}
MISFITS: dict[str, Clinic] = {
    "others twice as steady": Clinic(ratio=0.5),
    "others twice as unsteady": Clinic(ratio=2.0),
    "two kinds mixed, 4 to 1 in SD": Clinic(ratio=0.5, second=2.0),
    "two kinds mixed, client of the unsteady kind": Clinic(ratio=0.35, second=1.0),
}


@dataclass(frozen=True)
class Row:
    """One cell of the table, shares in percent."""

    k: int
    scenario: str
    rule: str
    n_others: int
    a_probe: float
    in_six: float
    in_twelve: float
    coverage: float
    within_three: float
    median_limit: float
    median_interval: float
    n: int


def row(k: int, name: str, rule: str, n_others: int, drawn: Drawn, limit: np.ndarray, half: np.ndarray) -> Row:
    """Sum one rule up over clients: alarms, coverage of the first later probe, found within three probes."""
    limit = np.broadcast_to(limit, drawn.difference.shape)
    half = np.broadcast_to(half, drawn.difference.shape)
    alarms = called(drawn.difference, limit, drawn.enough)
    first = drawn.enough[:, 0]
    inside = np.abs(drawn.difference - drawn.truth)[:, 0] <= half[:, 0]
    shares = [alarms[drawn.enough].mean(), *(alarms[:, :m].any(axis=1).mean() for m in (6, 12))]
    shares += [inside[first].mean(), alarms[:, :3].any(axis=1).mean()]
    middle = [float(np.median(limit)), float(np.median(half))]
    return Row(k, name, rule, n_others, *(round(100 * float(s), 2) for s in shares), *middle, len(first))


def plain(drawn: Drawn, k: int) -> tuple[np.ndarray, np.ndarray]:
    """Limit and interval of the plain rule."""
    return limit_factor(k) * np.maximum(drawn.s, drawn.floor[:, np.newaxis]), limit_factor(k) * drawn.s


def fits(random: np.random.Generator, scenario: Scenario, clinic: Clinic, n: int, **asked: int) -> list[ClinicSpread]:
    """One fit a clinic."""
    sds = others(random, scenario, clinic, n)
    found = [fit_spread(one, np.full(one.size, scenario.k - 1), **asked) for one in sds]
    return [one for one in found if one is not None]


def clinics(drawn: Drawn, k: int, fitted: list[ClinicSpread]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Limit, interval and SD taken, by the clinic's other clients: each clinic's share of the clients."""
    parts = np.array_split(np.arange(drawn.s.shape[0]), len(fitted))
    limit, later, half, taken = (np.empty((drawn.s.shape[0], 1)) for _ in range(4))
    for part, clinic in zip(parts, fitted, strict=True):
        s, floor = drawn.s[part, 0], drawn.floor[part]
        limit[part, 0] = clinic_limit(s, k, clinic, floor, level=clinic_level(k))
        later[part, 0] = clinic_limit(s, k, clinic, floor, level=clinic_level(k, FIRST_LOOKS + 1))
        half[part, 0] = clinic_limit(s, k, clinic, floor, level=0.05)
        taken[part, 0] = sd_known(s, k, clinic, floor)
    looks = np.arange(1, drawn.difference.shape[1] + 1)
    return np.where(looks <= FIRST_LOOKS, limit, later), half, taken


def related(drawn: Drawn, scenario: Scenario, taken: np.ndarray) -> np.ndarray:
    """By what each later probe's limit grows under the stated default decay: (clients, later probes)."""
    first = dt.date(2026, 1, 5)
    days = [first + dt.timedelta(days=int(day)) for day in scenario.on()]
    grown = []
    for later in days[scenario.k :]:
        alike = likeness(days[: scenario.k], later)
        grown.append([widened(s, f, alike) for s, f in zip(taken[:, 0], drawn.floor, strict=True)])
    return np.asarray(grown).T


def cells(k: int, name: str, scenario: Scenario, n: int) -> Iterator[Row]:
    """Every rule on one set of clients; bunched baselines also under the stated decay."""
    scenario = replace(scenario, k=k)
    random = np.random.default_rng([k, len(name), *name.encode()])
    scale = np.exp(random.normal(0, 0.35, n)) if not (scenario.step or scenario.learning) else None
    drawn = draw(random, scenario, n, scale=scale)
    limit, half = plain(drawn, k)
    yield row(k, name, "plain", 0, drawn, limit, half)
    if scenario.spacing < 21:
        grown = related(drawn, scenario, np.maximum(drawn.s[:, :1], drawn.floor[:, np.newaxis]))
        yield row(k, name, "plain, days alike over 60 days", 0, drawn, limit * grown, half * grown)
    for n_others in OTHERS:
        fitted = fits(random, scenario, Clinic(n=n_others), max(2, n // A_CLINIC))
        limit, half, taken = clinics(drawn, k, fitted)
        yield row(k, name, "clinic", n_others, drawn, limit, half)
        if scenario.spacing < 21:
            grown = related(drawn, scenario, taken)
            yield row(k, name, "clinic, days alike over 60 days", n_others, drawn, limit * grown, half * grown)


def misfit_cells(k: int, name: str, clinic: Clinic, n: int) -> Iterator[Row]:
    """Twenty other clients who are another kind of people: alarms of unchanged clients, and steps of 800 Hz."""
    random = np.random.default_rng([k, 77, len(name)])
    mixed = np.where(random.random(n) < 0.5, clinic.ratio, clinic.second) if clinic.second > 1 else np.ones(n)
    fitted = fits(random, Scenario(k=k), clinic, max(2, n // A_CLINIC))
    for step in (0.0, 800.0):
        drawn = draw(random, Scenario(k=k, step=step), n, scale=mixed)
        limit, half, _ = clinics(drawn, k, fitted)
        what = f"{name}; {f'step of {step:.0f} Hz' if step else 'unchanged'}"
        yield row(k, what, "clinic", clinic.n, drawn, limit, half)


def six_others(k: int, n_clinics: int, *, ratio: float, by_points: bool) -> tuple[float, float]:
    """Year alarms (percent) were six other clients enough: in the mean over clinics, and in the worst tenth of them.

    ``by_points``: their log SDs' mean and spread as they fall, without a least spread, without the uncertainty of both
    numbers, at a level of 5 %; else the fit and the levels of the project. Clients' own SDs differ by 0.5 in the log.
    """
    random = np.random.default_rng([6, k, round(10 * ratio)])
    scenario, each = Scenario(k=k), 200
    sds = others(random, scenario, Clinic(n=6, ratio=ratio, spread=0.5), n_clinics)
    drawn = draw(random, scenario, n_clinics * each, scale=np.exp(random.normal(0, 0.5, n_clinics * each)))
    if by_points:
        limit = np.empty((drawn.s.shape[0], 1))
        for part, one in zip(np.array_split(np.arange(limit.size), n_clinics), sds, strict=True):
            limit[part, 0] = clinic_limit(drawn.s[part, 0], k, _points(one, k - 1), drawn.floor[part], level=0.05)
    else:
        fitted = [fit_spread(one, np.full(one.size, k - 1), least=6) for one in sds]
        limit, _, _ = clinics(drawn, k, [one for one in fitted if one is not None])
    alarms = called(drawn.difference, np.broadcast_to(limit, drawn.difference.shape), drawn.enough).any(axis=1)
    by_clinic = alarms.reshape(n_clinics, each).mean(axis=1)
    return 100 * float(by_clinic.mean()), 100 * float(np.quantile(by_clinic, 0.9))


def _points(sds: np.ndarray, df: int) -> Any:
    """Mean and spread of log SDs as they fall, chi's bias and variance taken off; a spread of 0.2 at least."""
    x = np.log(sds)
    middle = x.mean() - 0.5 * (digamma(df / 2) - np.log(df / 2))
    spread = math.sqrt(max(x.var(ddof=1) - 0.25 * polygamma(1, df / 2), 0.2**2))
    return SimpleNamespace(typical=float(np.exp(middle)), spread=spread)
