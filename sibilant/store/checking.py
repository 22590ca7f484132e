"""Rows checked one by one before they are kept: each cell, each JSON text by its shape, and what hangs together.

A row that passes can be read back; one that does not is named by table, row and column.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from typing import Any, Literal

import sqlalchemy as sa

from ..files import from_json
from ..terms import MEASURES, Edge, Finding, Interval, Measures, Method, Prompt, SibilantSlot, Voice
from ..terms.care import GoalEnd, PracticeMark
from ..terms.clinic import Consent, Direction, MoveUpRule, Retention
from ..terms.codes import is_client_code
from ..terms.therapy import Therapy
from ..terms.vocabulary import DISTORTIONS, Elicited, Heard, Keep, Phase, Support, VisitKind
from . import encode
from .care import goal_from, run_from, visit_from
from .judging import correction_from, judgement_from
from .lending import given_from
from .people import client_from
from .schema import METADATA, Day, Moment, YesNo
from .sessions import method_key
from .shape import hints_of, misfit, text_misfit, tree_misfit
from .surroundings import surroundings_from

Row = Mapping[str, Any]
MOST_WHOLE = 2**31 - 1  # what a column of PostgreSQL's INTEGER holds
DAYS = (dt.date(1900, 1, 1), dt.date(2200, 1, 1))  # a date outside is a slip
UTTERANCE = {
    "onset_s": float, "offset_s": float, "confidence": float, "voice": Voice, "sure": bool, "counts": bool,
    "attempt": int, "prompted": bool,
}  # fmt: skip
SIBILANT = {
    "automatic": Interval, "core": Interval, "onset": Edge, "offset": Edge, "confidence": float,
    "flags": tuple[str, ...], "has_slot": bool,
}  # fmt: skip
OBSERVED = {
    "prompt_text": str,
    "utterance": (UTTERANCE, None),
    "slot": SibilantSlot | None,
    "sibilant": (SIBILANT, None),
    "slot_place": {"interval": Interval, "probability": float},
    "reader": str,
}
MEASURED = {"measures": Measures | None, "snr_db": float | None, "bandwidth_hz": float | None, "flags": tuple[str, ...]}
VERDICT = {
    "durations": Support, "levels": Support, "comparison": Support,
    "moments": {"house-15k": Support, "house-10k": Support, "house-7k": Support},
}  # fmt: skip
SURROUNDED = {
    "snr_db": float | None, "bandwidth_hz": float | None, "clipped_share": float, "flags": tuple[str, ...],
    "verdict": VERDICT, "noise": bool,
}  # fmt: skip
SHAPES: dict[str, Any] = {
    "clients.move_up": MoveUpRule,
    "clients.retention": Retention,
    "clients.consent": Consent,
    "clients.treated": Mapping[str, dt.date],
    "clients.direction": Direction,
    "sessions.phase": Phase,
    "sessions.elicited": Elicited | Literal[""],
    "sessions.keep": Keep,
    "prompts.prompt": Prompt,
    "tokens.finding": Finding,
    "tokens.observed": OBSERVED,
    "measurements.measured": MEASURED,
    "judgements.heard": Heard,
    "judgements.types": tuple[str, ...],
    "corrections.voice": Voice | None,
    "judging_orders.token_keys": tuple[str, ...],
    "goals.ended": GoalEnd,
    "visits.kind": VisitKind,
    "practice_runs.marks": tuple[PracticeMark, ...],
}
JSON = {
    "clients.move_up", "clients.retention", "clients.consent", "clients.treated", "clients.therapy",
    "recordings.suitability",
    "prompts.prompt", "tokens.observed", "methods.definition", "measurements.measured", "judgements.types",
    "judging_orders.token_keys", "practice_runs.marks", "surroundings.noise", "surroundings.sounds",
}  # fmt: skip
OWN_JSON = {"binned.content", "lenders.content"}
"""What no export holds, however long: rows in the bin, what a client lends."""
EMPTY_JSON = {"clients.move_up", "clients.consent", "clients.therapy", "judgements.types", "surroundings.noise"}
HASH = re.compile(r"[0-9a-f]{64}")
SUFFIX = re.compile(r"\.(flac|wav)|")
KEY = re.compile(r"[0-9]{1,6}(\.x?[0-9]{1,6}){0,3}")


@dataclass(frozen=True, slots=True)
class Misfit:
    """What does not fit: a table, a row counted from 1 below the header, a column (empty: the whole row), and why."""

    table: str
    row: int
    column: str
    why: str


def misfits(rows: Mapping[str, Sequence[Row]]) -> Iterator[Misfit]:
    """Yield what does not fit in one client's rows by table, numbered as :func:`dump_client` numbers them."""
    if len(rows["clients"]) != 1:
        yield Misfit("clients", 1, "", f"one client was expected, not {len(rows['clients'])}")
        return
    for table, kept in rows.items():
        for place, row in enumerate(kept, start=1):
            for column, why in row_misfits(table, row):
                yield Misfit(table, place, column, why)
        yield from _twice(table, kept)
    yield from _hanging(rows)


