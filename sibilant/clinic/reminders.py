"""When the last backup was taken, and a reminder once it is older than the clinic's own number of days."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

from .. import files
from ..errors import OutputError
from .notes import Note

NOTED = "backups.json"


def note_backup(folder: Path, day: dt.date, remind_after: int | None) -> bool:
    """Note the day of a backup in the caseload's folder; False where it can't be written."""
    days = remind_after if remind_after is not None else _noted(folder).get("remind_after_days")
    content = {"last_backup_on": day.isoformat(), "remind_after_days": days}
    try:
        files.write_text(folder / NOTED, json.dumps(content) + "\n", private=True)
    except OutputError:
        return False
    return True


def _noted(folder: Path) -> dict[str, Any]:
    """What is noted; nothing where there is none, or it is damaged."""
    try:
        content = files.from_json((folder / NOTED).read_text(encoding="utf-8"))
        last, days = dt.date.fromisoformat(content["last_backup_on"]), content["remind_after_days"]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return {"last": last, "remind_after_days": days if isinstance(days, int) and days > 0 else None}


def reminders(folder: Path, today: dt.date | None = None) -> tuple[Note, ...]:
    """Return a reminder where the last backup is older than the clinic's own number of days; else nothing.

    Without such a number nothing is said: the tool invents none.
    """
    noted = _noted(folder)
    if noted.get("remind_after_days") is None:
        return ()
    age = ((today or dt.date.today()) - noted["last"]).days
    if age <= noted["remind_after_days"]:
        return ()
    most = noted["remind_after_days"]
    told = f"the last backup is {age} days old (on {noted['last']}; yours to be at most {most})"
    return (Note(told, "sibilant caseload backup FILE"),)


def last_backup(folder: Path) -> str | None:
    """Return the day of the last backup noted here, or None."""
    last = _noted(folder).get("last")
    return last.isoformat() if last is not None else None
