"""The tables of a caseload: what was observed; what was computed is handed in by the verbs, never made here."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import sqlalchemy as sa

FORMAT = 11  # the caseload's, told in its header; one more with each migration
NAMING = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
METADATA = sa.MetaData(naming_convention=NAMING)


class Moment(sa.types.TypeDecorator[dt.datetime]):
    """A moment kept in UTC on every database; SQLite would drop the zone."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Any) -> dt.datetime | None:
        """Turn to UTC on the way in."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs its time zone")
        return value.astimezone(dt.UTC)

    def result_processor(self, dialect: Any, coltype: Any) -> Any:
        """Read leniently: a damaged moment is handed on as it stands in the row."""
        return _lenient(super().result_processor(dialect, coltype))

    def process_result_value(self, value: dt.datetime | None, dialect: Any) -> dt.datetime | None:
        """Give the zone back on the way out."""
        if value is None:
            return None
        return value.replace(tzinfo=dt.UTC) if value.tzinfo is None else value.astimezone(dt.UTC)


def _lenient(process: Callable[[Any], Any] | None) -> Callable[[Any], Any] | None:
    """Return a reader that hands a damaged value on as it is, for the row's checksum to notice, instead of failing."""
    if process is None:
        return None

    def read(value: Any) -> Any:
        try:
            return process(value)
        except (ValueError, TypeError, OverflowError):
            return value

    return read


class Day(sa.types.TypeDecorator[dt.date]):
    """A day; a damaged one is handed on as it stands in the row."""

    impl = sa.Date
    cache_ok = True

    def result_processor(self, dialect: Any, coltype: Any) -> Any:
        """Read leniently."""
        return _lenient(super().result_processor(dialect, coltype))


class YesNo(sa.types.TypeDecorator[bool]):
    """Yes or no; a damaged one is handed on as it stands in the row."""

    impl = sa.Boolean
    cache_ok = True

    def result_processor(self, dialect: Any, coltype: Any) -> Any:
        """Read leniently."""
        return _lenient(super().result_processor(dialect, coltype))


def _check() -> sa.Column[str]:
    """The row's checksum: empty from a change until that change ends, which seals what it touched."""
    return sa.Column("checksum", sa.String(16), onupdate=sa.null())


def _key() -> sa.Column[int]:
    return sa.Column("id", sa.Integer, primary_key=True)


def _text(name: str, *, index: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=False, server_default="", index=index)


def _of(name: str, target: str, *, index: bool = True) -> sa.Column[int]:
    """What a row hangs on. One index leads from there to the row: of what must be unique, where that begins with it."""
    return sa.Column(name, sa.Integer, sa.ForeignKey(target, ondelete="CASCADE"), nullable=False, index=index)


SETTINGS = sa.Table("settings", METADATA, sa.Column("key", sa.Text, primary_key=True), _text("value"))

