"""A run's folder comes in; it is measured again and compared with its tables, cell by cell.

Each difference is told.
"""

from __future__ import annotations

import itertools
import json
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from .. import files
from ..errors import InputError, ListError
from .pieces import versions
from .request import RUN_FILE, TOKENS_CSV, CorpusRequest
from .running import Progress, again, run

MOST_NAMED = 5  # differences named; the rest is counted


def verify(order: CorpusRequest, progress: Progress | None = None) -> list[str]:
    """Measure the corpus again and compare the tables with those of ``order.to``; say what is the same.

    Raises
    ------
    InputError
        When anything differs; the one line says what: sounds, versions, or rows, and of which recordings.
    """
    told = _told(order.to)
    hidden = Path(tempfile.mkdtemp(prefix=".again-", dir=order.to))
    try:
        run(again(order, hidden / "run"), progress)
        now = _told(hidden / "run")
        differing = [name for name in told["tables"] if _hash(order.to / name) != now["tables"].get(name)]
        if differing:
            raise InputError(
                f"{differing[0]}: differs from a repeated run; {_why(told, now, order.to, hidden / 'run')}"
            )
    finally:
        shutil.rmtree(hidden, ignore_errors=True)
    names = ", ".join(told["tables"])
    return [f"same to the byte: {names} ({told['n_recordings']} recordings, {told['n_tokens']} tokens)"]


def _told(folder: Path) -> dict[str, Any]:
    try:
        found = json.loads((folder / RUN_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise ListError(f"{folder.name}: no finished run in it ({RUN_FILE}); run without --verify first") from error
    if not isinstance(found, dict) or not {"tables", "recordings", "versions"} <= set(found):
        raise ListError(f"{folder.name}: {RUN_FILE} is not one of a corpus run; name the folder of one")
    return found


def _hash(path: Path) -> str:
    return files.sha256_of(path) if path.is_file() else ""


def _why(told: Mapping[str, Any], now: Mapping[str, Any], old: Path, new: Path) -> str:
    """Name the first cause that explains a difference."""
    sounds = sorted(
        name
        for name in {*told["recordings"], *now["recordings"]}
        if told["recordings"].get(name) != now["recordings"].get(name)
    )
    if sounds:
        return f"other sounds than then: {_named(sounds)}"
    if told["methods"] != now["methods"]:
        return "other methods than then: name the same ones with --method"
    other = [f"{name} {told['versions'].get(name)} then, {v} now" for name, v in versions().items()
             if told["versions"].get(name) != v]  # fmt: skip
    if other:
        return f"other versions than then: {'; '.join(other)}"
    return f"rows differ of {_named(_differing_rows(old / TOKENS_CSV, new / TOKENS_CSV))}"


def _differing_rows(old: Path, new: Path) -> list[str]:
    names: dict[str, None] = {}
    with old.open(encoding="utf-8") as one, new.open(encoding="utf-8") as other:
        for a, b in itertools.zip_longest(one, other, fillvalue=""):
            if a != b:
                names[(a or b).split(",", 1)[0]] = None
    return list(names) or ["the Parquet file"]


def _named(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more
