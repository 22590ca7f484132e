"""A digest of each client's rows, each found by one index: those that the tally was read from go, and second ones."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

LARGE = (
    "recordings", "prompts", "clips", "surroundings", "judging_orders", "tokens", "measurements", "judgements",
    "corrections", "audit",
)  # fmt: skip
TWICE = {
    "sessions": "client_id", "prompts": "session_id", "clips": "session_id", "surroundings": "session_id",
    "tokens": "session_id", "measurements": "token_id", "judging_orders": "session_id", "lent": "session_id",
}  # fmt: skip
"""What a unique constraint's own index begins with too."""


def upgrade() -> None:
    """Bring the caseload up to this format; the digests are written when it is brought up whole."""
    op.create_table(
        "tallies",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("checksum", sa.String(16)),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_tallies_client_id_clients"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tallies")),
        sa.UniqueConstraint("client_id", name=op.f("uq_tallies_client_id")),
    )
    unsealed = sa.text("checksum IS NULL")
    op.create_index("ix_tallies_checksum", "tallies", ["checksum"], sqlite_where=unsealed, postgresql_where=unsealed)
    for name in LARGE:
        op.drop_index(f"ix_{name}_tally", table_name=name)
    for name, column in TWICE.items():
        op.drop_index(f"ix_{name}_{column}", table_name=name)


def downgrade() -> None:
    """Take the caseload down to the format before; nothing of the record is lost."""
    for name, column in TWICE.items():
        op.create_index(f"ix_{name}_{column}", name, [column])
    for name in LARGE:
        op.create_index(f"ix_{name}_tally", name, ["checksum", "id"])
    op.drop_table("tallies")