CLIENTS = sa.Table(
    "clients",
    METADATA,
    _key(),
    _check(),
    sa.Column("code", sa.String(6), nullable=False, unique=True),
    sa.Column("age_months", sa.Integer, nullable=False),
    sa.Column("age_on", Day, nullable=False),
    _text("reference_group"),
    _text("language"),
    _text("dialect"),
    _text("reason"),
    _text("hearing"),
    sa.Column("hearing_on", Day),
    _text("main_measure"),
    _text("direction"),
    _text("method"),
    _text("list_form"),
    _text("move_up"),
    _text("retention"),
    _text("consent"),
    _text("treated"),
    _text("held"),
    sa.Column("added_on", Day),
    sa.Column("invented", YesNo, nullable=False, server_default=sa.false()),
    _text("therapy"),
    sa.CheckConstraint("age_months >= 0", name="age"),
)
EVENTS = sa.Table(
    "events",
    METADATA,
    _key(),
    _check(),
    _of("client_id", "clients.id"),
    sa.Column("happened_on", Day, nullable=False),
    _text("what"),
)
DEVICES = sa.Table(
    "devices",
    METADATA,
    _key(),
    _check(),
    sa.Column("name", sa.String(80), nullable=False, unique=True),
    _text("kind"),
    _text("place"),
    sa.Column("distance_cm", sa.Float),
    _text("response"),
    sa.Column("added_on", Day),
)
SESSIONS = sa.Table(
    "sessions",
    METADATA,
    _key(),
    _check(),
    _of("client_id", "clients.id", index=False),
    sa.Column("number", sa.Integer, nullable=False),
    sa.Column("held_on", Day, nullable=False),
    _text("level"),
    _text("cue"),
    _text("device"),
    _text("room"),
    _text("list_form"),
    _text("phase"),
    sa.Column("modelled", YesNo, nullable=False, server_default=sa.false()),
    sa.Column("bridge", YesNo, nullable=False, server_default=sa.false()),
    _text("keep"),
    _text("verdict"),
    _text("note"),
    _text("elicited"),
    sa.UniqueConstraint("client_id", "number"),
)
RECORDINGS = sa.Table(
    "recordings",
    METADATA,
    _key(),
    _check(),
    _of("session_id", "sessions.id"),
    sa.Column("sha256", sa.String(64), nullable=False, unique=True),
    sa.Column("sampling_rate_hz", sa.Integer, nullable=False),
    sa.Column("duration_s", sa.Float, nullable=False),
    _text("suitability"),
    sa.Column("clip_sha256", sa.String(64)),
    _text("clip_suffix"),
)
PROMPTS = sa.Table(
    "prompts",
    METADATA,
    _key(),
    _check(),
    _of("session_id", "sessions.id", index=False),
    sa.Column("prompt_index", sa.Integer, nullable=False),
    _text("prompt"),
    sa.UniqueConstraint("session_id", "prompt_index"),
)
CLIPS = sa.Table(
    "clips",
    METADATA,
    _key(),
    _check(),
    _of("session_id", "sessions.id", index=False),
    sa.Column("prompt_index", sa.Integer, nullable=False),
    sa.Column("attempt", sa.Integer, nullable=False),
    sa.Column("sha256", sa.String(64), nullable=False, index=True),
    _text("suffix"),
    sa.Column("start_s", sa.Float, nullable=False),
    sa.UniqueConstraint("session_id", "prompt_index", "attempt"),
)
SURROUNDINGS = sa.Table(
    "surroundings",
    METADATA,
    _key(),
    _check(),
    _of("session_id", "sessions.id", index=False),
    sa.Column("prompt_index", sa.Integer, nullable=False),
    sa.Column("attempt", sa.Integer, nullable=False),
    sa.Column("cut_hz", sa.Float),
    _text("noise"),
    _text("sounds"),
    sa.UniqueConstraint("session_id", "prompt_index", "attempt"),
)
TOKENS = sa.Table(
    "tokens",
    METADATA,
    _key(),
    _check(),
    _of("session_id", "sessions.id", index=False),
    sa.Column("recording_id", sa.Integer, sa.ForeignKey("recordings.id", ondelete="CASCADE"), index=True),
    sa.Column("key", sa.String(40), nullable=False),
    sa.Column("prompt_index", sa.Integer, nullable=False),
    sa.Column("attempt", sa.Integer, nullable=False),
    sa.Column("slot", sa.Integer, nullable=False, server_default="0"),
    _text("finding"),
    _text("phone"),
    _text("position"),
    _text("cluster"),
    _text("level"),
    _text("cue"),
    sa.Column("treated", YesNo),
    _text("observed"),
    sa.UniqueConstraint("session_id", "key"),
)
METHODS = sa.Table(
    "methods", METADATA, sa.Column("label", sa.String(80), primary_key=True), _check(), _text("definition")
)
MEASUREMENTS = sa.Table(
    "measurements",
    METADATA,
    _key(),
    _check(),
    _of("token_id", "tokens.id", index=False),
    sa.Column("method", sa.String(80), sa.ForeignKey("methods.label"), nullable=False),
    sa.Column("boundary", sa.String(10), nullable=False),
    _text("measured"),
    sa.UniqueConstraint("token_id", "method", "boundary"),
)
JUDGEMENTS = sa.Table(
    "judgements",
    METADATA,
    _key(),
    _check(),
    _of("token_id", "tokens.id"),
    sa.Column("rater", sa.String(40), nullable=False),
    sa.Column("heard", sa.String(20), nullable=False),
    sa.Column("judged_at", Moment, nullable=False),
    _text("types"),
    _text("substitute"),
    _text("certainty"),
    sa.Column("line", sa.Float),
    _text("cue"),
    sa.Column("self_corrected", YesNo, nullable=False, server_default=sa.false()),
    _text("note"),
    sa.Column("blind", YesNo, nullable=False, server_default=sa.false()),
    sa.Column("turn", sa.Integer, nullable=False, server_default="1"),
)
CORRECTIONS = sa.Table(
    "corrections",
    METADATA,
    _key(),
    _check(),
    _of("token_id", "tokens.id"),
    sa.Column("by", sa.String(40), nullable=False),
    sa.Column("corrected_at", Moment, nullable=False),
    sa.Column("onset_s", sa.Float),
    sa.Column("offset_s", sa.Float),
    sa.Column("voice", sa.String(10)),
    sa.Column("counts", YesNo),
)
ORDERS = sa.Table(
    "judging_orders",
    METADATA,
    _key(),
    _check(),
    _of("session_id", "sessions.id", index=False),
    sa.Column("rater", sa.String(40), nullable=False),
    sa.Column("turn", sa.Integer, nullable=False),
    _text("token_keys"),
    sa.UniqueConstraint("session_id", "rater", "turn"),
)
AUDIT = sa.Table(
    "audit",
    METADATA,
    _key(),
    _check(),
    sa.Column("at", Moment, nullable=False),
    _text("who"),
    _text("action"),
    _text("subject", index=True),
    _text("detail"),
)
EARLIER = sa.Table(
    "earlier_probes",
    METADATA,
    _key(),
    _check(),
    _of("client_id", "clients.id"),
    sa.Column("held_on", Day, nullable=False),
    _text("source"),
    _text("level"),
    _text("cue"),
    _text("list_form"),
    sa.Column("n_correct", sa.Integer),
    sa.Column("n_scored", sa.Integer),
    _text("measure"),
    sa.Column("value", sa.Float),
    sa.Column("sd", sa.Float),
    sa.Column("n", sa.Integer),
    _text("note"),
)
GOALS = sa.Table(
    "goals",
    METADATA,
    _key(),
    _check(),
    _of("client_id", "clients.id"),
    _text("behaviour"),
    _text("level"),
    _text("cue"),
    sa.Column("share", sa.Float, nullable=False),
    sa.Column("n_sounds", sa.Integer, nullable=False),
    sa.Column("n_sessions", sa.Integer, nullable=False),
    sa.Column("made_on", Day, nullable=False),
    sa.Column("by_on", Day),
    _text("ended"),
    sa.Column("ended_on", Day),
)
VISITS = sa.Table(
    "visits",
    METADATA,
    _key(),
    _check(),
    _of("client_id", "clients.id"),
    sa.Column("held_on", Day, nullable=False),
    _text("kind"),
    sa.Column("minutes", sa.Integer),
)
RUNS = sa.Table(
    "practice_runs",
    METADATA,
    _key(),
    _check(),
    _of("client_id", "clients.id"),
    sa.Column("done_on", Day, nullable=False),
    _text("level"),
    _text("marks"),
)
CHOICES = sa.Table(
    "method_choices",
    METADATA,
    _key(),
    _check(),
    _of("client_id", "clients.id"),
    sa.Column("chosen_on", Day, nullable=False),
    _text("method"),
    _text("before"),
)
LENDERS = sa.Table(
    "lenders",
    METADATA,
    _key(),
    _check(),
    sa.Column("client_id", sa.Integer, sa.ForeignKey("clients.id", ondelete="CASCADE"), nullable=False, unique=True),
    _text("fingerprint"),
    _text("content"),
)
LENT = sa.Table(
    "lent",
    METADATA,
    _key(),
    _check(),
    _of("session_id", "sessions.id", index=False),
    _text("measure"),
    sa.Column("typical", sa.Float),
    sa.Column("spread", sa.Float),
    sa.Column("n_clients", sa.Integer, nullable=False),
    sa.Column("fitted_on", Day, nullable=False),
    _text("method"),
    _text("level"),
    _text("device_kind"),
    _text("baseline"),
    sa.UniqueConstraint("session_id", "measure"),
)

