"""Ranges that a user enters: read from a CSV, checked, marked as theirs."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from ..errors import MethodError, RangeError
from ..methods import get_method
from ..terms import MEASURES
from ..terms.reference import Basis, Circumstances, Population, ReferenceRange
from ..terms.vocabulary import CUES, LEVELS, POSITIONS, TARGETS, Vocabulary
from .tables import is_number

NEEDED = ("measure", "phone", "mean", "sd", "n_speakers", "age_low_y", "age_high_y", "sex", "population", "position",
          "cue", "method", "citation")  # fmt: skip
OPTIONAL = ("dialect", "cluster", "level", "context", "lowest", "highest", "note", "sd_within", "sounds_each")
LABEL = "entered by the user; not checked by this program against its source"
LABEL_BUILT = "made from the user's own recordings; not published, not checked by others"
_MAY_BE_NUMBERS = ("lowest", "highest", "sd_within", "sounds_each")
_NUMBERS = ("mean", "sd", "n_speakers", "age_low_y", "age_high_y")


def read_own_ranges(path: Path) -> tuple[ReferenceRange, ...]:
    """Read ranges that a user enters, from a CSV (comma or semicolon, UTF-8).

    Columns: measure, phone, mean, sd (between speakers), n_speakers, age_low_y, age_high_y, sex (f, m, both),
    population, position, cue (such as spontaneous, or any), method (may be empty for durations), citation; optional
    dialect, cluster, level, context, lowest, highest, note.

    Raises
    ------
    RangeError
        When the file can't be read, or a row is incomplete or contradicts itself; the line says which row.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise RangeError(
            f"{path.name}: can't be read ({(error.strerror or 'error').lower()}); name a CSV file"
        ) from error
    except UnicodeDecodeError as error:
        raise RangeError(f"{path.name}: is not UTF-8 text; save it as CSV in UTF-8") from error
    return tuple(_range(row, f"{path.name}, row {place}") for place, row in enumerate(_table(text, path.name), 2))


def own_ranges_csv(ranges: Sequence[ReferenceRange]) -> str:
    """Text of a CSV that ``read_own_ranges`` reads back the same."""
    text = io.StringIO()
    writer = csv.DictWriter(text, [*NEEDED, *OPTIONAL], lineterminator="\n")
    writer.writeheader()
    writer.writerows(_cells(row) for row in ranges)
    return text.getvalue()


def _table(text: str, name: str) -> list[dict[str, str]]:
    first = text.split("\n", 1)[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter)
    columns = [column.strip().lower() for column in reader.fieldnames or ()]
    missing = [column for column in NEEDED if column not in columns]
    if missing:
        raise RangeError(f"{name}: columns missing: {', '.join(missing)}; see 'sibilant ranges add --help'")
    unknown = [column for column in columns if column not in (*NEEDED, *OPTIONAL)]
    if unknown:
        raise RangeError(f"{name}: unknown columns: {', '.join(unknown)}; remove them")
    reader.fieldnames = columns
    try:
        rows = [{key: (value or "").strip() for key, value in row.items() if key} for row in reader]
    except csv.Error as error:
        raise RangeError(f"{name}: is not a CSV table ({error}); save it as CSV in UTF-8") from error
    rows = [row for row in rows if any(row.values())]
    if not rows:
        raise RangeError(f"{name}: holds no row; add at least one range")
    return rows


def _range(row: dict[str, str], place: str) -> ReferenceRange:
    _check(row, place)
    edges = {name: float(row[name]) if row.get(name) else None for name in _MAY_BE_NUMBERS}
    method = get_method(row["method"]) if row["method"] else None
    try:
        return ReferenceRange(
            measure=row["measure"],
            name=MEASURES[row["measure"]].name,
            phone=TARGETS.read(row["phone"]),
            unit=MEASURES[row["measure"]].unit,
            population=Population(
                row["population"],
                int(float(row["n_speakers"])),
                float(row["age_low_y"]),
                float(row["age_high_y"]),
                row["sex"],
                row.get("dialect", ""),
            ),
            circumstances=Circumstances(
                _or_any(POSITIONS, row["position"]),
                row.get("cluster", ""),
                _or_any(LEVELS, row.get("level", "")),
                _or_any(CUES, row["cue"]),
                row.get("context", ""),
            ),
            basis=Basis(row["citation"], "yours", _label(row), note=row.get("note", "")),
            mean=float(row["mean"]),
            sd=float(row["sd"]),
            low=edges["lowest"],
            high=edges["highest"],
            method=method.name if method else "",
            band_hz=method.band_hz if method else None,
            sd_within=edges["sd_within"],
            sounds_each=edges["sounds_each"],
            use="background" if row["population"].startswith("in therapy") else "value",
        )
    except ValueError as error:
        raise RangeError(f"{place}: {error}") from error


