"""Word lists, judgements and reviews, read from CSV with every refusal worded."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TypeVar

from ..errors import Faults, LexiconError, ListError, WordError
from ..terms.vocabulary import CUES, HEARD, LEVELS, VOICES, Cue, Heard, Level, Vocabulary, Voice, Word_co
from .write import unguarded

Made = TypeVar("Made")

MOST_BYTES = 64 << 20  # of a table that is read
MOST_ROWS = 200_000  # and its rows


@dataclass(frozen=True, slots=True)
class ListRow:
    """One prompt of LIST.csv, in the order spoken; ``line`` is its line in the file."""

    word: str
    phones: str = ""
    target: str = "s"
    level: Level | Literal[""] = ""
    cue: Cue | Literal[""] = ""
    treated: bool | None = None
    recording: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class JudgementRow:
    """One person's judgement of one sibilant, from JUDGEMENTS.csv."""

    prompt_index: int
    attempt: int
    slot: int
    accuracy: Heard
    type: str = ""
    type2: str = ""
    substitute: str = ""
    certainty: str = ""
    cue: Cue | Literal[""] = ""
    self_corrected: bool | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class ReviewRow:
    """One person's correction, from REVIEW.csv; None leaves that part as it was."""

    prompt_index: int
    attempt: int
    slot: int
    onset_s: float | None = None
    offset_s: float | None = None
    voice: Voice | Literal[""] = ""
    counts: bool | None = None


