"""What is listened to: recordings, prompts, words, and the sibilants bounded in them."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

from .vocabulary import (
    BESIDE_SIBILANTS,
    CUES,
    FINDINGS,
    LEVELS,
    POSITIONS,
    SIBILANTS,
    VOICES,
    Cue,
    Finding,
    Level,
    Position,
    Voice,
    check_words,
)

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

Beside = Literal["silence", "voiced", "release", "frication", "edge_of_recording"]
_BESIDE = get_args(Beside)


@dataclass(frozen=True, slots=True)
class Source:
    """Where a recording came from: base name, hash of the file's bytes, chosen channel and how it was coded."""

    path: str
    sha256: str
    recorded_on: dt.date | None = None
    channel: int = 1
    bit_depth: int | None = None
    n_channels: int = 1
    coding: str = ""
    lossy: bool = False


@dataclass(frozen=True, slots=True)
class Interval:
    """A stretch of time, ``onset_s <= offset_s``, both finite and counted from the start of the recording."""

    onset_s: float
    offset_s: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.onset_s) and math.isfinite(self.offset_s) and self.onset_s <= self.offset_s):
            raise ValueError(f"an interval needs finite times in order; got {self.onset_s} to {self.offset_s} s")

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.offset_s - self.onset_s

    @property
    def duration_ms(self) -> float:
        """Length in milliseconds."""
        return 1000.0 * (self.offset_s - self.onset_s)

    def overlap_s(self, other: Interval) -> float:
        """Seconds shared with another stretch."""
        return max(0.0, min(self.offset_s, other.offset_s) - max(self.onset_s, other.onset_s))


@dataclass(frozen=True, slots=True)
class Recording:
    """One channel of sound at its native rate: ``samples`` (n,) float32 in -1 to 1, read-only."""

    samples: npt.NDArray[np.float32]
    sampling_rate_hz: int
    source: Source

    def __post_init__(self) -> None:
        if self.samples.ndim != 1 or self.samples.size == 0:
            raise ValueError("a recording holds one channel with at least one sample")
        if self.sampling_rate_hz <= 0:
            raise ValueError("a recording needs a sampling rate above zero")
        self.samples.setflags(write=False)

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.samples.size / self.sampling_rate_hz

    def cut(self, interval: Interval) -> npt.NDArray[np.float32]:
        """Samples of a stretch, clamped to the recording, as a read-only view."""
        first = max(0, round(interval.onset_s * self.sampling_rate_hz))
        last = min(self.samples.size, round(interval.offset_s * self.sampling_rate_hz))
        return self.samples[first : max(first, last)]

    def let_go(self) -> None:
        """Drop the resident pages of a long recording that is mapped from a file; nothing else changes."""
        let_go(self.samples)


def let_go(samples: npt.NDArray[np.float32]) -> None:
    """Drop the resident pages of mapped samples, so that a pass over two hours does not fill memory."""
    mapped = getattr(samples, "_mmap", None)
    if mapped is not None and hasattr(mapped, "madvise"):
        import mmap

        mapped.madvise(mmap.MADV_DONTNEED)


@dataclass(frozen=True, slots=True)
class Word:
    """A spelling and the phones taken for it (ARPABET, vowels with their stress digit).

    ``guessed``: no dictionary holds it, or it is said with /s/ or /z/; its sibilants are then never more than unsure.
    """

    spelling: str
    phones: tuple[str, ...]
    guessed: bool = False


@dataclass(frozen=True, slots=True)
class SibilantSlot:
    """A place in a prompt where a sibilant is expected.

    ``phone`` is ARPABET without stress (S Z SH ZH; affricates CH JH are slots too, never targets; TH only in a prompt
    for it); ``index`` is the
    1-based place among the prompt's sibilants; ``word_index`` and ``phone_index`` are 0-based places among the
    prompt's words and among all its phones; ``cluster`` is such as ``st`` or empty; ``previous_phone`` and
    ``next_phone`` reach across words and are empty at the prompt's ends.
    """

    phone: str
    index: int
    position: Position
    cluster: str = ""
    word_index: int = 0
    phone_index: int = 0
    stress: str = ""
    vowel_before: str = ""
    vowel_after: str = ""
    rounded: bool = False
    previous_phone: str = ""
    next_phone: str = ""

    def __post_init__(self) -> None:
        check_words(self, phone=(*SIBILANTS, *BESIDE_SIBILANTS), position=POSITIONS)


@dataclass(frozen=True, slots=True)
class Prompt:
    """What the speaker was asked to say: a word, phrase or sentence, in the order spoken.

    ``words`` may be empty when nothing is known of the pronunciation; ``slots`` are the sibilants expected. Level and
    cue are empty where they are not stated.

    Raises
    ------
    WordError
        When level or cue is none of the words allowed.
    """

    text: str
    words: tuple[Word, ...] = ()
    slots: tuple[SibilantSlot, ...] = ()
    level: Level | Literal[""] = "word"
    cue: Cue | Literal[""] = ""
    target: str = "S"
    treated: bool | None = None
    recording: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "level", LEVELS.read_or_empty(self.level))
        object.__setattr__(self, "cue", CUES.read_or_empty(self.cue))

    @property
    def phones(self) -> tuple[str, ...]:
        """All phones of all words in order."""
        return tuple(phone for word in self.words for phone in word.phones)


