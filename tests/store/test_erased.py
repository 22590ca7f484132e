"""What a removed client leaves in the files of PostgreSQL, and that the receipt names it. Invented data.

Needs SIBILANT_TEST_POSTGRES (a server on loopback, which is emptied) whose data folder this user may read.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import sqlalchemy as sa

from sibilant.clinic import clients, removing
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.store import removal

URL = os.environ.get("SIBILANT_TEST_POSTGRES", "")
pytestmark = pytest.mark.xdist_group("postgres")
CODE, OTHER, SIGN = "C-7QXK", "C-M4RT", "ZQSIGN"


def in_files(folder: Path, sign: str) -> int:
    """How often a sign stands in the files below a folder."""
    return sum(path.read_bytes().count(sign.encode()) for path in folder.rglob("*") if path.is_file())


def test_a_removed_client_leaves_the_tables_and_the_log_is_named(tmp_path: Path) -> None:
    if not URL:
        pytest.skip("SIBILANT_TEST_POSTGRES names no database; .ci/run starts one on loopback")
    url = sa.make_url(URL).set(drivername="postgresql+psycopg")
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql("DROP SCHEMA public CASCADE")
        connection.exec_driver_sql("CREATE SCHEMA public")
        data = Path(connection.exec_driver_sql("SHOW data_directory").scalar())
    if not os.access(data, os.R_OK | os.X_OK):
        pytest.skip("the server's data folder can't be read by this user")
    folder = tmp_path / "case"
    folder.mkdir()
    kept = sa.make_url(URL)._replace(password=None).render_as_string(hide_password=False)
    (folder / "caseload.toml").write_text(f'url = "{kept}"\n', encoding="utf-8")
    for code in (CODE, OTHER):
        clients.add_client(
            CaseloadHandle(folder), "7y4m", code=code, fields={"invented": True, "reason": f"{SIGN} of {code}"}
        )
    clients.add_event(
        CaseloadHandle(folder), OTHER, "an invented event"
    )  # of an empty table PostgreSQL keeps its old statistics
    for n in range(30):
        clients.add_event(CaseloadHandle(folder), CODE, f"{SIGN}-gone {n}")
    with engine.connect() as connection:
        connection.exec_driver_sql("ANALYZE")
        connection.exec_driver_sql("CHECKPOINT")
    assert in_files(data / "base", f"{SIGN}-gone") > 0, "it is found where it stands"
    receipt = removing.remove_client(CaseloadHandle(folder), CODE, "all", erase=True)
    engine.dispose()
    assert in_files(data / "base", f"{SIGN}-gone") == 0 and in_files(data / "base", CODE) == 0
    assert in_files(data / "base", OTHER) > 0, "the other client stands"
    assert in_files(data / "pg_wal", f"{SIGN}-gone") > 0 and removal.POSTGRES_LOG in receipt.not_reached
