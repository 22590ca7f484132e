"""The tables of a study written, and a data dictionary of all of them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from .. import tables
from ..study import Effect, JudgedEffect, Study
from ..tables import Column, Row
from ..terms import MEASURES
from . import study_columns as columns_of
from . import study_rows as rows_of
from . import study_unlike
from .study_rounding import plain_row

Table = tuple[tuple[Column, ...], list[Row]]


def write_all(
    to: Path, found: Study, told: JudgedEffect | None, moved: Sequence[tuple[str, Sequence[Effect]]] = ()
) -> None:
    """Write every table of a study, each described by CSV on the Web, and the data dictionary of all of them."""
    listed: list[Row] = []
    columns = rows_of.token_columns(found)
    watched = _Watched(columns)
    tables.write_table(to / "tokens_used.csv", watched.seen(rows_of.token_rows(found, columns)), columns,
                       title="tokens used")  # fmt: skip
    listed += watched.described("tokens_used.csv")
    for name, (own, rows) in _made(found, told, moved).items():
        watched = _Watched(own)
        tables.write_table(to / name, watched.seen(iter(rows)), own, title=name.removesuffix(".csv").replace("_", " "))
        listed += watched.described(name)
    tables.write_table(to / "dictionary.csv", listed, columns_of.DICTIONARY, title="Data dictionary")


def _made(found: Study, told: JudgedEffect | None, moved: Sequence[tuple[str, Sequence[Effect]]]) -> dict[str, Table]:
    normalised: list[Row] = [
        {"way": way.name, **rows_of.with_unit(effect)} for way in found.normalised for effect in way.effects
    ]
    contrasts = [rows_of.with_unit(one) for model in found.models for one in model.contrasts]
    made: dict[str, Table] = {
        "counts.csv": (columns_of.COUNT, rows_of.count_rows(found)),
        "missing.csv": (columns_of.MISSING, [plain_row(one) for one in found.missing]),
        "bounds.csv": (columns_of.BOUND, [rows_of.with_unit(one) for one in found.bounds]),
        "analyses.csv": (columns_of.ANALYSES, [rows_of.with_unit(one) for one in found.analyses]),
        "speakers.csv": (columns_of.SPEAKER, rows_of.speaker_rows(found)),
        "effects.csv": (columns_of.EFFECT, rows_of.effect_rows(found.effects)),
        "fits.csv": (columns_of.FIT, rows_of.fit_rows(found)),
        "models.csv": (columns_of.MODEL, rows_of.model_rows(found)),
        "contrasts.csv": (columns_of.CONTRAST, contrasts),
        "discriminants.csv": (columns_of.EVALUATION, rows_of.evaluation_rows(found)),
        "confusion.csv": (columns_of.CONFUSION, rows_of.confusion_rows(found)),
        "learning.csv": (columns_of.CURVE, rows_of.curve_rows(found)),
        "normalisations.csv": (columns_of.WAY, rows_of.way_rows(found)),
        "normalised_effects.csv": (columns_of.NORMALISED, normalised),
        "sensitivity.csv": (columns_of.SENSITIVITY, [rows_of.with_unit(one) for one in found.sensitivity]),
        "separation.csv": (columns_of.SEPARATION, rows_of.separation_rows(found)),
        "unlike.csv": (study_unlike.COLUMNS, study_unlike.unlike_rows(found)),
    }
    if moved:
        rows: list[Row] = [{"way": way, **rows_of.with_unit(effect)} for way, effects in moved for effect in effects]
        made["edges_moved.csv"] = (columns_of.MOVED, rows)
    if told is not None:
        made["heard_effects.csv"] = (columns_of.EFFECT, rows_of.effect_rows(told.effects))
        made["judges.csv"] = (columns_of.JUDGES, rows_of.judge_rows(told))
    return made


class _Watched:
    """The range of every column and how many cells are empty, noted while rows go by."""

    def __init__(self, columns: Sequence[Column]) -> None:
        self.columns = columns
        self.lowest = dict.fromkeys((column.name for column in columns), math.inf)
        self.highest = dict.fromkeys((column.name for column in columns), -math.inf)
        self.missing = dict.fromkeys((column.name for column in columns), 0)

    def seen(self, rows: Iterator[Row]) -> Iterator[Row]:
        """Yield the rows as they are."""
        for row in rows:
            for column in self.columns:
                value = row.get(column.name)
                if column.datatype == "string":
                    self.missing[column.name] += value in (None, "")
                elif isinstance(value, int | float) and math.isfinite(value):
                    self.lowest[column.name] = min(self.lowest[column.name], float(value))
                    self.highest[column.name] = max(self.highest[column.name], float(value))
                else:
                    self.missing[column.name] += 1
            yield row

    def described(self, name: str) -> list[Row]:
        """One line of the dictionary for each column: what it holds and the range found in it."""
        return [
            {
                "table": name, "name": column.name, "datatype": column.datatype, "unit": column.unit,
                "lowest": self._end(self.lowest[column.name], column),
                "highest": self._end(self.highest[column.name], column),
                "how": _how(column), "missing": "empty cell", "n_missing": self.missing[column.name],
            }
            for column in self.columns
        ]  # fmt: skip

    def _end(self, value: float, column: Column) -> float | None:
        if not math.isfinite(value):
            return None
        return round(value, column.decimals) if column.decimals is not None else value


def _how(column: Column) -> str:
    measure = MEASURES.get(column.name)
    return f"{column.description} {measure.equation} [{measure.citation}]" if measure else column.description
