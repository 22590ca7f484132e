"""The student's notebook runs from first cell to last and says what it should. Invented data – not a person."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any

NOTEBOOK = Path(__file__).parent.parent / "docs" / "study_notebook.ipynb"


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
