"""Floors of the house: who may import whom, and which third-party packages each room may name (plain ``ast``)."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
BASE = {"errors", "terms"}
LOW = BASE | {"files", "methods"}
MIDDLE = LOW | {"audio", "lexicon", "ranges", "synthetic", "tables"}
LISTEN = MIDDLE | {"prompts", "segment", "acoustics", "suitability", "pipeline"}
BELOW_DOORS = LISTEN | {"progress", "study", "store", "charts", "report"}

MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "terms": {"errors"},
    "files": BASE,
    "methods": BASE,
    "audio": BASE | {"files"},
    "lexicon": BASE,
    "ranges": BASE | {"methods"},
    "synthetic": BASE,
    "tables": BASE | {"files"},
    "prompts": BASE | {"files", "lexicon", "tables"},
    "segment": BASE,
    "acoustics": BASE | {"methods"},
    "suitability": BASE | {"acoustics"},
    "pipeline": BASE | {"lexicon", "methods", "segment", "acoustics", "suitability"},
    "progress": BASE | {"methods", "ranges"},
    "study": BASE | {"ranges"},
    "store": BASE | {"files", "methods"},
    "charts": BASE | {"ranges", "progress", "study"},
    "report": BASE | {"ranges", "progress", "charts"},
    "workflow": BELOW_DOORS,
    "corpus": BASE | {"files", "audio", "methods", "prompts", "tables", "pipeline"},
    "web": BASE | {"workflow"},
}
OWNERS: dict[str, set[str]] = {
    "soundfile": {"audio"},
    "av": {"audio"},
    "soxr": {"audio"},
    "pandas": {"tables", "progress", "study"},
    "pyarrow": {"tables"},
    "parselmouth": {"segment", "acoustics"},
    "librosa": {"acoustics"},
    "statsmodels": {"progress", "study"},
    "sklearn": {"study"},
    "sqlalchemy": {"store"},
    "alembic": {"store"},
    "cryptography": {"store"},
    "sqlcipher3": {"store"},
    "matplotlib": {"charts"},
    "jinja2": {"report", "web"},
    "typst": {"report"},
    "docx": {"report"},
    "dask": {"corpus"},
    "distributed": {"corpus"},
    "starlette": {"web"},
    "uvicorn": {"web"},
    "click": {"cli"},
    "rich": {"cli"},
}
MOST_ROOMS_IN_ONE_FILE = 6


def rooms() -> list[str]:
    """Names of the rooms that exist."""
    found = {p.stem if p.suffix == ".py" else p.name for p in (ROOT / "sibilant").iterdir()}
    return sorted(found - {"__init__", "__pycache__", "__main__", "py", "py.typed"})


def files_of(room: str) -> list[Path]:
    """Python files of a room."""
    single = ROOT / "sibilant" / f"{room}.py"
    return [single] if single.exists() else sorted((ROOT / "sibilant" / room).rglob("*.py"))


def imports(path: Path) -> Iterator[str]:
    """Dotted names imported by a file, relative ones made absolute."""
    package = path.relative_to(ROOT).with_suffix("").parts[:-1]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            if not node.level:
                module = node.module or ""
            else:
                module = ".".join([*package[: len(package) - node.level + 1], *([node.module] if node.module else [])])
            if module == "sibilant":
                yield from (f"sibilant.{alias.name}" for alias in node.names)
            else:
                yield module


def rooms_named(path: Path) -> set[str]:
    """Rooms of the house that a file imports."""
    return {name.split(".")[1] for name in imports(path) if name.startswith("sibilant.")}


@pytest.mark.parametrize("room", rooms())
def test_room_is_on_the_plan(room: str) -> None:
    assert room in MAY_IMPORT, f"sibilant/{room} is not a room of the house: a word is missing, or the plan is"


@pytest.mark.parametrize("room", rooms())
def test_imports_go_down_only(room: str) -> None:
    for path in files_of(room):
        named = rooms_named(path) - {room, "__version__"}
        assert named <= MAY_IMPORT[room], f"{path.relative_to(ROOT)} imports {sorted(named - MAY_IMPORT[room])}"
        assert len(named - BASE) <= MOST_ROOMS_IN_ONE_FILE, f"{path.relative_to(ROOT)} imports too many rooms"


def test_third_party_packages_stay_in_their_rooms() -> None:
    for path in sorted((ROOT / "sibilant").rglob("*.py")):
        inside = path.relative_to(ROOT / "sibilant").parts
        room = path.stem if len(inside) == 1 else inside[0]
        for name in imports(path):
            owners = OWNERS.get(name.split(".")[0])
            assert owners is None or room in owners, f"{path.relative_to(ROOT)} names {name}, which belongs to {owners}"


def test_library_never_imports_the_command_line() -> None:
    for path in sorted((ROOT / "sibilant").rglob("*.py")):
        assert not any(name.split(".")[0] in {"cli", "sibilant_cli"} for name in imports(path)), path


def test_command_line_reaches_only_the_doors() -> None:
    allowed = {"workflow", "corpus", "web", "errors", "terms"}
    for path in sorted((ROOT / "cli").rglob("*.py")):
        assert rooms_named(path) - {"__version__"} <= allowed, path


def test_the_check_can_fail(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each check, called on a house with one upward import, one foreign package and one reach into the command line."""
    room = tmp_path / "sibilant" / "acoustics"
    room.mkdir(parents=True)
    (tmp_path / "cli").mkdir()
    (room / "climbing.py").write_text("from ..store import open_caseload\nimport sqlalchemy\n", encoding="utf-8")
    (room / "calling.py").write_text("import sibilant_cli\n", encoding="utf-8")
    (tmp_path / "cli" / "deep.py").write_text("from sibilant.acoustics import measure\n", encoding="utf-8")
    monkeypatch.setitem(globals(), "ROOT", tmp_path)
    checks = (
        lambda: test_imports_go_down_only("acoustics"),
        test_third_party_packages_stay_in_their_rooms,
        test_library_never_imports_the_command_line,
        test_command_line_reaches_only_the_doors,
    )
    for check in checks:
        with pytest.raises(AssertionError):
            check()


def test_top_level_shows_nothing_else() -> None:
    import subprocess

    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    visible = {line.split("/")[0] for line in listed.stdout.splitlines() if not line.startswith(".")}
    assert visible <= {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "sibilant", "cli", "tests", "reference_audio", "docs",
    }  # fmt: skip
