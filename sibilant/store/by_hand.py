"""The view for reading by hand: every measurement with its sound, its client and all figures by name.

Any program that reads the database can read it (``sounds_measured``); this program does not, and nothing is written to
it. It is made anew whenever the caseload's format is brought up.
"""

from __future__ import annotations

import sqlalchemy as sa

from .packing import PARTS, PLACES

NAME = "sounds_measured"
PLAIN = {
    "client": "clients.code",
    "session": "sessions.number",
    "held_on": "sessions.held_on",
    "sound": "tokens.key",
    "finding": "tokens.finding",
    "phone": "tokens.phone",
    "method": "measurements.method",
    "boundary": "measurements.boundary",
}
FROM = (
    "measurements JOIN tokens ON tokens.id = measurements.token_id JOIN sessions ON sessions.id = tokens.session_id"
    " JOIN clients ON clients.id = sessions.client_id"
)


def make(connection: sa.Connection) -> None:
    """Make the view."""
    reads = _postgres if connection.dialect.name == "postgresql" else _sqlite
    columns = {
        **PLAIN,
        "prompt": reads("tokens.observed", "prompt_text", number=False),
        "onset_s": reads("tokens.observed", "edges", 0, 0),
        "offset_s": reads("tokens.observed", "edges", 0, 1),
        "snr_db": reads("measurements.measured", "snr_db"),
        "bandwidth_hz": reads("measurements.measured", "bandwidth_hz"),
        "flags": reads("measurements.measured", "flags", number=False),
    }
    for place, key in enumerate(PLACES):
        for part in PARTS:
            columns[key if part == "values" else f"{key}_{part}"] = reads("measurements.measured", part, place)
    named = ", ".join(f"{how} AS {name}" for name, how in columns.items())
    connection.exec_driver_sql(f"CREATE VIEW {NAME} AS SELECT {named} FROM {FROM}")


def drop(connection: sa.Connection) -> None:
    """Take the view away: a table under it could not be changed."""
    connection.exec_driver_sql(f"DROP VIEW IF EXISTS {NAME}")


def _sqlite(column: str, *path: str | int, number: bool = True) -> str:
    del number  # SQLite gives each value its own type
    steps = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    return f"json_extract({column}, '${steps}')"


def _postgres(column: str, *path: str | int, number: bool = True) -> str:
    found = f"({column}::json #>> '{{{','.join(map(str, path))}}}')"
    return f"{found}::double precision" if number else found
