"""Runs of practice: what was heard of what was said, kept as practice and never as a probe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from .. import store
from ..errors import UsageError
from ..terms.care import PracticeMark, PracticeRun
from ..terms.vocabulary import PRACTICE_LEVELS
from .answers import RunRow
from .caseload import CaseloadHandle, client_or_last, opened

MOST_SAID = 400  # sounds of one run; more is a slip of the pen


def keep_run(caseload: CaseloadHandle, code: str | None, level: str, marks: Sequence[Mapping[str, Any]]) -> PracticeRun:
    """Keep a run of practice; its single words become treated from today.

    Raises
    ------
    UsageError
        When nothing was marked, or too much.
    WordError
        When a mark, a cue or the level is none of the words allowed.
    """
    if not 0 < len(marks) <= MOST_SAID:
        raise UsageError(f"a run of practice holds 1 to {MOST_SAID} marks; this one holds {len(marks)}")
    kept = tuple(PracticeMark(str(one["said"])[:80], one["heard"], one.get("cue", "")) for one in marks)
    words = {str(one["word"]).casefold()[:60] for one in marks if one.get("word")}
    with opened(caseload) as one:
        name, today = client_or_last(one, code), store.day_of(one)
        run = PracticeRun(1, today, PRACTICE_LEVELS.read(level), kept)
        store.add_run(one, name, run.on, run.level, run.marks)
        if words:
            revision, treated = one.revision(name), store.get_client(one, name).treated
            fresh = dict.fromkeys(sorted(words), today)
            store.change_client(one, name, {"treated": {**fresh, **treated}}, made_on=revision)
    return run


def list_runs(caseload: CaseloadHandle, code: str | None) -> list[RunRow]:
    """Return one row for each cue of each run, the latest run first."""
    with opened(caseload) as one:
        runs = store.read_case(one, client_or_last(one, code)).runs
    return [
        {"run": run.number, "on": run.on.isoformat(), "level": run.level, "cue": cue, "correct": right, "said": said}
        for run in sorted(runs, key=lambda one: (one.on, one.number), reverse=True)
        for cue, right, said in run.counted()
    ]


def remove_run(caseload: CaseloadHandle, code: str | None, number: int) -> None:
    """Take out a run of practice; what it made treated stays so until that is taken back."""
    with opened(caseload) as one:
        store.remove_run(one, client_or_last(one, code), number)
