"""The caseload's format: made, brought up, taken down; the revision's number is the format number."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from ..errors import CaseloadError
from . import by_hand
from .schema import FORMAT

if TYPE_CHECKING:
    from alembic.config import Config


def format_of(connection: sa.Connection) -> int:
    """Return the format number of a database, 0 when it is empty.

    Raises
    ------
    CaseloadError
        When it is damaged.
    """
    if not sa.inspect(connection).has_table("alembic_version"):
        return 0
    found = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    if found is not None and not str(found).isdecimal():
        raise CaseloadError("the caseload's format number is damaged; put a backup in its place")
    return int(found) if found is not None else 0


def bring_up(connection: sa.Connection, *, to: int = FORMAT) -> None:
    """Bring a database up to a format, step by step.

    Raises
    ------
    CaseloadError
        When the database is newer than this program.
    """
    now = format_of(connection)
    if now > FORMAT:
        raise CaseloadError(
            f"the caseload has format {now}, this program knows up to {FORMAT}; install a newer sibilant"
        )
    if now < to:
        from alembic import command

        by_hand.drop(connection)
        command.upgrade(_config(connection), f"{to:04d}")
        if to == FORMAT:
            by_hand.make(connection)


def take_down(connection: sa.Connection, *, to: int) -> None:
    """Take a database down to an earlier format (0: empty); what that format can't hold is dropped."""
    from alembic import command

    by_hand.drop(connection)
    command.downgrade(_config(connection), f"{to:04d}" if to else "base")


def drift(connection: sa.Connection) -> list[Any]:
    """Return how a database differs from the tables declared; empty when it does not."""
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    from .schema import METADATA

    return list(compare_metadata(MigrationContext.configure(connection), METADATA))


def _config(connection: sa.Connection) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    return config