def _or_any(words: Vocabulary[str], cell: str) -> str:
    """Read a condition that may also be left open."""
    return "any" if cell.lower() == "any" else words.read_or_empty(cell)


def _label(row: dict[str, str]) -> str:
    return LABEL_BUILT if row["citation"].startswith("own recordings, ") else LABEL


def _check(row: dict[str, str], place: str) -> None:
    """Raise on the first thing that is wrong with a row."""
    for name in NEEDED:
        if not row.get(name) and name != "method":
            raise RangeError(f"{place}: {name} is empty; a range is shown only with all that gives it meaning")
    for name in (*_NUMBERS, *(name for name in _MAY_BE_NUMBERS if row.get(name))):
        if not is_number(row[name]):
            raise RangeError(f"{place}: {name} {row[name]!r} is not a number with a decimal dot")
    measure = MEASURES.get(row["measure"])
    if measure is None:
        raise RangeError(f"{place}: measure {row['measure']!r} is not known; there are: {', '.join(MEASURES)}")
    if TARGETS.find(row["phone"]) is None:
        raise RangeError(f"{place}: phone {row['phone']!r} is not s, z, sh or zh")
    if row["sex"] not in ("f", "m", "both"):
        raise RangeError(f"{place}: sex {row['sex']!r} is not f, m or both")
    for name, words in (("position", POSITIONS), ("cue", CUES), ("level", LEVELS)):
        if row.get(name) and row[name].lower() != "any" and words.find(row[name]) is None:
            raise RangeError(f"{place}: {name} {row[name][:20]!r} is none of {words.allowed}, any")
    if not 0 <= float(row["age_low_y"]) <= float(row["age_high_y"]) <= 120:
        raise RangeError(f"{place}: ages {row['age_low_y']} to {row['age_high_y']} are not a range of years")
    if float(row["age_low_y"]) < 18 <= float(row["age_high_y"]):
        raise RangeError(
            f"{place}: ages {row['age_low_y']} to {row['age_high_y']} mix minors and adults; enter two rows"
        )
    if float(row["sd"]) <= 0 or float(row["n_speakers"]) < 2 or float(row["n_speakers"]) % 1:
        raise RangeError(f"{place}: sd must be above 0 and n_speakers a whole number from 2 up")
    _check_method(row, place, spectral=measure.spectral)


def _check_method(row: dict[str, str], place: str, *, spectral: bool) -> None:
    if not row["method"]:
        if spectral:
            raise RangeError(f"{place}: {row['measure']} needs its method; unlike methods differ by thousands of hertz")
        return
    try:
        method = get_method(row["method"])
    except MethodError as error:
        raise RangeError(f"{place}: {error}") from error
    low, high = method.band_hz
    if row["measure"] in ("centroid_hz", "peak_hz", "mid_peak_hz") and not low <= float(row["mean"]) <= high:
        raise RangeError(f"{place}: mean {row['mean']} lies outside the band of {method.name} ({low:g} to {high:g} Hz)")


def _cells(row: ReferenceRange) -> dict[str, str]:
    people, where = row.population, row.circumstances

    def cell(value: float | None) -> str:
        return "" if value is None else repr(value) if value % 1 else f"{value:.0f}"

    return {
        "measure": row.measure, "phone": row.phone, "mean": cell(row.mean), "sd": cell(row.sd),
        "n_speakers": str(people.n_speakers), "sex": people.sex,
        "age_low_y": cell(people.age_low_y), "age_high_y": cell(people.age_high_y),
        "population": people.description, "dialect": people.dialect, "position": where.position,
        "cluster": where.cluster, "level": where.level, "cue": where.cue, "context": where.context,
        "method": row.method, "citation": row.basis.citation, "lowest": cell(row.low), "highest": cell(row.high),
        "note": row.basis.note, "sd_within": cell(row.sd_within), "sounds_each": cell(row.sounds_each),
    }  # fmt: skip
