"""The first format: clients, sessions, tokens, measurements, judgements, corrections, audit."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from sibilant.store.schema import Moment

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the caseload up to this format."""
    _audit()
    _clients()
    _devices()
    _methods()
    _settings()
    _events()
    _sessions()
    _clips()
    _prompts()
    _recordings()
    _tokens()
    _corrections()
    _judgements()
    _measurements()


INDEXED = {
    "measurements": ("token_id",),
    "judgements": ("token_id",),
    "corrections": ("token_id",),
    "tokens": ("session_id", "recording_id"),
    "recordings": ("session_id",),
    "prompts": ("session_id",),
    "clips": ("sha256", "session_id"),
    "sessions": ("client_id",),
    "events": ("client_id",),
    "settings": (),
    "methods": (),
    "devices": (),
    "clients": (),
    "audit": ("subject",),
}
"""Tables in the order in which they can go, with their indexed columns."""


def downgrade() -> None:
    """Take the caseload down to the format before."""
    for table, columns in INDEXED.items():
        with op.batch_alter_table(table, schema=None) as batch_op:
            for column in columns:
                batch_op.drop_index(batch_op.f(f"ix_{table}_{column}"))
        op.drop_table(table)


def _audit() -> None:
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("who", sa.Text(), server_default="", nullable=False),
        sa.Column("action", sa.Text(), server_default="", nullable=False),
        sa.Column("subject", sa.Text(), server_default="", nullable=False),
        sa.Column("detail", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
    )
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_subject"), ["subject"], unique=False)


