"""What other clients lend: each one's baseline spread, and the fitted numbers a verdict was given with."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the caseload up to this format."""
    op.create_table(
        "spreads",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Text(), server_default="", nullable=False) for name in _TEXTS),
        sa.Column("sd", sa.Float(), nullable=False),
        sa.Column("df", sa.Integer(), nullable=False),
        sa.Column("fingerprint", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_spreads_client_id_clients"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spreads")),
    )
    op.create_index(op.f("ix_spreads_client_id"), "spreads", ["client_id"])
    op.create_table(
        "lent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("measure", sa.Text(), server_default="", nullable=False),
        sa.Column("typical", sa.Float(), nullable=False),
        sa.Column("spread", sa.Float(), nullable=False),
        sa.Column("n_clients", sa.Integer(), nullable=False),
        sa.Column("fitted_on", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_lent_session_id_sessions"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lent")),
        sa.UniqueConstraint("session_id", "measure", name=op.f("uq_lent_session_id")),
    )
    op.create_index(op.f("ix_lent_session_id"), "lent", ["session_id"])


def downgrade() -> None:
    """Take the caseload down to the format before; what others lent is then not known any more."""
    op.drop_index(op.f("ix_lent_session_id"), table_name="lent")
    op.drop_table("lent")
    op.drop_index(op.f("ix_spreads_client_id"), table_name="spreads")
    op.drop_table("spreads")


_TEXTS = ("measure", "method", "level", "device_kind")
