"""What is asked of a corpus run, what it is made of, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from ..errors import UsageError
from ..terms import Interval, Method, Prompt

TOKENS_CSV = "tokens.csv"
TOKENS_PARQUET = "tokens.parquet"
RUN_FILE = "run.json"
PARTS = "parts"


@dataclass(frozen=True, slots=True)
class CorpusRequest:
    """What is asked: a folder or a manifest, where results go, the methods, and on what it runs.

    Without ``method_names``, the widest house method that the sampling rates of most recordings hold.
    ``words``: prompts for recordings that name none of their own (LIST.csv or a built-in list). ``workers``: processes
    here; ``scheduler``: address of a dask scheduler to use instead. ``resume``: go on with a run that was cut short.
    """

    source: Path
    to: Path
    method_names: tuple[str, ...] = ()
    words: str = ""
    workers: int = 2
    scheduler: str = ""
    resume: bool = False

    def __post_init__(self) -> None:
        if self.workers < 1:
            raise UsageError(f"--workers: at least 1 is needed, got {self.workers}")


@dataclass(frozen=True, slots=True)
class Given:
    """A stretch that a person marked, its label, and the cells carried through with it."""

    interval: Interval
    label: str = ""
    carried: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Piece:
    """One recording to measure: how the table calls it, where it lies, what was said or marked, what is carried.

    ``channel`` counts from 1; None where the recording has one.
    ``corpus_cut_hz``: where its speaker's recordings are cut off (0: nowhere); None: judged by itself.
    ``problem`` says why it can't be measured at all, such as a word without known pronunciation.
    """

    recording: str
    path: str
    prompts: tuple[Prompt, ...] = ()
    given: tuple[Given, ...] = ()
    marked: bool = False
    carried: tuple[tuple[str, str], ...] = ()
    problem: str = ""
    channel: int | None = None
    corpus_cut_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """The order with its files read: pieces by name, methods, columns carried through, files passed over, notes."""

    pieces: tuple[Piece, ...]
    methods: tuple[Method, ...]
    carried: tuple[str, ...] = ()
    passed_over: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run left: counts by finding and by reason, files, and how many pieces were taken from an earlier run."""

    n_recordings: int
    n_unreadable: int
    n_tokens: int
    n_reused: int
    findings: Mapping[str, int]
    reasons: Mapping[str, int]
    files: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())
