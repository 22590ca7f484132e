"""What clients lend each other, and with what a verdict was given."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from .vocabulary import PHASES, Phase, check_words

LEAST_SPREAD = 0.5
"""The spread of log SD is never taken smaller, however alike the clients so far: the next one may not be."""


@dataclass(frozen=True, slots=True)
class ClinicSpread:
    """What other clients say of day-to-day SD: the median SD, the spread of its logarithm, and how it was had.

    ``spread`` holds the uncertainty of both fitted numbers, so that a limit can be had again from these two alone.
    """

    typical: float
    spread: float
    n_clients: int
    fitted_on: dt.date | None = None

    def __post_init__(self) -> None:
        if not (self.typical > 0 and self.spread >= LEAST_SPREAD):
            raise ValueError(f"a typical SD is above zero and its log spread {LEAST_SPREAD} or more")


@dataclass(frozen=True, slots=True)
class Grounds:
    """What decides which others are like a client: method, level, kind of device; and its baseline probes' numbers."""

    method: str
    level: str
    device_kind: str
    baseline: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Given:
    """With what a verdict was given: its grounds (None: kept by an earlier program), how many others, on which day.

    ``lent`` is None where the plain rule gave it.
    """

    grounds: Grounds | None
    lent: ClinicSpread | None
    n_clients: int
    on: dt.date


@dataclass(frozen=True, slots=True)
class BaselineSpread:
    """The spread of one client's baseline under its conditions: what may lend strength to other clients."""

    measure: str
    method: str
    level: str
    device: str
    sd: float
    df: int


@dataclass(frozen=True, slots=True)
class DeviceProbe:
    """How one session lies against the client's others, word by word: what a question about its device rests on."""

    device: str
    method: str
    on: dt.date
    phase: Phase
    value: float

    def __post_init__(self) -> None:
        check_words(self, phase=PHASES)


@dataclass(frozen=True, slots=True)
class Lender:
    """What one client brings that agreed to lend: spreads of its baseline, and its sessions by device."""

    spreads: tuple[BaselineSpread, ...] = ()
    probes: tuple[DeviceProbe, ...] = ()
