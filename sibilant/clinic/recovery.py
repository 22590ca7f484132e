"""The recovery sheet: a caseload's recovery code on paper, to be kept apart from the machine."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from .. import files
from ..errors import RefusedError, UsageError
from ..report.render import Format, render
from ..terms.document import Blank, Box, Document, Facts, Paragraph, PracticeItem

KINDS: dict[str, Format] = {".pdf": "pdf", ".html": "html"}
GROUPS_A_LINE = 4  # groups of the code on one line of the sheet
ERASE_IT = (
    "{name} holds the recovery code in plain: print it, keep the paper apart from this machine, and erase the file and"
    " what the printer's queue kept of it"
)


def recovery_sheet(code: str, caseload: str, identity: str, on: dt.date) -> Document:
    """Return the sheet: the code in large print, what it opens, what to do with the paper.

    Examples
    --------
    >>> from sibilant.terms.document import PracticeItem
    >>> sheet = recovery_sheet("AAAA-BBBB-CCCC-DDDD-EEEE", "caseload", "00ff", dt.date(2026, 11, 26))
    >>> [part.text for part in sheet.of_kind(PracticeItem)]
    ['AAAA  BBBB  CCCC  DDDD', 'EEEE']
    """
    groups = code.split("-")
    lines = ["  ".join(groups[i : i + GROUPS_A_LINE]) for i in range(0, len(groups), GROUPS_A_LINE)]
    what_to_do = (
        "Keep it as you keep the key to the filing cabinet: it opens the caseload without the passphrase.",
        "Keep it apart from the machine and from the backups, where two people of the clinic can find it.",
        "When the passphrase or key.json is lost: sibilant caseload passphrase --recover",
        "After a change of key (sibilant caseload rekey) this sheet opens only backups taken before: keep or destroy it"
        " with them.",
    )
    return Document(
        "recovery",
        "Recovery sheet of a caseload",
        (
            Paragraph("Letters A to Z and digits 2 to 7 only: no zero, no one.", "lead"),
            *(PracticeItem(line, n_ticks=0) for line in lines),
            Facts("What it opens", (("Caseload", caseload), ("Key", identity), ("Made on", on.isoformat()))),
            Box("What to do with it", what_to_do),
            Blank("Kept by"),
            Blank("Kept where"),
        ),
    )


def refuse_sheet(to: Path, folder: Path) -> None:
    """Refuse a place where a recovery sheet can't be written, before anything is encrypted.

    Raises
    ------
    UsageError
        When it is neither .pdf nor .html.
    RefusedError
        When something stands there, or it lies in the caseload's folder, which it must be kept apart from.
    """
    if to.suffix.lower() not in KINDS:
        raise UsageError(f"{to.name}: a recovery sheet is written as .pdf or .html")
    if to.exists():
        raise RefusedError(f"{to.name}: something stands there already; name a new file")
    if folder.resolve() in to.absolute().parent.resolve().joinpath(to.name).parents:
        raise RefusedError(f"{to.name}: lies in the caseload's folder; the sheet is kept apart from it")


def write_sheet(to: Path, sheet: Document) -> None:
    """Write a recovery sheet, whole or not at all, for its owner alone.

    Raises
    ------
    OutputError
        When the place can't be written.
    """
    files.write_bytes(to, render(sheet, KINDS[to.suffix.lower()]), private=True)