@dataclass(frozen=True, slots=True)
class Utterance:
    """A stretch of a recording taken as one attempt at a prompt.

    ``prompt_index`` is the 1-based place in the list (0 with no list); ``attempt`` counts from 1; ``sure`` is false
    when the match of stretch and prompt could be another; ``counts`` marks the attempt that enters the figures.
    """

    prompt: Prompt | None
    prompt_index: int
    attempt: int
    interval: Interval
    confidence: float = 1.0
    voice: Voice = "client"
    sure: bool = True
    counts: bool = True

    def __post_init__(self) -> None:
        check_words(self, voice=VOICES)


@dataclass(frozen=True, slots=True)
class Edge:
    """One boundary of a sibilant: where, beside what, and how sure (``uncertainty_ms`` is a half-width)."""

    time_s: float
    beside: Beside
    uncertainty_ms: float
    confidence: float
    floor_limited: bool = False

    def __post_init__(self) -> None:
        check_words(self, beside=_BESIDE)


@dataclass(frozen=True, slots=True)
class Review:
    """A person's correction of the boundaries, kept beside the automatic ones."""

    interval: Interval
    by: str
    on: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A stretch that a person marked: its edges, the label as written, and the ARPABET phone it names, if any."""

    interval: Interval
    label: str = ""
    phone: str = ""


@dataclass(frozen=True, slots=True)
class SibilantInterval:
    """A stretch of frication, bounded by the criterion of ``docs/boundaries.md``.

    ``slot`` is None for an extra one; ``automatic`` is the machine's stretch; ``core`` is the time above 15 dB below
    the plateau (or up to voicing); ``flags`` are reasons for care such as ``weak`` or ``stop_like``.
    """

    slot: SibilantSlot | None
    automatic: Interval
    core: Interval
    onset: Edge
    offset: Edge
    confidence: float
    flags: tuple[str, ...] = ()
    review: Review | None = None

    @property
    def interval(self) -> Interval:
        """The stretch that counts: the reviewed one where a person has set it."""
        return self.review.interval if self.review is not None else self.automatic

    @property
    def boundary(self) -> str:
        """``automatic`` or ``reviewed``."""
        return "automatic" if self.review is None else "reviewed"


@dataclass(frozen=True, slots=True)
class Sound:
    """What was observed at one place of a prompt, once for all methods.

    An expected sibilant, one that nobody expected, or a prompt that has none or was not heard. ``utterance`` is None
    for a prompt not heard, and where no words were looked for; ``slot`` where none was expected; ``edges`` where no
    frication was bounded. ``place`` is where the slot's sibilant lies, found or to be listened for, and
    ``slot_probability`` how likely that is right (of one not found, that the sound is not there); ``reader`` names what
    matched words to sound, with the version of its rules. These are None and empty where earlier programs kept none.
    ``mark`` is what a person marked there before anything was measured.

    Raises
    ------
    WordError
        When the finding is none of the words for one.
    """

    id: str
    finding: Finding
    utterance: Utterance | None = None
    slot: SibilantSlot | None = None
    edges: SibilantInterval | None = None
    place: Interval | None = None
    slot_probability: float | None = None
    prompt_text: str = ""
    prompt_index: int = 0
    reader: str = ""
    mark: Mark | None = None

    def __post_init__(self) -> None:
        check_words(self, finding=FINDINGS)
        if self.slot_probability is not None and not 0 <= self.slot_probability <= 1:
            raise ValueError(f"a probability is 0 to 1; got {self.slot_probability}")

    @property
    def phone(self) -> str:
        """The phone expected, empty where none was."""
        return self.slot.phone if self.slot is not None else ""

    @property
    def position(self) -> Position | Literal[""]:
        """Its place in the word, empty where no sibilant was expected."""
        return self.slot.position if self.slot is not None else ""

    @property
    def cluster(self) -> str:
        """The cluster it stands in, empty without one."""
        return self.slot.cluster if self.slot is not None else ""

    @property
    def voice(self) -> Voice | Literal[""]:
        """Whose voice it is, empty where nothing was heard."""
        return self.utterance.voice if self.utterance is not None else ""

    @property
    def counts(self) -> bool:
        """Whether it was heard in an attempt that counts."""
        return self.utterance is not None and self.utterance.counts

    @property
    def may_count(self) -> bool:
        """Whether it was heard in an attempt that counts and that may be the client's."""
        return self.counts and self.voice != "other"

    @property
    def attempt(self) -> int:
        """Which attempt at its prompt, from 1; 0 where nothing was heard."""
        return self.utterance.attempt if self.utterance is not None else 0

    @property
    def flags(self) -> tuple[str, ...]:
        """Reasons for care that hang on no method: of the edges, a guess at the word, or a prompt perhaps not said."""
        guessed = ("guessed",) if self.guessed else ()
        if self.edges is not None:
            return (*self.edges.flags, *guessed)
        return ("perhaps_not_said",) if self.utterance is None and self.finding == "unsure" else guessed

    @property
    def guessed(self) -> bool:
        """Whether the word that the slot is in is said in a way that is only a guess."""
        words = self.utterance.prompt.words if self.utterance is not None and self.utterance.prompt is not None else ()
        return self.slot is not None and self.slot.word_index < len(words) and words[self.slot.word_index].guessed