def row_misfits(table: str, row: Row) -> list[tuple[str, str]]:
    """Return what does not fit in one row, as (column, why); empty when it can be read back."""
    found = [
        (column.name, why)
        for column in METADATA.tables[table].c
        if column.name in row and (why := _cell(table, column, row[column.name]))
    ]
    return found or [(column, why) for column, why in [_together(table, row)] if why]


def _cell(table: str, column: sa.Column[Any], value: Any) -> str:
    name = f"{table}.{column.name}"
    if value is None:
        return "" if column.nullable else "empty"
    if why := _kind(column, value):
        return why
    if name in OWN_JSON:
        return "" if readable_json(value) else "no JSON"
    if name in JSON:
        return _json(name, value)
    if name in SHAPES:
        return misfit(value, SHAPES[name])
    rule = RULES.get(name) or RULES.get(column.name)
    return rule(value) if rule is not None else ""


def readable_json(text: str) -> bool:
    """Say whether a text is JSON."""
    try:
        from_json(text)
    except ValueError:
        return False
    return True


def _kind(column: sa.Column[Any], value: Any) -> str:
    """Return why a value is not of its column's kind."""
    if isinstance(column.type, Moment):
        right = isinstance(value, dt.datetime) and value.tzinfo is not None and DAYS[0] <= value.date() <= DAYS[1]
        return "" if right else f"a moment was expected, not {str(value)[:40]!r}"
    if isinstance(column.type, Day):
        right = type(value) is dt.date and DAYS[0] <= value <= DAYS[1]
        return "" if right else f"a day between {DAYS[0].year} and {DAYS[1].year} was expected, not {str(value)[:40]!r}"
    if isinstance(column.type, YesNo):
        return misfit(value, bool)
    if isinstance(column.type, sa.Integer):
        return misfit(value, int) or ("" if 0 <= value <= MOST_WHOLE else f"{value} is out of all bounds")
    if isinstance(column.type, sa.Float):
        return misfit(value, float)
    if f"{column.table.name}.{column.name}" in JSON | OWN_JSON:
        return "" if isinstance(value, str) else "a text was expected"
    longest = column.type.length if isinstance(column.type, sa.String) and column.type.length else None
    return text_misfit(value) or (f"longer than {longest} characters" if longest and len(value) > longest else "")


def _json(name: str, text: str) -> str:
    if not text:
        return "" if name in EMPTY_JSON or name == "clients.treated" else "empty"
    try:
        content = from_json(text, constant=_no_number)
    except ValueError:
        return f"not the JSON that was expected: {text[:20]!r}"
    if name == "methods.definition":
        return _method(content)
    if name == "clients.therapy":
        return _therapy(content)
    if name == "recordings.suitability":
        return tree_misfit(content) if isinstance(content, dict) else "an object was expected"
    if name == "surroundings.noise":
        return ""  # read as a whole row
    if name == "surroundings.sounds":
        return _surrounded(content)
    return misfit(content, SHAPES[name]) or (_vocabulary(content) if name == "judgements.types" else "")


def _therapy(content: Any) -> str:
    """Return why days of therapy can't be read back."""
    try:
        Therapy.from_dict(content)
    except (ValueError, TypeError, AttributeError, KeyError) as error:
        return f"not the days of therapy that were expected ({str(error)[:80]})"
    return ""


def _surrounded(content: Any) -> str:
    """Return why what a recording showed of the sounds of a word can't be read back."""
    if not isinstance(content, dict):
        return "an object was expected"
    odd = next((key for key in content if not KEY.fullmatch(key)), None)
    if odd is not None:
        return f"{odd[:20]!r} is no place of a sound, such as 3.1.1"
    return next((f"{key}: {why}" for key, one in content.items() if (why := misfit(one, SURROUNDED))), "")


def _no_number(text: str) -> float:
    raise ValueError(text)


def _vocabulary(kinds: Sequence[str]) -> str:
    odd = [kind for kind in kinds if kind not in DISTORTIONS]
    return f"{odd[0][:30]!r} is none of {', '.join(DISTORTIONS)}" if odd else ""


def _method(content: Any) -> str:
    """Return the misfit of a method; keys that this program does not know are passed over, as reading does."""
    if not isinstance(content, dict):
        return "an object was expected"
    hints = hints_of(Method)
    needed = {field.name for field in fields(Method) if field.default is MISSING}
    known = {key: value for key, value in content.items() if key in hints}
    return misfit(known, {key: hints[key] for key in needed | known.keys()})


def _code(value: str) -> str:
    return "" if is_client_code(value) and value == value.upper() else f"{value[:20]!r} is not a client code"


def _measure(value: str) -> str:
    return "" if value in MEASURES else f"{value[:30]!r} is no measure"


def _matches(pattern: re.Pattern[str], words: str) -> Callable[[str], str]:
    return lambda value: "" if pattern.fullmatch(value) else f"{value[:30]!r} is no {words}"


def _positive(value: float) -> str:
    return "" if value > 0 else f"{value} is not above zero"


def _not_below_zero(value: float) -> str:
    return "" if value >= 0 else f"{value} is below zero"


