"""A checksum in every row of the record, so that a changed one is noticed; rows kept before are sealed as found."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

TABLES = (
    "audit", "clients", "clips", "corrections", "devices", "earlier_probes", "events", "judgements", "judging_orders",
    "measurements", "methods", "prompts", "recordings", "sessions", "tokens",
)  # fmt: skip


def upgrade() -> None:
    """Bring the caseload up to this format."""
    unsealed = sa.text("checksum IS NULL")
    for table in TABLES:
        op.add_column(table, sa.Column("checksum", sa.String(length=16), nullable=True))
        op.create_index(f"ix_{table}_checksum", table, ["checksum"], sqlite_where=unsealed, postgresql_where=unsealed)


def downgrade() -> None:
    """Take the caseload down to the format before."""
    for table in TABLES:
        op.drop_index(f"ix_{table}_checksum", table_name=table)
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.drop_column("checksum")
