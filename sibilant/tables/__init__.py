"""Rows to CSV, JSON and Parquet; lists, judgements and reviews from CSV."""

from .columns import Column, few, token_columns
from .frame import as_frame, described
from .marks import MARK_ENDINGS, IntervalRow, read_intervals
from .read import (
    JudgementRow,
    ListRow,
    ReviewRow,
    read_judgements,
    read_list,
    read_list_as,
    read_response,
    read_reviews,
    read_rows,
)
from .rows import Cell, Labels, Row, sound_rows, unreadable_row
from .write import (
    cell_text,
    description,
    guarded,
    json_rows,
    rounded,
    row_lines,
    table_lines,
    unguarded,
    write_lines,
    write_table,
)

__all__ = [
    "MARK_ENDINGS",
    "Cell",
    "Column",
    "IntervalRow",
    "JudgementRow",
    "Labels",
    "ListRow",
    "ReviewRow",
    "Row",
    "as_frame",
    "cell_text",
    "described",
    "description",
    "few",
    "guarded",
    "json_rows",
    "read_intervals",
    "read_judgements",
    "read_list",
    "read_list_as",
    "read_response",
    "read_reviews",
    "read_rows",
    "rounded",
    "row_lines",
    "sound_rows",
    "table_lines",
    "token_columns",
    "unguarded",
    "unreadable_row",
    "write_lines",
    "write_table",
]
