"""When therapy of the target ran, and how the words of a session were had."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the caseload up to this format; kept phases stay as they are."""
    with op.batch_alter_table("clients", schema=None) as batch_op:
        batch_op.add_column(sa.Column("therapy", sa.Text(), server_default="", nullable=False))
    with op.batch_alter_table("sessions", schema=None) as batch_op:
        batch_op.add_column(sa.Column("elicited", sa.Text(), server_default="", nullable=False))


def downgrade() -> None:
    """Take the caseload down to the format before; phases that it has no word for are told as treatment."""
    op.execute(
        "UPDATE sessions SET phase = 'treatment' WHERE phase IN ('reference under treatment', 'pause', 'not stated')"
    )
    with op.batch_alter_table("sessions", schema=None) as batch_op:
        batch_op.drop_column("elicited")
    with op.batch_alter_table("clients", schema=None) as batch_op:
        batch_op.drop_column("therapy")
