"""Rows to Parquet, units and meanings in the field metadata, in row groups of one fixed size."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import OutputError
from ..files import whole_file
from .columns import Column, token_columns
from .rows import Cell
from .write import rounded

if TYPE_CHECKING:
    import pandas as pd

ROWS_PER_GROUP = 5_000
"""Rows of a row group; fixed, so that the same rows make the same bytes however they came in."""


def can_write_parquet() -> bool:
    """Whether the optional extra that reads and writes Parquet is installed."""
    from importlib.util import find_spec

    return find_spec("pyarrow") is not None


def write_parquet(
    path: Path,
    rows: Iterable[Mapping[str, Cell]],
    columns: Sequence[Column] | None = None,
    *,
    title: str = "",
    rows_per_group: int = ROWS_PER_GROUP,
) -> int:
    """Write rows as Parquet, whole or not at all; return how many there were.

    Rows are taken as they come and written group by group, so memory stays flat. Each field carries ``unit`` and
    ``description``; numbers are rounded to the column's decimals, as in CSV.

    Parameters
    ----------
    path : Path
        Where to write.
    rows : iterable of mapping
        Cells by column name; an absent cell is null.
    columns : sequence of Column, optional
        Default: the columns of TABLE.csv.
    title : str
        Kept in the file's metadata.
    rows_per_group : int
        Rows of a row group.

    Raises
    ------
    OutputError
        When the place can't be written, or the extra ``sibilant[parquet]`` is missing.
    """
    if not can_write_parquet():
        raise OutputError(f"{path.name}: Parquet needs an optional part; install it with pip install sibilant[parquet]")
    import pyarrow.parquet as pq

    columns = columns or token_columns()
    schema = _schema(columns, title)
    n_rows = 0
    with whole_file(path) as stream, pq.ParquetWriter(stream, schema, compression="zstd") as writer:
        for group in _groups(rows, rows_per_group):
            writer.write_table(_table(group, columns, schema), row_group_size=rows_per_group)
            n_rows += len(group)
    return n_rows


def _groups(rows: Iterable[Mapping[str, Cell]], size: int) -> Iterator[list[Mapping[str, Cell]]]:
    stream = iter(rows)
    while group := list(islice(stream, size)):
        yield group


def _schema(columns: Sequence[Column], title: str) -> Any:
    import pyarrow as pa

    kinds = {"string": pa.string(), "integer": pa.int64(), "number": pa.float64()}
    fields = [pa.field(column.name, kinds[column.datatype], metadata=_field_metadata(column)) for column in columns]
    return pa.schema(fields, metadata={"title": title or "Sibilants, one row each"})


def _field_metadata(column: Column) -> dict[str, str]:
    return {
        "unit": column.unit,
        "description": column.description,
        "decimals": json.dumps(column.decimals),
    }


def _table(rows: Sequence[Mapping[str, Cell]], columns: Sequence[Column], schema: Any) -> Any:
    import pyarrow as pa

    arrays = [
        _array(_cells([row.get(column.name) for row in rows], column), schema.field(column.name).type)
        for column in columns
    ]
    return pa.Table.from_arrays(arrays, schema=schema)


def _array(cells: Sequence[Cell], kind: Any) -> Any:
    """Cells of one kind as an Arrow array, from its buffers: ``pyarrow.array`` would load pandas only to ask for it."""
    import pyarrow as pa

    known = np.packbits([cell is not None for cell in cells], bitorder="little")
    if kind != pa.string():
        values = np.array([0 if cell is None else cell for cell in cells], dtype=kind.to_pandas_dtype())
        return pa.Array.from_buffers(kind, len(cells), [pa.py_buffer(known), pa.py_buffer(values)])
    texts = [str(cell or "").encode() for cell in cells]
    ends = np.cumsum([0, *map(len, texts)], dtype=np.int32)
    return pa.StringArray.from_buffers(len(cells), *map(pa.py_buffer, (ends, b"".join(texts), known)))


def _cells(cells: Sequence[Cell], column: Column) -> list[Cell]:
    return [None if cell is None or cell == "" else rounded(cell, column) for cell in cells]


def read_frame(path: Path) -> pd.DataFrame:
    """Read a table of tokens, CSV or Parquet, as a data frame; text columns hold "" where a cell is empty.

    A column is numeric where all its cells are numbers; a column of codes such as speakers ``01`` keeps its text.

    Raises
    ------
    ListError
        When it is missing or can't be read as a table.
    """
    import pandas as pd

    from ..errors import ListError

    if not path.is_file():
        raise ListError(f"{path.name}: no such table; name a CSV or Parquet file of tokens")
    if path.suffix.lower() == ".parquet":
        return _from_parquet(path)
    try:
        frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise ListError(f"{path.name}: can't be read as a table; save it as CSV in UTF-8 with commas") from error
    return _with_numbers(frame)


def _from_parquet(path: Path) -> pd.DataFrame:
    from ..errors import ListError

    if not can_write_parquet():
        raise ListError(f"{path.name}: Parquet needs an optional part; install it with pip install sibilant[parquet]")
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        frame: pd.DataFrame = pq.read_table(path).to_pandas()
    except (pa.ArrowInvalid, OSError) as error:
        raise ListError(f"{path.name}: not a Parquet table; name the file that sibilant corpus wrote") from error
    for name in frame.columns:
        if not _is_number(frame[name]):
            frame[name] = frame[name].fillna("").astype(str)
    return frame


def _is_number(column: Any) -> bool:
    from pandas.api.types import is_numeric_dtype

    return bool(is_numeric_dtype(column))


def _with_numbers(frame: pd.DataFrame) -> pd.DataFrame:
    """Turn the columns that a table of tokens holds as numbers, and no others, into numbers."""
    import pandas as pd

    from .write import unguarded

    numeric = {column.name for column in token_columns() if column.datatype != "string"}
    for name in frame.columns:
        if name in numeric:
            frame[name] = pd.to_numeric(frame[name], errors="coerce")
        else:
            frame[name] = frame[name].map(unguarded)
    return frame
