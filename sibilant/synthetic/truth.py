"""What is true of an invented recording, exact by construction: words, edges, noises.

Tests hold what is found against it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from ..terms import Interval
from .shapes import SibilantShape

StretchKind = Literal["word", "false_start", "model", "other_voice", "breath", "cough", "click", "scrape"]
BesideWhat = Literal["silence", "voiced", "release", "frication"]


@dataclass(frozen=True, slots=True)
class TrueSibilant:
    """One sibilant that was really made.

    ``interval`` by the boundary criterion from the noiseless envelopes; ``core`` the time above 15 dB below the
    plateau within it; ``slot_index`` 1-based among the prompt's sibilants (0 for one that was put where none belongs);
    ``level_db`` of the plateau against the stressed vowel; ``shape`` the exact spectrum of this very token;
    ``word_index`` 0-based among the prompt's words; ``doubled`` when it runs into another sibilant.
    """

    phone: str
    slot_index: int
    interval: Interval
    core: Interval
    onset_beside: BesideWhat
    offset_beside: BesideWhat
    kind: str
    level_db: float
    shape: SibilantShape
    band_hz: tuple[float, float]
    voiced: bool
    word_index: int = 0
    doubled: bool = False

    @property
    def onset_s(self) -> float:
        """When it begins."""
        return self.interval.onset_s

    @property
    def offset_s(self) -> float:
        """When it ends."""
        return self.interval.offset_s

    def moved(self, by_s: float) -> TrueSibilant:
        """Return the same sound later by ``by_s``."""
        return replace(self, interval=moved(self.interval, by_s), core=moved(self.core, by_s))


@dataclass(frozen=True, slots=True)
class TruePhone:
    """Where a phone was planned (nominal middle of the transitions at both ends)."""

    phone: str
    interval: Interval

    def moved(self, by_s: float) -> TruePhone:
        """Return the same phone later by ``by_s``."""
        return TruePhone(self.phone, moved(self.interval, by_s))


@dataclass(frozen=True, slots=True)
class TrueStretch:
    """One stretch of sound: a word or phrase, or something else that is not silence.

    ``interval``: from where the dry signal first comes within 40 dB of its loudest to where it last does;
    ``prompt_index`` 1-based (0 for none); ``attempt`` 1-based among the client's attempts at that prompt, false starts
    counted; ``complete`` is false for a false start; ``omitted`` are slots in which no frication was made.
    """

    kind: StretchKind
    interval: Interval
    speaker: str = ""
    prompt_index: int = 0
    attempt: int = 0
    text: str = ""
    complete: bool = True
    sibilants: tuple[TrueSibilant, ...] = ()
    omitted: tuple[int, ...] = ()
    phones: tuple[TruePhone, ...] = ()

    def moved(self, by_s: float) -> TrueStretch:
        """Return the same stretch later by ``by_s``."""
        return replace(
            self,
            interval=moved(self.interval, by_s),
            sibilants=tuple(s.moved(by_s) for s in self.sibilants),
            phones=tuple(p.moved(by_s) for p in self.phones),
        )


@dataclass(frozen=True, slots=True)
class Truth:
    """Everything true of a recording, in the order of time; ``missing`` are 1-based prompts never said."""

    stretches: tuple[TrueStretch, ...]
    missing: tuple[int, ...] = ()
    snr_db: float | None = None
    t60_s: float = 0.0

    @property
    def sibilants(self) -> tuple[TrueSibilant, ...]:
        """All sibilants of all stretches."""
        return tuple(s for stretch in self.stretches for s in stretch.sibilants)

    @property
    def words(self) -> tuple[TrueStretch, ...]:
        """Stretches in which the client attempted a prompt (false starts included)."""
        return tuple(s for s in self.stretches if s.kind in ("word", "false_start"))


@dataclass(frozen=True, slots=True)
class Spoken:
    """An invented recording: ``samples`` (n,) float32 at ``sampling_rate_hz``, and what is true of it."""

    samples: npt.NDArray[np.float32]
    sampling_rate_hz: int
    truth: Truth

    def __post_init__(self) -> None:
        self.samples.setflags(write=False)

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.samples.size / self.sampling_rate_hz


def moved(interval: Interval, by_s: float) -> Interval:
    """Return the interval later by ``by_s``."""
    return Interval(interval.onset_s + by_s, interval.offset_s + by_s)


def clamped(interval: Interval, low_s: float, high_s: float) -> Interval:
    """Return the part of an interval between two times (empty at the nearer one when there is none)."""
    onset = min(max(interval.onset_s, low_s), high_s)
    return Interval(onset, min(max(interval.offset_s, onset), high_s))
