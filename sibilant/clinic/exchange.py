"""Export of one client in open formats with relative dates, and import of such an export."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from .. import files, store, tables
from ..errors import OutputError, RefusedError
from .caseload import CaseloadHandle, client_or_last, opened, used
from .door import FORM, JSON_DAYS, columns, json_days, read_export
from .fhir import bundle, text_of
from .private import LANGUAGES, free_texts, suspects
from .receipts import Exported, FhirExported, Imported

BUNDLE = "bundle.json"
FREE_TEXT = {
    "clients": ("reference_group", "language", "dialect", "reason", "hearing", "list_form", "held",
                "move_up", "retention", "consent"),
    "events": ("what",),
    "goals": ("behaviour",),
    "devices": ("name", "kind", "place", "response"),
    "sessions": ("device", "room", "list_form", "note"),
    "judgements": ("rater", "substitute", "certainty", "note"),
    "corrections": ("by",),
    "judging_orders": ("rater",),
    "earlier_probes": ("source", "list_form", "note"),
}  # fmt: skip


def export_client(
    caseload: CaseloadHandle,
    code: str | None,
    to: Path,
    *,
    audio: bool = False,
    new_code: bool = False,
    names: Sequence[str] = (),
    allowed: Sequence[str] = (),
) -> Exported:
    """Write one client into a new folder: a CSV with its CSVW description per table, days counted from the first probe.

    An export is plain, whether or not the caseload is encrypted.
    No name, path or calendar date leaves: what looks like one in free text stops the export, with its place. The audit
    trail stays with the caseload. Sound only where ``audio`` asks for it.

    Raises
    ------
    RefusedError
        When free text holds what looks like a name, a path or a calendar date.
    OutputError
        When the folder exists with something in it, or can't be written.
    """
    with opened(caseload) as one:
        name, given, rows = _outward(one, code, names, allowed, new_code=new_code)
        zero = _day_zero(rows)
        rows["clients"][0]["code"] = given
        plain = {table: [_relative(row, zero) for row in found] for table, found in rows.items()}
        clips = _clips(one, rows) if audio else {}
        if not audio:
            _without_sound(plain)
        n_files = _write_folder(one, to, (plain, given, clips, _token_rows(one, name, given)))
    return {
        "client": given,
        "folder": to.name,
        "files": n_files,
        "sounds": len(clips),
        "sessions": len(rows["sessions"]),
    }


def export_fhir(
    caseload: CaseloadHandle,
    code: str | None,
    to: Path,
    *,
    new_code: bool = False,
    names: Sequence[str] = (),
    allowed: Sequence[str] = (),
) -> FhirExported:
    """Write one client's sessions and figures as HL7 FHIR resources (R4 and R4B) into a new folder, without sound.

    The same rules as for :func:`export_client`: no name, path or calendar date leaves.

    Raises
    ------
    RefusedError
        When free text holds what looks like a name, a path or a calendar date.
    OutputError
        When the folder exists with something in it, or can't be written.
    """
    with opened(caseload) as one:
        name, given, _ = _outward(one, code, names, allowed, new_code=new_code)
        found = bundle(store.read_case(one, name), given)
        _refuse_standing(to)
        with store.outside(one, to) as made:
            folder = made / "whole"
            files.make_folder(folder)
            files.write_text(folder / BUNDLE, text_of(found))
            _put(folder, to)
    kinds = [entry["resource"]["resourceType"] for entry in found["entry"]]
    return {"client": given, "folder": to.name, "file": BUNDLE, "resources": dict(sorted(Counter(kinds).items()))}


def _outward(
    one: store.Caseload, code: str | None, names: Sequence[str], allowed: Sequence[str], *, new_code: bool
) -> tuple[str, str, store.Rows]:
    """A client's code, the code it goes out under, and its rows, in which nothing looks like a name, path or date."""
    name = client_or_last(one, code)
    rows = store.dump_client(one, name)
    used(one, name)
    _refuse_private(rows, names, allowed)
    return name, store.new_code(set(store.codes(one))) if new_code else name, rows


def _refuse_standing(to: Path) -> None:
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise OutputError(f"{to.name}: something stands there already; name a new folder")


def _put(folder: Path, to: Path) -> None:
    if to.exists():
        to.rmdir()
    try:
        folder.rename(to)
    except OSError as error:
        raise files.output_error(to, error) from error


def _refuse_private(rows: store.Rows, names: Sequence[str], allowed: Sequence[str]) -> None:
    texts = [(place, _json_texts(text)) for place, text in free_texts(rows, FREE_TEXT)]
    found = suspects(texts, names=names, allowed=(*allowed, *LANGUAGES))
    if found:
        first = found[0]
        more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
        raise RefusedError(
            f"nothing was exported: {first.place}: '{first.words}' looks like a {first.kind}{more}; change it in the"
            f" caseload, or pass --allow '{first.words}' when it is none"
        )


def _json_texts(text: str) -> str:
    """Return the text values of a JSON object joined, without its days, which become relative; other text as it is."""
    if not text.startswith("{"):
        return text
    kept = [value for key, value in json.loads(text).items() if isinstance(value, str) and not key.endswith("_on")]
    return ". ".join(kept)


def _day_zero(rows: store.Rows) -> dt.date:
    days: list[dt.date] = [row["held_on"] for row in rows["sessions"]]
    otherwise: dt.date = rows["clients"][0]["age_on"]
    return min(days, default=otherwise)


