"""The bin; and for the tally an index of the checksums of large tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

LARGE = (
    "recordings", "prompts", "clips", "surroundings", "judging_orders", "tokens", "measurements", "judgements",
    "corrections", "audit",
)  # fmt: skip


def upgrade() -> None:
    """Bring the caseload up to this format."""
    op.create_table(
        "binned",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("checksum", sa.String(16)),
        sa.Column("code", sa.String(6), nullable=False),
        sa.Column("kind", sa.String(10), nullable=False),
        sa.Column("number", sa.Integer()),
        sa.Column("put_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.Date(), nullable=False),
        sa.Column("format", sa.Integer(), nullable=False),
        sa.Column("content", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_binned")),
    )
    op.create_index(op.f("ix_binned_code"), "binned", ["code"])
    op.create_table(
        "binned_sounds",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("checksum", sa.String(16)),
        sa.Column("binned_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("suffix", sa.Text(), server_default="", nullable=False),
        sa.Column("kept", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["binned_id"], ["binned.id"], name=op.f("fk_binned_sounds_binned_id_binned"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_binned_sounds")),
    )
    for column in ("binned_id", "sha256"):
        op.create_index(op.f(f"ix_binned_sounds_{column}"), "binned_sounds", [column])
    unsealed = sa.text("checksum IS NULL")
    for name in ("binned", "binned_sounds"):
        op.create_index(f"ix_{name}_checksum", name, ["checksum"], sqlite_where=unsealed, postgresql_where=unsealed)
    for name in LARGE:
        op.create_index(f"ix_{name}_tally", name, ["checksum", "id"])


def downgrade() -> None:
    """Take the caseload down to the format before; what lies in the bin is then erased, its sound at the next start."""
    for name in LARGE:
        op.drop_index(f"ix_{name}_tally", table_name=name)
    for name in ("binned_sounds", "binned"):
        op.drop_table(name)
