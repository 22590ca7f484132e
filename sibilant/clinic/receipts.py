"""What came of a change to the caseload as a whole, field by field: bin, exports, backups, encryption, wholeness.

Terminal, JSON and page show the same; a day is ISO text.
"""

from __future__ import annotations

from typing import TypedDict, final


class BinRow(TypedDict):
    """One thing in the bin."""

    client: str
    what: str
    session: int | None
    since: str
    until: str


class BinWay(TypedDict):
    """What a removal does: days in the bin, or why it erases at once."""

    days: int
    at_once: str


class BroughtBack(TypedDict):
    """What came back from the bin, under which session."""

    client: str
    brought_back: str
    session: int | None


class Exported(TypedDict):
    """What an export holds."""

    client: str
    folder: str
    files: int
    sounds: int
    sessions: int


class FhirExported(TypedDict):
    """What an export as FHIR resources holds, counted by kind."""

    client: str
    folder: str
    file: str
    resources: dict[str, int]


@final
class Imported(TypedDict):
    """What was kept of an export, and the day of its first probe."""

    client: str
    sessions: int
    tokens: int
    day_zero: str


@final
class EarlierImported(TypedDict):
    """What was kept of a hand-made table."""

    client: str
    probes: int
    source: str


class BackupMade(TypedDict):
    """What a backup holds."""

    caseload: str
    backup: str
    encrypted: bool
    rows: int
    sounds: int
    bytes: int
    damaged_before: list[str]
    notes: list[str]


class Restored(TypedDict):
    """What came from a backup."""

    caseload: str
    backup: str
    made_at: str
    encrypted: bool
    rows: int
    sounds: int
    clients: int
    not_whole: list[str]
    set_aside: str | None
    notes: list[str]


class PassphraseChanged(TypedDict):
    """That another passphrase opens it."""

    caseload: str
    encrypted: bool
    notes: list[str]


class Encrypted(TypedDict):
    """That a caseload is encrypted, or plain again."""

    caseload: str
    encrypted: bool
    sounds: int
    records: bool
    notes: list[str]


class EncryptionStatus(TypedDict):
    """Whether a caseload is encrypted, and what that covers."""

    caseload: str
    encrypted: bool
    plain_pieces_of_takes: int
    exports_unfinished: int
    records: str
    records_encrypted: bool
    sounds: int
    sounds_encrypted: int
    key: str | None
    last_backup: str | None
    not_covered: list[str]
    notes: list[str]


Whole = TypedDict(
    "Whole",
    {
        "caseload": str,
        "encrypted": bool,
        "rows": int,
        "sounds": int,
        "damaged": list[str],
        "missing": list[str],
        "changed": list[str],
        "plain": list[str],
        "unreadable": list[str],
        "left over": list[str],
        "whole": bool,
    },
)
"""Whether a caseload is whole, and what is not."""