def _relative(row: Mapping[str, Any], zero: dt.date) -> dict[str, Any]:
    """Return a row with days and moments counted from day zero: whole days, and seconds."""
    changed: dict[str, Any] = {}
    for column, value in row.items():
        if isinstance(value, dt.datetime):
            start = dt.datetime.combine(zero, dt.time(), dt.UTC)
            changed[f"{column}_s"] = f"{(value - start) / dt.timedelta(seconds=1):.6f}"
        elif isinstance(value, dt.date):
            changed[f"{column}_day"] = (value - zero).days
        elif column in JSON_DAYS and value:
            changed[column] = json_days(value, lambda text: (dt.date.fromisoformat(text) - zero).days, column)
        else:
            changed[f"{column}_day" if column.endswith("_on") else column] = value
    return changed


def _clips(one: store.Caseload, rows: store.Rows) -> dict[str, Callable[[], bytes]]:
    """What gives each kept sound's bytes, by the name it is exported under."""
    named = {(row["sha256"], row["suffix"]) for row in rows["clips"]}
    named |= {(row["clip_sha256"], row["clip_suffix"]) for row in rows["recordings"] if row["clip_sha256"]}
    return {f"{sha256}{suffix}": partial(store.clip_bytes, one, sha256, suffix) for sha256, suffix in sorted(named)}


def _without_sound(rows: store.Rows) -> None:
    rows["clips"] = []
    for row in rows["recordings"]:
        row["clip_sha256"], row["clip_suffix"] = None, ""


def _token_rows(one: store.Caseload, name: str, given: str) -> list[tables.Row]:
    """Rows of the readable token table: session codes for names, no days."""
    found: list[tables.Row] = []
    case = store.read_case(one, name)
    devices = {session.number: session.device for session in case.sessions}
    for kept in case.tokens:
        label = f"{given}-{kept.session:02d}"
        labels = tables.Labels(label, speaker=given, session=str(kept.session), device=devices[kept.session])
        found += tables.sound_rows([kept.sound], kept.measurements.values(), labels)
    return found


Written = tuple[store.Rows, str, Mapping[str, Callable[[], bytes]], Sequence[tables.Row]]


def _write_folder(one: store.Caseload, to: Path, what: Written) -> int:
    """Write rows, code, sounds and tokens into a folder beside ``to`` and move it there when whole."""
    rows, code, clips, tokens = what
    _refuse_standing(to)
    with store.outside(one, to) as made:
        folder = made / "whole"
        files.make_folder(folder)
        hashes = {}
        for table, found in rows.items():
            path = folder / f"{table}.csv"
            files.write_text(path, _csv_text(table, found))
            hashes[path.name] = files.sha256_of(path)
        described = {"form": FORM, "client": code, "files": hashes, "sounds": sorted(clips)}
        files.write_text(folder / "export.json", json.dumps(described, indent=1) + "\n")
        files.write_text(folder / "export.csv-metadata.json", _csvw(rows))
        tables.write_table(folder / "token_table.csv", tokens)
        for name, sound in clips.items():
            files.make_folder(folder / "audio")
            files.write_bytes(folder / "audio" / name, sound())
        n_files = sum(path.is_file() for path in folder.rglob("*"))
        _put(folder, to)
    return n_files


def _csv_text(table: str, rows: Sequence[Mapping[str, Any]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    named = columns(table)
    writer.writerow(named)
    writer.writerows([_cell(row.get(column)) for column in named] for row in rows)
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(value)
    return tables.guarded(str(value)) if isinstance(value, str) else str(value)


def _csvw(rows: store.Rows) -> str:
    """Describe every table and column after W3C CSV on the Web."""
    types = {
        "text": "string",
        "whole": "integer",
        "number": "double",
        "yes": "string",
        "day": "integer",
        "moment": "decimal",
    }
    described = []
    for table in rows:
        kinds = store.column_kinds(table)
        those = [
            {"name": name, "titles": name, "datatype": types[kind], "dc:description": _meaning(source, kind)}
            for name, (source, kind) in zip(columns(table), kinds.items(), strict=True)
        ]
        described.append({"url": f"{table}.csv", "tableSchema": {"columns": those}})
    return json.dumps({"@context": "http://www.w3.org/ns/csvw", "tables": described}, indent=1) + "\n"


def _meaning(column: str, kind: str) -> str:
    extra = {"day": "; days since the first probe", "moment": "; seconds since the day of the first probe began, UTC",
             "yes": "; yes or no"}.get(kind, "")  # fmt: skip
    return f"{column.replace('_', ' ')}{extra}"


def import_folder(
    caseload: CaseloadHandle, folder: Path, *, day_zero: dt.date | None = None, new_code: bool = False
) -> Imported:
    """Keep a client from an export, whole or not at all.

    ``day_zero`` is the day of the first probe; without it the last session falls on today.

    Raises
    ------
    InputError
        When the folder is no export, a file in it is missing or changed, or a cell does not fit (file, row and column
        are named).
    RefusedError
        When the code is taken, or a recording is kept already.
    """
    given = read_export(folder)
    days = given.days()
    with opened(caseload, create=True) as one:
        zero = day_zero or store.day_of(one) - dt.timedelta(days=days)
        rows = given.rows(zero)
        if new_code:
            rows["clients"][0]["code"] = store.new_code(set(store.codes(one)))
        store.refuse_taken(one, rows)
        with store.at_work(one):
            for name in given.sounds:
                store.keep_clip(one, given.sound(name), Path(name).suffix)
            code = store.load_client(one, rows)
        used(one, code)
    return {
        "client": code,
        "sessions": len(rows["sessions"]),
        "tokens": len(rows["tokens"]),
        "day_zero": zero.isoformat(),
    }
