"""Stored judging orders, earlier probe tables, and bridge sessions."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the caseload up to this format."""
    _earlier_probes()
    _judging_orders()
    with op.batch_alter_table("sessions", schema=None) as batch_op:
        batch_op.add_column(sa.Column("bridge", sa.Boolean(), server_default=sa.false(), nullable=False))


def _earlier_probes() -> None:
    op.create_table(
        "earlier_probes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("held_on", sa.Date(), nullable=False),
        sa.Column("source", sa.Text(), server_default="", nullable=False),
        sa.Column("level", sa.Text(), server_default="", nullable=False),
        sa.Column("cue", sa.Text(), server_default="", nullable=False),
        sa.Column("list_form", sa.Text(), server_default="", nullable=False),
        sa.Column("n_correct", sa.Integer(), nullable=True),
        sa.Column("n_scored", sa.Integer(), nullable=True),
        sa.Column("measure", sa.Text(), server_default="", nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("sd", sa.Float(), nullable=True),
        sa.Column("n", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_earlier_probes_client_id_clients"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_earlier_probes")),
    )
    with op.batch_alter_table("earlier_probes", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_earlier_probes_client_id"), ["client_id"], unique=False)


def _judging_orders() -> None:
    op.create_table(
        "judging_orders",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("rater", sa.String(length=40), nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("token_keys", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_judging_orders_session_id_sessions"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_judging_orders")),
        sa.UniqueConstraint("session_id", "rater", "turn", name=op.f("uq_judging_orders_session_id")),
    )
    with op.batch_alter_table("judging_orders", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_judging_orders_session_id"), ["session_id"], unique=False)


def downgrade() -> None:
    """Take the caseload down to the format before."""
    with op.batch_alter_table("sessions", schema=None) as batch_op:
        batch_op.drop_column("bridge")

    with op.batch_alter_table("judging_orders", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_judging_orders_session_id"))

    op.drop_table("judging_orders")
    with op.batch_alter_table("earlier_probes", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_earlier_probes_client_id"))

    op.drop_table("earlier_probes")