BINNED = sa.Table(
    "binned",
    METADATA,
    _key(),
    _check(),
    sa.Column("code", sa.String(6), nullable=False, index=True),
    sa.Column("kind", sa.String(10), nullable=False),
    sa.Column("number", sa.Integer),
    sa.Column("put_at", Moment, nullable=False),
    sa.Column("until", Day, nullable=False),
    sa.Column("format", sa.Integer, nullable=False),
    _text("content"),
)
BINNED_SOUNDS = sa.Table(
    "binned_sounds",
    METADATA,
    _key(),
    _check(),
    _of("binned_id", "binned.id"),
    sa.Column("sha256", sa.String(64), nullable=False, index=True),
    _text("suffix"),
    sa.Column("kept", YesNo, nullable=False),
)

TALLIES = sa.Table(
    "tallies",
    METADATA,
    _key(),
    _check(),
    sa.Column("client_id", sa.Integer, sa.ForeignKey("clients.id", ondelete="CASCADE"), nullable=False, unique=True),
    _text("digest"),
)
for _table in METADATA.tables.values():
    if "checksum" in _table.c:  # migration 4 puts only rows whose checksum is still to be made into it; to say so here
        sa.Index(f"ix_{_table.name}_checksum", _table.c.checksum)  # would load the dialects of every database
