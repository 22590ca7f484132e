"""What is written into a report's fields: kept as a draft where that is said, with the client alone. Invented data."""

from __future__ import annotations

from urllib.parse import urlencode

import sqlalchemy as sa

from sibilant import store
from sibilant.clinic import removing, report, written
from sibilant.clinic.caseload import CaseloadHandle

CLIENT = "C-7QXK"


def posted(served, **given: str) -> tuple[int, dict[str, str], bytes]:
    """The form of the reports' place, sent as the browser does."""
    served.asked("GET", f"/reports?client={CLIENT}&kind=monthly")
    fields = {"client": served.handle, "kind": "monthly", "form": "html", **given}
    return served.asked("POST", "/reports", urlencode(fields).encode())


def settings_naming(folder, text: str) -> list[str]:
    with store.open_caseload(folder) as one, one.read() as connection:
        rows = connection.execute(sa.text("select key, value from settings")).all()
    return [row.key for row in rows if text in row.key or text in row.value]


def test_a_draft_is_kept_where_asked_and_goes_with_the_client(served) -> None:
    caseload = CaseloadHandle(served.folder)
    made = posted(served, **{"field:Next month": "six words at home"})
    assert b"six words at home" in made[2] and written.draft_of(caseload, CLIENT, "monthly") == {}
    status, headers, _ = posted(served, keep="yes", **{"field:Next month": "six words at home"})
    assert status == 303 and "done=kept" in headers["location"]
    place = served.asked("GET", f"/reports?client={CLIENT}&kind=monthly")[2]
    assert b">six words at home</textarea>" in place and b"Throw the draft away" in place
    assert b"six words at home" not in served.asked("GET", f"/reports?client={CLIENT}&kind=school")[2]
    status, _, asked = posted(served, keep="yes", **{"field:Next month": "Anna comes on Monday"})
    assert status == 200 and b"Is this a name?" in asked
    assert written.draft_of(caseload, CLIENT, "monthly") == {"Next month": "six words at home"}
    posted(served, keep="away")
    assert written.draft_of(caseload, CLIENT, "monthly") == {}
    posted(served, keep="yes", **{"field:Next month": "six words at home"})
    removing.remove_client(caseload, CLIENT, "all", erase=True)
    assert settings_naming(served.folder, CLIENT) == []


def test_a_report_carries_the_clinics_own_name_for_the_file(served) -> None:
    made = report.report_bytes(
        CaseloadHandle(served.folder), CLIENT, "family", "html", ticked=report.Ticked(filed_as="2026-014")
    )
    assert f"{CLIENT}" in made.decode() and "file 2026-014" in made.decode()
    assert b"Is this a name?" in posted(served, filed_as="Anna Berg")[2]
