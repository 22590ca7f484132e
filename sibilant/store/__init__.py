"""The caseload: clients, sessions, tokens, judgements, consent, audit trail; it keeps what was observed."""

from .caseload import Caseload, open_caseload
from .cases import audit_trail, clip_of, corrected_token, read_case
from .clips import at_work, keep_clip, making, read_clip
from .engine import looks_synchronised, read_place
from .judging import add_corrections, add_judgements, judging_order, keep_order
from .people import (
    add_client,
    add_device,
    add_earlier,
    add_event,
    change_client,
    clients,
    codes,
    devices,
    events_of,
    get_client,
    new_code,
    remove_event,
)
from .removal import remove_client, remove_session
from .rows import Rows, column_kinds, dump_client, load_client, may_be_empty, table_names
from .sessions import (
    NewClip,
    NewRecording,
    NewSession,
    change_session,
    day_of,
    keep_session,
    move_session,
    refuse_kept,
    remember,
    sessions,
)

__all__ = [
    "Caseload",
    "NewClip",
    "NewRecording",
    "NewSession",
    "Rows",
    "add_client",
    "add_corrections",
    "add_device",
    "add_earlier",
    "add_event",
    "add_judgements",
    "at_work",
    "audit_trail",
    "change_client",
    "change_session",
    "clients",
    "clip_of",
    "codes",
    "column_kinds",
    "corrected_token",
    "day_of",
    "devices",
    "dump_client",
    "events_of",
    "get_client",
    "judging_order",
    "keep_clip",
    "keep_order",
    "keep_session",
    "load_client",
    "looks_synchronised",
    "making",
    "may_be_empty",
    "move_session",
    "new_code",
    "open_caseload",
    "read_case",
    "read_clip",
    "read_place",
    "refuse_kept",
    "remember",
    "remove_client",
    "remove_event",
    "remove_session",
    "sessions",
    "table_names",
]
