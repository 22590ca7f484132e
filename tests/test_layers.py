"""Floors of the house: who may import whom, and which third-party packages each room may name (plain ``ast``)."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
BASE = {"errors", "terms"}

FLOORS: tuple[frozenset[str], ...] = tuple(
    frozenset(rooms.split())
    for rooms in (
        "errors",
        "terms",
        "files methods",
        "audio lexicon ranges synthetic tables levels",
        "prompts words boundaries acoustics",
        "suitability",
        "pipeline",
        "progress study",
        "store charts",
        "listening report",
        "clinic research corpus",
        "demo web",
        "notebook",
    )
)
FLOOR = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}


def below(floor: int) -> set[str]:
    """Every room under a floor."""
    return {room for room, own in FLOOR.items() if own < floor}


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
    "levels": BASE,
    "prompts": BASE | {"files", "lexicon", "tables"},
    "words": BASE | {"levels"},
    "boundaries": BASE | {"levels"},
    "acoustics": BASE | {"levels", "methods"},
    "suitability": BASE | {"levels", "acoustics"},
    "pipeline": BASE | {"levels", "lexicon", "methods", "words", "boundaries", "acoustics", "suitability"},
    "progress": BASE | {"methods", "ranges"},
    "study": BASE | {"ranges"},
    "store": BASE | {"files"},
    "charts": BASE | {"ranges", "progress", "study"},
    "listening": BASE
    | {"files", "audio", "lexicon", "methods", "prompts", "suitability", "pipeline", "tables", "charts"},
    "report": BASE | {"ranges", "progress", "charts"},
    "clinic": below(FLOOR["clinic"]),
    "research": below(FLOOR["research"]),
    "corpus": BASE | {"files", "audio", "prompts", "methods", "tables", "pipeline"},
    "demo": below(FLOOR["demo"]),
    "web": BASE | {"clinic", "listening"},
    "notebook": below(FLOOR["notebook"]) - {"web", "store", "report"},
}
OWNERS: dict[str, set[str]] = {
    "soundfile": {"audio"},
    "av": {"audio"},
    "pandas": {"tables", "progress", "study", "notebook"},
    "pyarrow": {"tables"},
    "parselmouth": {"words", "boundaries", "acoustics"},
    "librosa": {"acoustics"},
    "statsmodels": {"progress", "study"},
    "sklearn": {"study"},
    "sqlalchemy": {"store"},
    "alembic": {"store"},
    "cryptography": {"store"},
    "sqlcipher3": {"store"},
    "zxcvbn": {"store"},
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
DOORS = {"listening", "clinic", "research", "corpus", "demo", "web"}
MOST_ROOMS_IN_ONE_FILE = 7


def rooms() -> list[str]:
    """Names of the rooms that exist."""
    found = {p.stem if p.suffix == ".py" else p.name for p in (ROOT / "sibilant").iterdir()}
    return sorted(found - {"__init__", "__pycache__", "__main__", "py", "py.typed"})


def files_of(room: str) -> list[Path]:
    """Python files of a room."""
    single = ROOT / "sibilant" / f"{room}.py"
    return [single] if single.exists() else sorted((ROOT / "sibilant" / room).rglob("*.py"))


def module_of(path: Path) -> str:
    """Dotted name of a file; a package's own file has the package's name."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(path: Path, text: str | None = None) -> Iterator[str]:
    """Dotted names imported by a file, relative ones made absolute; a module taken from its package in full."""
    package = path.relative_to(ROOT).with_suffix("").parts[:-1]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8") if text is None else text)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            if not node.level:
                module = node.module or ""
            else:
                module = ".".join([*package[: len(package) - node.level + 1], *([node.module] if node.module else [])])
            for alias in node.names:
                inner = f"{module}.{alias.name}"
                yield inner if module == "sibilant" or (ROOT / (inner.replace(".", "/") + ".py")).exists() else module


def rooms_named(path: Path) -> set[str]:
    """Rooms of the house that a file imports."""
    return {name.split(".")[1] for name in imports(path) if name.startswith("sibilant.")}


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Groups of files that import each other, by whatever way round."""

    def reached(start: str) -> set[str]:
        seen: set[str] = set()
        ahead = list(graph[start])
        while ahead:
            here = ahead.pop()
            if here not in seen:
                seen.add(here)
                ahead.extend(graph.get(here, ()))
        return seen

    reach = {name: reached(name) for name in graph}
    groups = {frozenset(b for b in graph if b in reach[a] and a in reach[b]) for a in graph if a in reach[a]}
    return sorted(sorted(group) for group in groups)


def graph_of(room: str) -> dict[str, set[str]]:
    """Files of a room and which others of it each imports, at once or later, for typing or not."""
    paths = {module_of(path): path for path in files_of(room)}
    return {name: {one for one in imports(path) if one in paths} - {name} for name, path in paths.items()}


@pytest.mark.parametrize("room", rooms())
def test_room_is_on_the_plan(room: str) -> None:
    assert room in MAY_IMPORT, f"sibilant/{room} is not a room of the house: a word is missing, or the plan is"


def test_the_plan_goes_down_only_and_names_no_room_that_is_not() -> None:
    assert set(MAY_IMPORT) == set(FLOOR) == set(rooms())
    for room, allowed in MAY_IMPORT.items():
        assert all(FLOOR[other] < FLOOR[room] for other in allowed), room


@pytest.mark.parametrize("room", rooms())
def test_imports_go_down_only(room: str) -> None:
    for path in files_of(room):
        named = rooms_named(path) - {room, "__version__"}
        assert named <= MAY_IMPORT[room], f"{path.relative_to(ROOT)} imports {sorted(named - MAY_IMPORT[room])}"
        assert len(named - BASE) <= MOST_ROOMS_IN_ONE_FILE, f"{path.relative_to(ROOT)} imports too many rooms"


@pytest.mark.parametrize("room", rooms())
def test_no_files_of_a_room_import_each_other_in_a_circle(room: str) -> None:
    assert circles(graph_of(room)) == []


def test_a_circle_would_be_seen() -> None:
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == [["a", "b", "c"]]
    assert circles({"a": {"b"}, "b": {"c"}, "c": set()}) == []


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
    for path in sorted((ROOT / "cli").rglob("*.py")):
        assert rooms_named(path) - {"__version__"} <= DOORS | BASE, path


def test_no_room_is_named_like_a_public_name() -> None:
    import sibilant

    assert not set(rooms()) & set(sibilant.__all__)


def test_an_upward_import_would_be_seen() -> None:
    path = ROOT / "sibilant" / "acoustics" / "moments.py"
    for text in (
        "from ..store import open_caseload",
        "from sibilant import store",
        "def f():\n    from .. import store",
    ):
        named = {name.split(".")[1] for name in imports(path, text)}
        assert named - MAY_IMPORT["acoustics"] == {"store"}


def test_top_level_shows_nothing_else() -> None:
    import subprocess

    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    visible = {line.split("/")[0] for line in listed.stdout.splitlines() if not line.startswith(".")}
    assert visible <= {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "sibilant", "cli", "tests", "reference_audio", "docs",
    }  # fmt: skip
