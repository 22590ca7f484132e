"""What a recording showed around each word: its noise, where it is cut off, what each sound can support."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the caseload up to this format; words kept before have no surroundings."""
    op.create_table(
        "surroundings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("checksum", sa.String(16), nullable=True),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("prompt_index", sa.Integer(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("cut_hz", sa.Float(), nullable=True),
        *(sa.Column(name, sa.Text(), server_default="", nullable=False) for name in ("noise", "sounds")),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_surroundings_session_id_sessions"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_surroundings")),
        sa.UniqueConstraint("session_id", "prompt_index", "attempt", name=op.f("uq_surroundings_session_id")),
    )
    op.create_index(op.f("ix_surroundings_session_id"), "surroundings", ["session_id"])
    unsealed = sa.text("checksum IS NULL")
    op.create_index(
        "ix_surroundings_checksum",
        "surroundings",
        ["checksum"],
        sqlite_where=unsealed,
        postgresql_where=unsealed,
    )


def downgrade() -> None:
    """Take the caseload down to the format before; kept words are then measured with the noise of their own margins."""
    op.drop_index("ix_surroundings_checksum", table_name="surroundings")
    op.drop_index(op.f("ix_surroundings_session_id"), table_name="surroundings")
    op.drop_table("surroundings")