def read_rows(path: Path, required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """Return (line, cells by column) of a CSV file in UTF-8, comma or semicolon; blank lines are passed over.

    Raises
    ------
    ListError
        When the file is missing, not UTF-8 text, lacks a column, or has rows longer than its header.
    """
    faults = Faults()
    rows = _rows(path, required, faults)
    faults.let_out(f"{path.name}: ")
    return rows


def _rows(path: Path, required: Sequence[str], faults: Faults) -> list[tuple[int, dict[str, str]]]:
    """(line, cells by column); a row that is longer than the header goes to the faults."""
    text = text_of(path)
    first = text.split("\n", 1)[0]
    delimiter = ";" if ";" in first and "," not in first else ","
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise ListError(f"{path.name}: not a CSV table ({error}); save it as CSV in UTF-8 with commas") from error
    if not rows:
        raise ListError(f"{path.name}: empty; its first line names the columns ({', '.join(required)})")
    header = [name.strip().lower() for name in rows[0]]
    _check_header(path.name, header, required)
    found = []
    for number, row in enumerate(rows[1:], start=2):
        with faults.gathered():
            if any(cell.strip() for cell in row):
                found.append((number, _cells(path.name, number, header, row)))
    return found


def text_of(path: Path) -> str:
    """Text of a file in UTF-8, its size bounded; every way it can't be read is worded."""
    if not path.exists():
        raise ListError(f"{path.name}: no such file; name a CSV file, or a built-in list (sibilant lists shows them)")
    if path.is_dir():
        raise ListError(f"{path.name}: a folder, where a CSV file was asked for")
    if not path.is_file():
        raise ListError(f"{path.name}: a device or a pipe, which may never end; save the list as a file")
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise ListError(f"{path.name}: {size >> 20} MiB is too large for a list; split it (at most 64 MiB)")
        content = path.read_bytes()
    except OSError as error:
        raise ListError(f"{path.name}: can't be read ({(error.strerror or 'error').lower()})") from error
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ListError(f"{path.name}: not UTF-8 text (byte {error.start + 1}); save it as CSV in UTF-8") from error
    if "\0" in text:
        raise ListError(f"{path.name}: not a text file; save the list as CSV in UTF-8")
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    if lines.count("\n") > MOST_ROWS:
        raise ListError(f"{path.name}: more than {MOST_ROWS} lines; split it")
    return lines


def _check_header(name: str, header: Sequence[str], required: Sequence[str]) -> None:
    missing = [column for column in required if column not in header]
    if missing:
        there = ", ".join(" ".join(cell.split())[:30] for cell in header if cell)[:120]
        raise ListError(f"{name}: no column {missing[0]}; its first line has: {there or 'nothing'}")
    twice = {column for column in header if column and header.count(column) > 1}
    if twice:
        raise ListError(f"{name}: column {' '.join(min(twice).split())} stands twice in the first line; keep one")


def _cells(name: str, number: int, header: Sequence[str], row: Sequence[str]) -> dict[str, str]:
    if len(row) > len(header) and any(cell.strip() for cell in row[len(header) :]):
        raise ListError(
            f"{name}: line {number} has {len(row)} cells for {len(header)} columns; quote cells with commas"
        )
    return {column: unguarded(cell.strip()) for column, cell in zip(header, row, strict=False)}


def number_of(name: str, line: int, cells: dict[str, str], column: str) -> float | None:
    """Number of a cell, None where it is empty."""
    cell = cells.get(column, "")
    if not cell:
        return None
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ListError(f"{name}: line {line}, {column}: '{cell[:30]}' is not a number with a decimal point")
    return value


def _whole(name: str, line: int, cells: dict[str, str], column: str) -> int:
    value = number_of(name, line, cells, column)
    if value is None or value != int(value) or value < 1:
        raise ListError(
            f"{name}: line {line}, {column}: a whole number from 1 is needed, got '{cells.get(column, '')}'"
        )
    return int(value)


def _truth(name: str, line: int, cells: dict[str, str], column: str) -> bool | None:
    cell = cells.get(column, "").lower()
    if cell in {"", "-"}:
        return None
    if cell in {"yes", "y", "true", "1"}:
        return True
    if cell in {"no", "n", "false", "0"}:
        return False
    raise ListError(f"{name}: line {line}, {column}: yes, no or empty is needed, got '{cell[:30]}'")


def _word(
    name: str, line: int, cells: dict[str, str], column: str, words: Vocabulary[Word_co]
) -> Word_co | Literal[""]:
    """Return a cell as the word it is a spelling of, empty where the cell is."""
    try:
        return words.read_or_empty(cells.get(column, ""))
    except WordError as error:
        raise ListError(f"{name}: line {line}: {error}") from error


def read_list(path: Path) -> tuple[ListRow, ...]:
    """Read LIST.csv: one row a prompt, in the order spoken.

    Raises
    ------
    ListError
        When it can't be read as a list, or holds no prompt; every faulty line is named.
    """
    return read_list_as(path, lambda row: row)


def read_list_as(path: Path, make: Callable[[ListRow], Made]) -> tuple[Made, ...]:
    """Read LIST.csv and make something of each row; faults of reading and of making are named together.

    Raises
    ------
    ListError
        When it can't be read as a list, or holds no prompt.
    LexiconError
        What ``make`` raised, with the lines.
    """
    faults, made = Faults(), []
    for line, cells in _rows(path, ["word"], faults):
        row = _list_row(path.name, line, cells, faults)
        with faults.gathered():
            if not row.word:
                raise ListError(f"{path.name}: line {line} has no word; fill it or take the line out")
            try:
                made.append(make(row))
            except LexiconError as error:
                raise LexiconError(f"{path.name}: line {line}: {error}") from error
    faults.let_out(f"{path.name}: ")
    if not made:
        raise ListError(f"{path.name}: no prompts below its first line; write one word or phrase a line")
    return tuple(made)


def _list_row(name: str, line: int, cells: dict[str, str], faults: Faults) -> ListRow:
    """One row; a faulty cell is empty in it and stands in the faults."""
    level: Level | Literal[""] = ""
    cue: Cue | Literal[""] = ""
    treated = None
    with faults.gathered():
        level = _word(name, line, cells, "level", LEVELS)
    with faults.gathered():
        cue = _word(name, line, cells, "cue", CUES)
    with faults.gathered():
        treated = _truth(name, line, cells, "treated")
    word, phones, target = cells.get("word", ""), cells.get("phones", ""), cells.get("target") or "s"
    return ListRow(word, phones, target, level, cue, treated, cells.get("recording", ""), line)


def read_judgements(path: Path) -> tuple[JudgementRow, ...]:
    """Read JUDGEMENTS.csv; ``accuracy`` must be one of the contract's words."""
    rows = []
    for line, cells in read_rows(path, ["prompt_index", "attempt", "slot", "accuracy"]):
        accuracy = _word(path.name, line, cells, "accuracy", HEARD)
        if not accuracy:
            raise ListError(f"{path.name}: line {line}: accuracy is empty; write one of {HEARD.allowed}")
        rows.append(
            JudgementRow(
                prompt_index=_whole(path.name, line, cells, "prompt_index"),
                attempt=_whole(path.name, line, cells, "attempt"),
                slot=_whole(path.name, line, cells, "slot"),
                accuracy=accuracy,
                type=cells.get("type", ""),
                type2=cells.get("type2", ""),
                substitute=cells.get("substitute", ""),
                certainty=cells.get("certainty", ""),
                cue=_word(path.name, line, cells, "cue", CUES),
                self_corrected=_truth(path.name, line, cells, "self_corrected"),
                note=cells.get("note", ""),
            )
        )
    return tuple(rows)


def read_reviews(path: Path) -> tuple[ReviewRow, ...]:
    """Read REVIEW.csv; an onset and an offset come together, in order."""
    rows = []
    for line, cells in read_rows(path, ["prompt_index", "attempt", "slot"]):
        onset = number_of(path.name, line, cells, "onset_s")
        offset = number_of(path.name, line, cells, "offset_s")
        if (onset is None) != (offset is None) or (onset is not None and offset is not None and not onset < offset):
            raise ListError(f"{path.name}: line {line}: onset_s and offset_s are given together, onset first")
        rows.append(
            ReviewRow(
                prompt_index=_whole(path.name, line, cells, "prompt_index"),
                attempt=_whole(path.name, line, cells, "attempt"),
                slot=_whole(path.name, line, cells, "slot"),
                onset_s=onset,
                offset_s=offset,
                voice=_word(path.name, line, cells, "voice", VOICES),
                counts=_truth(path.name, line, cells, "counts"),
            )
        )
    return tuple(rows)


def read_response(path: Path) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Read a microphone response: columns ``frequency_hz`` and ``level_db``, frequencies rising."""
    pairs: list[tuple[float, float]] = []
    for line, cells in read_rows(path, ["frequency_hz", "level_db"]):
        frequency = number_of(path.name, line, cells, "frequency_hz")
        level = number_of(path.name, line, cells, "level_db")
        if frequency is None or level is None or (pairs and frequency <= pairs[-1][0]):
            raise ListError(f"{path.name}: line {line}: a rising frequency_hz and a level_db are needed")
        pairs.append((frequency, level))
    if len(pairs) < 2:
        raise ListError(f"{path.name}: a response needs two or more lines of frequency_hz, level_db")
    return tuple(pair[0] for pair in pairs), tuple(pair[1] for pair in pairs)
