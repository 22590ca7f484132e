"""Goals, visits, and runs of practice, which are kept apart from probes."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the caseload up to this format."""
    _make(
        "goals",
        *(_text(name) for name in ("behaviour", "level", "cue")),
        sa.Column("share", sa.Float(), nullable=False),
        sa.Column("n_sounds", sa.Integer(), nullable=False),
        sa.Column("n_sessions", sa.Integer(), nullable=False),
        sa.Column("made_on", sa.Date(), nullable=False),
        sa.Column("by_on", sa.Date()),
        _text("ended"),
        sa.Column("ended_on", sa.Date()),
    )
    _make("visits", sa.Column("held_on", sa.Date(), nullable=False), _text("kind"), sa.Column("minutes", sa.Integer()))
    _make("practice_runs", sa.Column("done_on", sa.Date(), nullable=False), _text("level"), _text("marks"))


def downgrade() -> None:
    """Take the caseload down to the format before; goals, visits and practice are then not known any more."""
    for name in ("practice_runs", "visits", "goals"):
        op.drop_index(f"ix_{name}_checksum", table_name=name)
        op.drop_index(op.f(f"ix_{name}_client_id"), table_name=name)
        op.drop_table(name)


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), server_default="", nullable=False)


def _make(name: str, *columns: sa.Column[Any]) -> None:
    op.create_table(
        name,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("checksum", sa.String(16)),
        sa.Column("client_id", sa.Integer(), nullable=False),
        *columns,
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f(f"fk_{name}_client_id_clients"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
    )
    op.create_index(op.f(f"ix_{name}_client_id"), name, ["client_id"])
    unsealed = sa.text("checksum IS NULL")
    op.create_index(f"ix_{name}_checksum", name, ["checksum"], sqlite_where=unsealed, postgresql_where=unsealed)