def _clients() -> None:
    op.create_table(
        "clients",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=6), nullable=False),
        sa.Column("age_months", sa.Integer(), nullable=False),
        sa.Column("age_on", sa.Date(), nullable=False),
        sa.Column("reference_group", sa.Text(), server_default="", nullable=False),
        sa.Column("language", sa.Text(), server_default="", nullable=False),
        sa.Column("dialect", sa.Text(), server_default="", nullable=False),
        sa.Column("reason", sa.Text(), server_default="", nullable=False),
        sa.Column("hearing", sa.Text(), server_default="", nullable=False),
        sa.Column("hearing_on", sa.Date(), nullable=True),
        sa.Column("main_measure", sa.Text(), server_default="", nullable=False),
        sa.Column("direction", sa.Text(), server_default="", nullable=False),
        sa.Column("method", sa.Text(), server_default="", nullable=False),
        sa.Column("list_form", sa.Text(), server_default="", nullable=False),
        sa.Column("move_up", sa.Text(), server_default="", nullable=False),
        sa.Column("retention", sa.Text(), server_default="", nullable=False),
        sa.Column("consent", sa.Text(), server_default="", nullable=False),
        sa.Column("treated", sa.Text(), server_default="", nullable=False),
        sa.Column("held", sa.Text(), server_default="", nullable=False),
        sa.Column("added_on", sa.Date(), nullable=True),
        sa.Column("invented", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.CheckConstraint("age_months >= 0", name=op.f("ck_clients_age")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clients")),
        sa.UniqueConstraint("code", name=op.f("uq_clients_code")),
    )


def _devices() -> None:
    op.create_table(
        "devices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("kind", sa.Text(), server_default="", nullable=False),
        sa.Column("place", sa.Text(), server_default="", nullable=False),
        sa.Column("distance_cm", sa.Float(), nullable=True),
        sa.Column("response", sa.Text(), server_default="", nullable=False),
        sa.Column("added_on", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_devices")),
        sa.UniqueConstraint("name", name=op.f("uq_devices_name")),
    )


def _methods() -> None:
    op.create_table(
        "methods",
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("definition", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("label", name=op.f("pk_methods")),
    )


def _settings() -> None:
    op.create_table(
        "settings",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_settings")),
    )


def _events() -> None:
    op.create_table(
        "events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("happened_on", sa.Date(), nullable=False),
        sa.Column("what", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_events_client_id_clients"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_events")),
    )
    with op.batch_alter_table("events", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_events_client_id"), ["client_id"], unique=False)


def _sessions() -> None:
    op.create_table(
        "sessions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("client_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("held_on", sa.Date(), nullable=False),
        sa.Column("level", sa.Text(), server_default="", nullable=False),
        sa.Column("cue", sa.Text(), server_default="", nullable=False),
        sa.Column("device", sa.Text(), server_default="", nullable=False),
        sa.Column("room", sa.Text(), server_default="", nullable=False),
        sa.Column("list_form", sa.Text(), server_default="", nullable=False),
        sa.Column("phase", sa.Text(), server_default="", nullable=False),
        sa.Column("modelled", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.Column("keep", sa.Text(), server_default="", nullable=False),
        sa.Column("verdict", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(
            ["client_id"], ["clients.id"], name=op.f("fk_sessions_client_id_clients"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sessions")),
        sa.UniqueConstraint("client_id", "number", name=op.f("uq_sessions_client_id")),
    )
    with op.batch_alter_table("sessions", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sessions_client_id"), ["client_id"], unique=False)


def _clips() -> None:
    op.create_table(
        "clips",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("prompt_index", sa.Integer(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("suffix", sa.Text(), server_default="", nullable=False),
        sa.Column("start_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_clips_session_id_sessions"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clips")),
        sa.UniqueConstraint("session_id", "prompt_index", "attempt", name=op.f("uq_clips_session_id")),
    )
    with op.batch_alter_table("clips", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_clips_session_id"), ["session_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_clips_sha256"), ["sha256"], unique=False)


def _prompts() -> None:
    op.create_table(
        "prompts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("prompt_index", sa.Integer(), nullable=False),
        sa.Column("prompt", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_prompts_session_id_sessions"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_prompts")),
        sa.UniqueConstraint("session_id", "prompt_index", name=op.f("uq_prompts_session_id")),
    )
    with op.batch_alter_table("prompts", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_prompts_session_id"), ["session_id"], unique=False)


def _recordings() -> None:
    op.create_table(
        "recordings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("sampling_rate_hz", sa.Integer(), nullable=False),
        sa.Column("duration_s", sa.Float(), nullable=False),
        sa.Column("suitability", sa.Text(), server_default="", nullable=False),
        sa.Column("clip_sha256", sa.String(length=64), nullable=True),
        sa.Column("clip_suffix", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_recordings_session_id_sessions"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recordings")),
        sa.UniqueConstraint("sha256", name=op.f("uq_recordings_sha256")),
    )
    with op.batch_alter_table("recordings", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recordings_session_id"), ["session_id"], unique=False)


def _tokens() -> None:
    op.create_table(
        "tokens",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.Integer(), nullable=True),
        sa.Column("key", sa.String(length=40), nullable=False),
        sa.Column("prompt_index", sa.Integer(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("slot", sa.Integer(), server_default="0", nullable=False),
        sa.Column("finding", sa.Text(), server_default="", nullable=False),
        sa.Column("phone", sa.Text(), server_default="", nullable=False),
        sa.Column("position", sa.Text(), server_default="", nullable=False),
        sa.Column("cluster", sa.Text(), server_default="", nullable=False),
        sa.Column("level", sa.Text(), server_default="", nullable=False),
        sa.Column("cue", sa.Text(), server_default="", nullable=False),
        sa.Column("treated", sa.Boolean(), nullable=True),
        sa.Column("observed", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(
            ["recording_id"], ["recordings.id"], name=op.f("fk_tokens_recording_id_recordings"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["sessions.id"], name=op.f("fk_tokens_session_id_sessions"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tokens")),
        sa.UniqueConstraint("session_id", "key", name=op.f("uq_tokens_session_id")),
    )
    with op.batch_alter_table("tokens", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_tokens_recording_id"), ["recording_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_tokens_session_id"), ["session_id"], unique=False)


def _corrections() -> None:
    op.create_table(
        "corrections",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=False),
        sa.Column("by", sa.String(length=40), nullable=False),
        sa.Column("corrected_at", Moment(), nullable=False),
        sa.Column("onset_s", sa.Float(), nullable=True),
        sa.Column("offset_s", sa.Float(), nullable=True),
        sa.Column("voice", sa.String(length=10), nullable=True),
        sa.Column("counts", sa.Boolean(), nullable=True),
        sa.ForeignKeyConstraint(
            ["token_id"], ["tokens.id"], name=op.f("fk_corrections_token_id_tokens"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_corrections")),
    )
    with op.batch_alter_table("corrections", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_corrections_token_id"), ["token_id"], unique=False)


def _judgements() -> None:
    op.create_table(
        "judgements",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=False),
        sa.Column("rater", sa.String(length=40), nullable=False),
        sa.Column("heard", sa.String(length=20), nullable=False),
        sa.Column("judged_at", Moment(), nullable=False),
        sa.Column("types", sa.Text(), server_default="", nullable=False),
        sa.Column("substitute", sa.Text(), server_default="", nullable=False),
        sa.Column("certainty", sa.Text(), server_default="", nullable=False),
        sa.Column("line", sa.Float(), nullable=True),
        sa.Column("cue", sa.Text(), server_default="", nullable=False),
        sa.Column("self_corrected", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("blind", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.Column("turn", sa.Integer(), server_default="1", nullable=False),
        sa.ForeignKeyConstraint(
            ["token_id"], ["tokens.id"], name=op.f("fk_judgements_token_id_tokens"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_judgements")),
    )
    with op.batch_alter_table("judgements", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_judgements_token_id"), ["token_id"], unique=False)


def _measurements() -> None:
    op.create_table(
        "measurements",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_id", sa.Integer(), nullable=False),
        sa.Column("method", sa.String(length=80), nullable=False),
        sa.Column("boundary", sa.String(length=10), nullable=False),
        sa.Column("measured", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["method"], ["methods.label"], name=op.f("fk_measurements_method_methods")),
        sa.ForeignKeyConstraint(
            ["token_id"], ["tokens.id"], name=op.f("fk_measurements_token_id_tokens"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_measurements")),
        sa.UniqueConstraint("token_id", "method", "boundary", name=op.f("uq_measurements_token_id")),
    )
    with op.batch_alter_table("measurements", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_measurements_token_id"), ["token_id"], unique=False)
