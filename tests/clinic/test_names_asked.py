"""What looks like a name is asked about before it is kept, by the check that an export makes. Invented data."""

from __future__ import annotations

from pathlib import Path

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import clients
from sibilant.clinic.caseload import CaseloadHandle

ASKING = (
    ["event", "C-7QXK", "Quistgaard came along"],
    ["goal", "add", "C-7QXK", "says Quistgaard clearly", "--level", "word"],
    ["device", "add", "Quistgaard"],
    ["client", "change", "C-7QXK", "--reason", "sent by Quistgaard"],
    ["client", "hold", "C-7QXK", "--because", "Quistgaard asked"],
    ["judge", "C-7QXK", "--rater", "Quistgaard"],
    ["probe", "C-7QXK", "none.wav", "--words", "core-a", "--note", "Quistgaard was tired"],
    ["probe", "C-7QXK", "none.wav", "--words", "Quistgaard_words.csv"],
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    clients.add_client(CaseloadHandle(tmp_path / "case"), "7y4m", code="C-7QXK", fields={"invented": True})
    return tmp_path / "case"


@pytest.mark.parametrize("words", ASKING, ids=lambda words: " ".join(words[:3]))
def test_a_name_is_asked_about_and_nothing_is_kept(
    words: list[str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([*words, "--caseload", str(folder)]) == 3
    said = capsys.readouterr().err
    assert "'Quistgaard' looks like a name" in said and "--no-name" in said and said.count("\n") == 1
    with CaseloadHandle(folder).opened() as one:
        assert "Quistgaard" not in str(store.read_case(one, "C-7QXK"))


def test_what_is_none_is_kept_when_said(folder: Path) -> None:
    assert run(["event", "C-7QXK", "Quistgaard method begun", "--no-name", "--caseload", str(folder)]) == 0
    assert run(["event", "C-7QXK", "upper incisors lost, ENT seen", "--caseload", str(folder)]) == 0
    assert len(clients.list_events(CaseloadHandle(folder), "C-7QXK")) == 2
