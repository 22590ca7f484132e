"""Count what makes the house easy or hard to find one's way in: python docs/house_counts.py FOLDER...

Each folder is a checkout; the table has one column for each, as it stands in DEVELOPERS.md. Nothing is imported: the
files are read as text, so an old checkout is counted the same way as a new one.
"""

from __future__ import annotations

import ast
import re
import runpy
import sys
from collections.abc import Iterator
from pathlib import Path

Function = ast.FunctionDef | ast.AsyncFunctionDef


def files(top: Path) -> list[Path]:
    """Python files of the library and the command line."""
    return [path for part in ("sibilant", "cli") for path in sorted((top / part).rglob("*.py"))]


def functions(tree: ast.AST) -> Iterator[Function]:
    """Functions and methods, those inside others too."""
    return (node for node in ast.walk(tree) if isinstance(node, Function))


def body_lines(function: Function) -> int:
    """Lines from the first statement after the docstring to the last."""
    body = [one for one in function.body if not (isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant))]
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def parameters(function: Function) -> int:
    """Parameters but ``self`` and ``cls``."""
    given = function.args
    return len([one for one in (*given.posonlyargs, *given.args, *given.kwonlyargs) if one.arg not in ("self", "cls")])


def loose(function: Function) -> bool:
    """Whether the signature of a function that other files may call holds ``dict[str, Any]``."""
    notes = [one.annotation for one in (*function.args.args, *function.args.kwonlyargs)] + [function.returns]
    return not function.name.startswith("_") and any(note and "dict[str, Any]" in ast.unparse(note) for note in notes)


def numbers_unexplained(tree: ast.Module, lines: list[str]) -> int:
    """Named numbers at the top of a file without a word beside or beneath of what they are."""
    found = 0
    for place, node in enumerate(tree.body):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None or isinstance(node.value, ast.Call):
            continue
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        named = [one.id for one in ast.walk(target) if isinstance(one, ast.Name)]
        values = [one.value for one in ast.walk(node.value) if isinstance(one, ast.Constant)]
        if not (named and named[0].isupper() and any(type(value) in (int, float) for value in values)):
            continue
        after = tree.body[place + 1] if place + 1 < len(tree.body) else None
        beneath = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
        around = (lines[node.lineno - 2], lines[node.lineno - 1], lines[(node.end_lineno or node.lineno) - 1])
        found += not (beneath or any("# " in line for line in around))
    return found


def rooms(top: Path) -> set[str]:
    """Folders and files directly in the library."""
    found = {path.stem if path.suffix == ".py" else path.name for path in (top / "sibilant").iterdir()}
    return {name for name in found if not name.startswith(("_", "py.")) and name != "py"}


def imported(path: Path, top: Path) -> set[Path]:
    """Files of the same room that a file imports, at once or later."""
    package = path.parent.relative_to(top).parts
    found: set[Path] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.ImportFrom) or not node.level:
            continue
        parts = [*package[: len(package) - node.level + 1], *((node.module or "").split(".") if node.module else [])]
        for name in [parts, *([*parts, alias.name] for alias in node.names)]:
            target = top.joinpath(*name).with_suffix(".py")
            if target.exists() and target.parent == path.parent:
                found.add(target)
    return found - {path}


def in_circles(top: Path) -> int:
    """Files that reach themselves over imports inside their room, by the finder of the layers test."""
    circles = runpy.run_path(str(Path(__file__).parent.parent / "tests" / "test_layers.py"))["circles"]
    return sum(map(len, circles({str(path): {str(one) for one in imported(path, top)} for path in files(top)})))


def counts(top: Path) -> dict[str, int]:
    """What DEVELOPERS.md tells of a checkout."""
    texts = [path.read_text(encoding="utf-8") for path in files(top)]
    everything = [function for text in texts for function in functions(ast.parse(text))]
    whole = "\n".join(texts)
    return {
        "rooms": len(rooms(top)),
        "files": len(texts),
        "lines": whole.count("\n"),
        "functions": len(everything),
        "files over 350 lines": sum(text.count("\n") > 350 for text in texts),
        "functions over 40 lines": sum(body_lines(one) > 40 for one in everything),
        "functions with over seven parameters": sum(parameters(one) > 7 for one in everything),
        "`dict[str, Any]` in signatures that other files may call": sum(map(loose, everything)),
        "`type: ignore`": whole.count("type: ignore"),
        "tests of something for None": len(re.findall(r"\bis (?:not )?None\b", whole)),
        "named numbers without a word of what they are": sum(
            numbers_unexplained(ast.parse(text), text.split("\n")) for text in texts
        ),
        "a caseload as a path or nothing in signatures": len(re.findall(r"caseload: (?:Path|str) \| None", whole)),
        "files in circles": in_circles(top),
    }


def table(tops: dict[str, Path]) -> str:
    """Return the table, a column for each checkout."""
    columns = {name: counts(top) for name, top in tops.items()}
    lines = ["| | " + " | ".join(columns) + " |", "|---|" + "---:|" * len(columns)]
    for key in next(iter(columns.values())):
        lines.append(f"| {key} | " + " | ".join(str(column[key]) for column in columns.values()) + " |")
    return "\n".join(lines)


if __name__ == "__main__":
    given = [Path(one) for one in sys.argv[1:]] or [Path(__file__).parent.parent]
    print(table({one.resolve().name: one for one in given}))
