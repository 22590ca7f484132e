"""Sounds and measurements as lists in a fixed order, not as objects that name every figure anew."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from alembic import op

from sibilant.store.checksums import digest_of
from sibilant.store.encode import dump, load
from sibilant.store.packing import COLUMNS, Turn
from sibilant.store.schema import YesNo

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

AT_ONCE = 2000  # rows in memory
CELLS = {
    "tokens": (
        "id", "session_id", "recording_id", "key", "prompt_index", "attempt", "slot", "finding", "phone", "position",
        "cluster", "level", "cue", "treated", "observed",
    ),
    "measurements": ("id", "token_id", "method", "boundary", "measured"),
}  # fmt: skip
"""The columns of this format in the order that their checksum takes them in."""


def upgrade() -> None:
    """Bring the caseload up to this format; a row that is damaged stays as it is, and is named as before."""
    for name, (column, packed, _) in COLUMNS.items():
        _turn(name, column, packed)


def downgrade() -> None:
    """Take the caseload down to the format before; nothing is lost."""
    for name, (column, _, told) in COLUMNS.items():
        _turn(name, column, told)


def _turn(name: str, column: str, turn: Turn) -> None:
    connection = op.get_bind()
    kinds = {"treated": YesNo()}
    cells = [sa.column(cell, kinds.get(cell)) for cell in CELLS[name]]
    table = sa.table(name, sa.column("checksum"), *cells)
    update = table.update().where(table.c.id == sa.bindparam("named"))
    update = update.values({column: sa.bindparam("turned"), "checksum": sa.bindparam("made")})
    last = 0
    while rows := connection.execute(
        sa.select(table).where(table.c.id > last).order_by(table.c.id).limit(AT_ONCE)
    ).mappings().all():  # fmt: skip
        last = rows[-1]["id"]
        made = [_turned(name, column, turn, row) for row in rows if _is_whole(name, row)]
        if made:
            connection.execute(update, made)


def _is_whole(name: str, row: Mapping[Any, Any]) -> bool:
    """Say whether a row is as it was kept, or of a format before checksums."""
    return row["checksum"] is None or row["checksum"] == digest_of(name, [row[cell] for cell in CELLS[name]])


def _turned(name: str, column: str, turn: Turn, row: Mapping[Any, Any]) -> dict[str, Any]:
    text = dump(turn(load(row[column])))
    cells = [text if cell == column else row[cell] for cell in CELLS[name]]
    made = None if row["checksum"] is None else digest_of(name, cells)
    return {"named": row["id"], "turned": text, "made": made}
