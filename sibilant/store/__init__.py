"""The caseload: clients, sessions, tokens, judgements, consent, audit trail; it keeps what was observed."""

from .backing import BackedUp, write_backup
from .care import add_goal, add_run, add_visit, change_goal, remove_goal, remove_run, remove_visit
from .caseload import Caseload, Clock, now
from .cases import audit_trail, clip_of, corrected, read_case
from .checking import Misfit, misfits
from .clips import at_work, clip_bytes, keep_clip, read_clip
from .converting import Converted, change_passphrase, decrypt, encrypt, recover
from .drafts import draft_folder, erase_drafts, has_draft, read_draft, write_draft
from .encode import method_from
from .engine import looks_synchronised, read_place
from .judging import add_corrections, add_judgements, add_measured, judging_order, keep_order
from .keys import KEY_FILE, PASSPHRASE_FROM, is_encrypted, need_extra, read_key_file
from .leftovers import count_plain, outside
from .lending import drop_lender, keep_given, keep_lender, kept_lenders, latest_changes
from .looking import LookAtRows, LookAtSounds, look_at_rows, look_at_sounds
from .opening import open_caseload
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
from .restoring import Restored, restore_backup
from .rows import Rows, column_kinds, dump_client, load_client, may_be_empty, refuse_taken, table_names
from .sessions import (
    NewClip,
    NewRecording,
    NewSession,
    NewSound,
    change_session,
    day_of,
    keep_session,
    move_session,
    refuse_kept,
    remember,
    sessions,
)
from .surroundings import Around, read_surroundings
from .switching import finish_restoring

__all__ = [
    "KEY_FILE",
    "PASSPHRASE_FROM",
    "Around",
    "BackedUp",
    "Caseload",
    "Clock",
    "Converted",
    "LookAtRows",
    "LookAtSounds",
    "Misfit",
    "NewClip",
    "NewRecording",
    "NewSession",
    "NewSound",
    "Restored",
    "Rows",
    "add_client",
    "add_corrections",
    "add_device",
    "add_earlier",
    "add_event",
    "add_goal",
    "add_judgements",
    "add_measured",
    "add_run",
    "add_visit",
    "at_work",
    "audit_trail",
    "change_client",
    "change_goal",
    "change_passphrase",
    "change_session",
    "clients",
    "clip_bytes",
    "clip_of",
    "codes",
    "column_kinds",
    "corrected",
    "count_plain",
    "day_of",
    "decrypt",
    "devices",
    "draft_folder",
    "drop_lender",
    "dump_client",
    "encrypt",
    "erase_drafts",
    "events_of",
    "finish_restoring",
    "get_client",
    "has_draft",
    "is_encrypted",
    "judging_order",
    "keep_clip",
    "keep_given",
    "keep_lender",
    "keep_order",
    "keep_session",
    "kept_lenders",
    "latest_changes",
    "load_client",
    "look_at_rows",
    "look_at_sounds",
    "looks_synchronised",
    "may_be_empty",
    "method_from",
    "misfits",
    "move_session",
    "need_extra",
    "new_code",
    "now",
    "open_caseload",
    "outside",
    "read_case",
    "read_clip",
    "read_draft",
    "read_key_file",
    "read_place",
    "read_surroundings",
    "recover",
    "refuse_kept",
    "refuse_taken",
    "remember",
    "remove_client",
    "remove_event",
    "remove_goal",
    "remove_run",
    "remove_session",
    "remove_visit",
    "restore_backup",
    "sessions",
    "table_names",
    "write_backup",
    "write_draft",
]
