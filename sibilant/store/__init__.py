"""The caseload: clients, sessions, tokens, judgements, consent, audit trail; it keeps what was observed."""

from .caseload import Caseload, open_caseload
from .cases import audit_trail, clip_of, read_case, whole_clips
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
    get_client,
    new_code,
)
from .removal import remove_client, remove_session
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
    "day_of",
    "devices",
    "get_client",
    "judging_order",
    "keep_clip",
    "keep_order",
    "keep_session",
    "looks_synchronised",
    "making",
    "move_session",
    "new_code",
    "open_caseload",
    "read_case",
    "read_clip",
    "read_place",
    "refuse_kept",
    "remember",
    "remove_client",
    "remove_session",
    "sessions",
    "whole_clips",
]
