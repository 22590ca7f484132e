"""An earlier, hand-made probe table, kept with its source beside what is measured here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path

from .. import store, tables
from ..errors import ListError, UsageError
from ..terms import MEASURES
from ..terms.clinic import EarlierProbe
from .caseload import CaseloadHandle, client_or_last, day_known, opened, used
from .receipts import EarlierImported


def import_earlier(caseload: CaseloadHandle, code: str | None, path: Path, *, source: str) -> EarlierImported:
    """Keep an earlier, hand-made probe table with its source: one row a probe (and measure); never joined with others.

    Columns: ``on`` (2025-05-06); ``correct`` and ``scored``, or ``measure`` and ``value`` (with ``sd`` and ``n``); also
    ``level``, ``cue``, ``list``, ``note``.

    Raises
    ------
    ListError
        When the table can't be read as one.
    UsageError
        When the source is not said.
    """
    if not source.strip():
        raise UsageError("--source: say where the table comes from, such as 'paper form, counted by hand'")
    probes = tuple(_earlier(path.name, line, cells, source.strip()) for line, cells in tables.read_rows(path, ["on"]))
    if not probes:
        raise ListError(f"{path.name}: no probes below its first line")
    with opened(caseload) as one:
        name = client_or_last(one, code)
        for each in probes:
            day_known(one, each.on, f"{path.name}: a probe", store.get_client(one, name))
        store.add_earlier(one, name, probes)
        used(one, name)
    return {"client": name, "probes": len(probes), "source": source.strip()}


def _earlier(file_name: str, line: int, cells: Mapping[str, str], source: str) -> EarlierProbe:
    where = f"{file_name}: line {line}"
    try:
        on = dt.date.fromisoformat(cells["on"])
        n_correct, n_scored, n = (int(cells[key]) if cells.get(key) else None for key in ("correct", "scored", "n"))
        value, sd = (float(cells[key]) if cells.get(key) else None for key in ("value", "sd"))
    except ValueError as error:
        raise ListError(f"{where}: a day is written 2025-05-06, counts and values as plain numbers") from error
    if (n_correct is None) != (n_scored is None) or (n_correct is not None and not 0 <= n_correct <= (n_scored or 0)):
        raise ListError(f"{where}: correct and scored come together, correct not above scored")
    measure = cells.get("measure", "")
    if (value is None) != (not measure) or (measure and measure not in MEASURES):
        raise ListError(f"{where}: measure (one of docs/measures.md) and value come together")
    if n_correct is None and value is None:
        raise ListError(f"{where}: neither correct and scored nor measure and value")
    texts = {key: cells.get(column, "") for key, column in (("level", "level"), ("cue", "cue"), ("list_form", "list"),
                                                            ("note", "note"))}  # fmt: skip
    return EarlierProbe(
        on, source, n_correct=n_correct, n_scored=n_scored, measure=measure, value=value, sd=sd, n=n, **texts
    )
