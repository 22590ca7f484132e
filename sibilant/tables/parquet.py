"""A table in CSV to Parquet, units and meanings in the field metadata, in row groups of one fixed size."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import OutputError
from ..files import whole_file
from .columns import Column, token_columns
from .write import unguarded

if TYPE_CHECKING:
    import pandas as pd

ROWS_PER_GROUP = 5_000
"""Rows of a row group; fixed, so that the same rows make the same bytes however they came in."""
BLOCK_BYTES = 1 << 18
"""Of the CSV at a time; Arrow reads some thirty blocks ahead, and a row must fit into one."""


def can_write_parquet() -> bool:
    """Whether the optional extra that reads and writes Parquet is installed."""
    from importlib.util import find_spec

    return find_spec("pyarrow") is not None


def load_parquet() -> None:
    """Load what writes Parquet, if it is installed: a program that waits for others has the time."""
    if can_write_parquet():
        import pyarrow.csv
        import pyarrow.parquet  # noqa: F401 - loading is all


def write_parquet(
    path: Path,
    table: Path,
    columns: Sequence[Column] | None = None,
    *,
    title: str = "",
    rows_per_group: int = ROWS_PER_GROUP,
) -> int:
    """Write a table that ``write_table`` wrote as CSV as Parquet, whole or not at all; return its number of rows.

    It is read and written group by group, so memory stays flat; what both hold is the same, an empty cell being null.
    Each field carries ``unit`` and ``description``.

    Parameters
    ----------
    path : Path
        Where to write.
    table : Path
        The CSV file.
    columns : sequence of Column, optional
        Those it was written with. Default: the columns of TABLE.csv.
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

    schema = _schema(columns or token_columns(), title)
    n_rows = 0
    with whole_file(path) as stream, pq.ParquetWriter(stream, schema, compression="zstd") as writer:
        for group in _groups(_batches(table, schema), rows_per_group):
            writer.write_table(group, row_group_size=rows_per_group)
            n_rows += group.num_rows
    return n_rows


def _batches(table: Path, schema: Any) -> Iterator[Any]:
    """The rows of a CSV file as Arrow's own reader gives them, some at a time, apostrophes of the guard taken off."""
    import pyarrow as pa
    from pyarrow import csv

    empty = csv.ConvertOptions(column_types=schema, null_values=[""], strings_can_be_null=True)
    shape = csv.ReadOptions(
        column_names=schema.names, skip_rows_after_names=1, use_threads=False, block_size=BLOCK_BYTES
    )
    parse = csv.ParseOptions(newlines_in_values=True)
    with csv.open_csv(table, read_options=shape, parse_options=parse, convert_options=empty) as batches:
        for batch in batches:
            arrays = [_unguarded(array) if array.type == pa.string() else array for array in batch.columns]
            yield pa.RecordBatch.from_arrays(arrays, schema=schema)


def _groups(batches: Iterable[Any], size: int) -> Iterator[Any]:
    """Batches as tables of ``size`` rows, the last one of the rest."""
    import pyarrow as pa

    held, n_held = [], 0
    for batch in batches:
        held.append(batch)
        n_held += batch.num_rows
        while n_held >= size:
            table = pa.Table.from_batches(held)
            yield table.slice(0, size).combine_chunks()
            held, n_held = table.slice(size).to_batches(), n_held - size
    if n_held:
        yield pa.Table.from_batches(held).combine_chunks()


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


def _unguarded(texts: Any) -> Any:
    """Texts without the apostrophe of ``guarded``; built from buffers, as ``pyarrow.array`` would load pandas."""
    import numpy as np
    import pyarrow as pa

    if b"'" not in memoryview(texts.buffers()[2] or b"").tobytes():
        return texts
    cells = [None if text is None else unguarded(text) for text in texts.to_pylist()]
    known = np.packbits([cell is not None for cell in cells], bitorder="little")
    encoded = [(cell or "").encode() for cell in cells]
    ends = np.cumsum([0, *map(len, encoded)], dtype=np.int32)
    return pa.StringArray.from_buffers(len(cells), *map(pa.py_buffer, (ends, b"".join(encoded), known)))


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

    numeric = {column.name for column in token_columns() if column.datatype != "string"}
    for name in frame.columns:
        if name in numeric:
            frame[name] = pd.to_numeric(frame[name], errors="coerce")
        else:
            frame[name] = frame[name].map(unguarded)
    return frame
