"""The student's notebook runs from first cell to last and says what it should. Invented data – not a person."""

from __future__ import annotations

import ast
import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from sibilant_cli.main import run

from sibilant.demo.corpus import make_corpus

DOCS = Path(__file__).parent.parent / "docs"
NOTEBOOK = DOCS / "study_notebook.ipynb"


def shown(source: str, names: dict[str, Any]) -> Any:
    """Run a cell and return the value of its last line, as a notebook shows it."""
    body = ast.parse(source).body
    last = body.pop() if isinstance(body[-1], ast.Expr) else None
    exec(compile(ast.Module(body, []), str(NOTEBOOK), "exec"), names)
    return None if last is None else eval(compile(ast.Expression(last.value), str(NOTEBOOK), "eval"), names)


def test_every_cell_of_the_notebook_runs_in_order() -> None:
    book = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    assert book["nbformat"] == 4 and not any(cell.get("outputs") for cell in book["cells"]), "kept without results"
    text = "".join("".join(cell["source"]) for cell in book["cells"])
    assert "Invented data – not a person" in text
    names: dict[str, Any] = {}
    results = [shown("".join(cell["source"]), names) for cell in book["cells"] if cell["cell_type"] == "code"]
    counts = results[3]
    assert counts["found"] >= 20 and counts["unreadable"] >= 1, "bad files are rows too"
    assert set(names["compared"].table["measure"]) == {"centroid_hz", "duration_ms"}
    assert not Path(names["folder"].name).exists()


def test_the_commands_of_the_students_page_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a smaller corpus than the page's first command makes; the others as they stand there."""
    page = (DOCS / "study_step_by_step.md").read_text(encoding="utf-8")
    commands = [shlex.split(command) for command in re.findall(r"^sibilant (.+)$", page, re.M)]
    assert [command[0] for command in commands] == ["demo", "corpus", "study"]
    assert commands[0] == ["demo", "--corpus", "--to", "invented"]
    monkeypatch.chdir(tmp_path)
    make_corpus(tmp_path / "invented", n_speakers=6, n_words=4)
    for command in commands[1:]:
        assert run(command) == 0, command
    for name in re.findall(r"`(study/[a-z.]+)`", page):
        assert (tmp_path / name).exists(), name
    assert "found_at_80" in (tmp_path / "study" / "analyses.csv").read_text(encoding="utf-8").split("\n")[0]
