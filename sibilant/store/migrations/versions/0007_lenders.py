"""What a client lends in one row under a fingerprint; what a verdict was given with, tied to its grounds; checksums.

What clients lend is made anew from the record; what verdicts were given with stays.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

GROUNDS = ("method", "level", "device_kind", "baseline")


def upgrade() -> None:
    """Bring the caseload up to this format."""
    op.drop_index(op.f("ix_spreads_client_id"), table_name="spreads")
    op.drop_table("spreads")
    op.create_table(
        "lenders",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("checksum", sa.String(length=16), nullable=True),
        sa.Column("client_id", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Text(), server_default="", nullable=False) for name in ("fingerprint", "content")),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_lenders_client_id_clients"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lenders")),
        sa.UniqueConstraint("client_id", name=op.f("uq_lenders_client_id")),
    )
    with op.batch_alter_table("lent", schema=None) as batch_op:
        batch_op.add_column(sa.Column("checksum", sa.String(length=16), nullable=True))
        for name in GROUNDS:
            batch_op.add_column(sa.Column(name, sa.Text(), server_default="", nullable=False))
        for name in ("typical", "spread"):
            batch_op.alter_column(name, existing_type=sa.Float(), nullable=True)
    unsealed = sa.text("checksum IS NULL")
    for table in ("lenders", "lent"):
        op.create_index(f"ix_{table}_checksum", table, ["checksum"], sqlite_where=unsealed, postgresql_where=unsealed)


def downgrade() -> None:
    """Take the caseload down to the format before; verdicts given by the plain rule are then not known as such."""
    for table in ("lenders", "lent"):
        op.drop_index(f"ix_{table}_checksum", table_name=table)
    op.execute(sa.text("DELETE FROM lent WHERE typical IS NULL"))
    with op.batch_alter_table("lent", schema=None) as batch_op:
        for name in ("typical", "spread"):
            batch_op.alter_column(name, existing_type=sa.Float(), nullable=False)
        for name in (*GROUNDS, "checksum"):
            batch_op.drop_column(name)
    op.drop_table("lenders")
    op.create_table(
        "spreads",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        *(
            sa.Column(name, sa.Text(), server_default="", nullable=False)
            for name in ("measure", "method", "level", "device_kind")
        ),
        sa.Column("sd", sa.Float(), nullable=False),
        sa.Column("df", sa.Integer(), nullable=False),
        sa.Column("fingerprint", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_spreads_client_id_clients"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spreads")),
    )
    op.create_index(op.f("ix_spreads_client_id"), "spreads", ["client_id"])