RULES: dict[str, Callable[[Any], str]] = {
    "id": _positive,
    "sha256": _matches(HASH, "SHA-256"),
    "clip_sha256": _matches(HASH, "SHA-256"),
    "suffix": _matches(SUFFIX, "kind of kept sound"),
    "clip_suffix": _matches(SUFFIX, "kind of kept sound"),
    "clients.code": _code,
    "clients.main_measure": _measure,
    "clients.age_months": lambda value: "" if value < 1800 else f"{value} months is no age",
    "sessions.number": _positive,
    "recordings.sampling_rate_hz": _positive,
    "recordings.duration_s": _not_below_zero,
    "clips.start_s": _not_below_zero,
    "surroundings.cut_hz": _positive,
    "tokens.key": _matches(KEY, "place of a sound, such as 3.1.1"),
    "measurements.boundary": _matches(re.compile("automatic|reviewed"), "boundary"),
    "judgements.rater": lambda value: "" if value else "empty",
    "lent.measure": _measure,
    "earlier_probes.measure": lambda value: _measure(value) if value else "",
}


def _together(table: str, row: Row) -> tuple[str, str]:
    """Return the column and the reason where a row's cells, right one by one, can't be read together."""
    readers: dict[str, tuple[str, Callable[[], Any]]] = {
        "clients": ("", lambda: client_from(row)),
        "methods": ("definition", lambda: _named(row)),
        "prompts": ("prompt", lambda: encode.prompt_from(row["prompt"])),
        "tokens": ("observed", lambda: encode.sound_from(row, None)),
        "measurements": ("measured", lambda: _bounds(row["measured"])),
        "judgements": ("", lambda: judgement_from(row, "1.1.1")),
        "corrections": ("", lambda: _corrected(row)),
        "surroundings": ("noise", lambda: surroundings_from(row)),
        "lent": ("", lambda: given_from(row)),
        "goals": ("", lambda: goal_from(1, row)),
        "visits": ("", lambda: visit_from(1, row)),
        "practice_runs": ("", lambda: run_from(1, row)),
    }
    if table not in readers:
        return "", ""
    column, read = readers[table]
    try:
        read()
    except ValueError as error:
        return column, str(error).splitlines()[0][:120]
    return "", ""


def _named(row: Row) -> None:
    method = encode.method_from(row["definition"])
    if method_key(method) != row["label"]:
        raise ValueError(f"defines {method_key(method)[:40]!r}, not {row['label'][:40]!r}")


def _bounds(text: str) -> None:
    unknown = encode.read_measured(text)[0].values.keys() - MEASURES.keys()
    if unknown:
        raise ValueError(f"{min(unknown)[:30]!r} is no measure")


def _corrected(row: Row) -> None:
    one = correction_from(row, "1.1.1")
    if (one.onset_s is None) != (one.offset_s is None):
        raise ValueError("an onset and an offset come together")
    if one.onset_s is not None and one.offset_s is not None:
        Interval(one.onset_s, one.offset_s)


def _twice(table: str, rows: Sequence[Row]) -> Iterator[Misfit]:
    """Yield rows that stand twice by what names them."""
    source = METADATA.tables[table]
    keys = [[column.name] for column in source.c if column.unique or column.primary_key]
    keys += [
        [column.name for column in one.columns] for one in source.constraints if isinstance(one, sa.UniqueConstraint)
    ]
    for columns in keys:
        seen: set[tuple[Any, ...]] = set()
        for place, row in enumerate(rows, start=1):
            named = tuple(row.get(column) for column in columns)
            if named in seen:
                yield Misfit(table, place, columns[-1], "stands twice")
            seen.add(named)


def _hanging(rows: Mapping[str, Sequence[Row]]) -> Iterator[Misfit]:
    """Yield rows that hang on one that is not there, or on one of another session."""
    there = {name: {row.get("id", row.get("label")) for row in kept} for name, kept in rows.items()}
    for table, kept in rows.items():
        for key in METADATA.tables[table].foreign_keys:
            parent, column = key.column.table.name, key.parent.name
            for place, row in enumerate(kept, start=1):
                if row[column] is not None and row[column] not in there[parent]:
                    yield Misfit(table, place, column, f"{str(row[column])[:20]} is in no row of {parent}")
    yield from _across(rows)


def _across(rows: Mapping[str, Sequence[Row]]) -> Iterator[Misfit]:
    recorded = {row["id"]: row["session_id"] for row in rows["recordings"]}
    prompted = {(row["session_id"], row["prompt_index"]) for row in rows["prompts"]}
    for place, row in enumerate(rows["tokens"], start=1):
        if row["recording_id"] is not None and recorded.get(row["recording_id"]) != row["session_id"]:
            yield Misfit("tokens", place, "recording_id", "a recording of another session")
    for table in ("tokens", "surroundings"):
        for place, row in enumerate(rows[table], start=1):
            if prompted and row["prompt_index"] and (row["session_id"], row["prompt_index"]) not in prompted:
                yield Misfit(table, place, "prompt_index", f"{row['prompt_index']} is no prompt of its session")
