"""What a recording showed around each word, and the methods that clinicians chose for a client, with the day."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the caseload up to this format; words kept before have no surroundings, clients no choices."""
    _table(
        "surroundings",
        "session",
        sa.Column("prompt_index", sa.Integer(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("cut_hz", sa.Float(), nullable=True),
        *_texts("noise", "sounds"),
        sa.UniqueConstraint("session_id", "prompt_index", "attempt", name=op.f("uq_surroundings_session_id")),
    )
    _table("method_choices", "client", sa.Column("chosen_on", sa.Date(), nullable=False), *_texts("method", "before"))


def _texts(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.Text(), server_default="", nullable=False) for name in names]


def _table(name: str, parent: str, *own: sa.schema.SchemaItem) -> None:
    key = f"{parent}_id"
    op.create_table(
        name,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("checksum", sa.String(length=16), nullable=True),
        sa.Column(key, sa.Integer(), nullable=False),
        *own,
        sa.ForeignKeyConstraint([key], [f"{parent}s.id"], name=op.f(f"fk_{name}_{key}_{parent}s"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{name}")),
    )
    op.create_index(op.f(f"ix_{name}_{key}"), name, [key])
    unsealed = sa.text("checksum IS NULL")
    op.create_index(f"ix_{name}_checksum", name, ["checksum"], sqlite_where=unsealed, postgresql_where=unsealed)


def downgrade() -> None:
    """Take the caseload down to the format before; kept words are then measured with the noise of their own margins."""
    for name, parent in (("method_choices", "client"), ("surroundings", "session")):
        op.drop_index(f"ix_{name}_checksum", table_name=name)
        op.drop_index(op.f(f"ix_{name}_{parent}_id"), table_name=name)
        op.drop_table(name)
