"""The house as a whole: small public surface, quick start-up, a wheel that holds everything, honest counts of lines."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import sibilant

ROOT = Path(__file__).parent.parent
HEAVY = ("numpy", "scipy", "matplotlib", "librosa", "parselmouth", "pandas", "sqlalchemy", "soundfile", "sklearn")


def loaded_by(code: str) -> set[str]:
    """Top-level modules loaded by a piece of code in a fresh interpreter."""
    script = f"{code}\nimport sys\nprint('\\n'.join(sorted({{m.split('.')[0] for m in sys.modules}})))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(done.stdout.splitlines())


def test_importing_loads_nothing_heavy() -> None:
    assert not loaded_by("import sibilant") & set(HEAVY)


def test_help_loads_nothing_heavy() -> None:
    code = "from sibilant_cli.main import run\nassert run(['--help']) == 0"
    assert not loaded_by(code) & set(HEAVY)


def test_public_names_resolve_and_are_listed() -> None:
    assert set(sibilant.__all__) <= set(dir(sibilant))
    for name in sibilant.__all__:
        assert getattr(sibilant, name) is not None
    with pytest.raises(AttributeError, match="no attribute"):
        sibilant.nothing


def test_no_public_name_is_the_name_of_a_room() -> None:
    """Importing a room sets its name on the package, over whatever the lazy look-up would return."""
    rooms = {path.stem for path in (ROOT / "sibilant").iterdir() if path.suffix == ".py" or path.is_dir()}
    assert not rooms & set(sibilant.__all__)


BEFORE = """
import sibilant as public
from pathlib import Path
CLIP = public.reference_sounds() / 'ktuberling-stick.ogg'
AT = Path('FOLDER')
Path(AT / 'sounds').mkdir()
(AT / 'sounds' / CLIP.name).write_bytes(CLIP.read_bytes())
rows = ['speaker,kind,prompt,phone,finding,voice,counts,method,centroid_hz,sd_hz']
rows += [
    f'P{speaker},{kind},w{word},S,found,client,yes,house-15k/2,{6000 + 900 * (kind == "b") + 40 * speaker * word},900'
    for speaker in range(6) for kind in 'ab' for word in range(4)
]
(AT / 'table.csv').write_text(chr(10).join(rows) + chr(10))
"""
"""An invented table of two groups; no person."""
USES = {
    "MEASURES": "assert public.MEASURES['centroid_hz'].unit == 'Hz'",
    "CaseloadHandle": "assert public.CaseloadHandle(AT / 'none').ranges() == ()",
    "Compared": "assert isinstance(compared, public.Compared)",
    "Corpus": "assert isinstance(corpus, public.Corpus)",
    "Followed": "assert isinstance(followed, public.Followed)",
    "Measured": "assert isinstance(found, public.Measured)",
    "Picture": "assert isinstance(found.plot(), public.Picture)",
    "SibilantError": "assert issubclass(public.SibilantError, Exception)",
    "Spectrogram": "assert isinstance(public.spectrogram(CLIP), public.Spectrogram)",
    "__version__": "assert public.__version__[0].isdigit()",
    "analyse": "clip = public.read_recording(CLIP); assert public.analyse(clip, [public.expect('stick')]).sounds",
    "compare_groups": "compared = public.compare_groups(AT / 'table.csv', 'kind'); assert len(compared.table)",
    "demo_case": "case = public.demo_case(AT / 'demo', 'C-A83L')",
    "expect": "assert [slot.phone for slot in public.expect('fossil').slots] == ['S']",
    "find_ranges": "assert len(public.find_ranges('centroid_hz', age='30y', group='f'))",
    "follow": "followed = public.follow(case); assert len(followed.table)",
    "get_method": "assert public.get_method('house-15k').band_hz[1] == 15000.0",
    "list_methods": "assert 'house-15k' in set(public.list_methods()['name'])",
    "measure": "found = public.measure(CLIP, say='stick'); assert found.table['finding'].item() == 'found'",
    "open_caseload": "assert public.open_caseload(AT / 'demo' / 'caseload').folder == case.folder",
    "read_recording": "assert public.read_recording(CLIP).duration_s > 0",
    "reference_sounds": "assert (public.reference_sounds() / 'registry.csv').exists()",
    "run_corpus": "corpus = public.run_corpus(AT / 'sounds', AT / 'measured', workers=1, resume=True)",
    "spectrogram": "assert public.spectrogram(CLIP).level_db.ndim == 2",
    "spectrum": "assert public.spectrum(CLIP, 0.1, 0.2).power_density.ndim == 1",
    "word_lists": "assert 'core-a' in set(public.word_lists()['list'])",
}
FIRST = ("measure", "compare_groups", "run_corpus", "demo_case", "follow")
"""What others use the result of."""


def test_every_public_name_can_be_used_twice(tmp_path: Path) -> None:
    """In one fresh interpreter, each used again after all others were: what a program that keeps running does."""
    assert set(USES) == set(sibilant.__all__)
    once = [*(USES[name] for name in FIRST), *(use for name, use in USES.items() if name not in FIRST)]
    script = "\n".join([BEFORE.replace("FOLDER", str(tmp_path)), *once, *once, "print('all')"])
    done = subprocess.run([sys.executable, "-W", "error", "-c", script], capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "all", done.stderr[-2000:]


def test_the_names_a_checker_sees_are_those_that_are_there() -> None:
    """A lazy name is written twice, for the checker and for the look-up; both tell the same room."""
    tree = ast.parse((ROOT / "sibilant" / "__init__.py").read_text(encoding="utf-8"))
    seen = {alias.name: node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.level
            for alias in node.names}  # fmt: skip
    assert seen == sibilant._ROOM
    assert set(sibilant.__all__) == set(seen) | {"__version__", "reference_sounds"}


def tracked(*patterns: str) -> list[str]:
    """Files in the checkout that match, as git sees them."""
    listed = subprocess.run(["git", "ls-files", *patterns], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    return listed.stdout.splitlines()


def pip(*arguments: str) -> None:
    """Run pip, without what the project needs."""
    done = subprocess.run([sys.executable, "-m", "pip", *arguments], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What is installed from, apart from the checkout, in which an earlier build may have left files."""
    folder = tmp_path_factory.mktemp("source")
    for name in ("sibilant", "cli", "reference_audio", "docs"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__", "evidence"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, folder / name)
    return folder


@pytest.fixture(scope="module")
def wheel(source: Path) -> Path:
    """The wheel of this checkout."""
    pip("wheel", "-q", "--no-deps", "-w", str(source / "made"), str(source))
    return next((source / "made").glob("*.whl"))


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The interpreter of a fresh environment that holds the wheel; what that needs is lent by the one of the tests."""
    import numpy as np

    folder = tmp_path_factory.mktemp("fresh") / "environment"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(folder)], check=True)
    python = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    pip("--python", str(python), "install", "-q", "--no-deps", str(wheel))
    command = [str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"]
    site = Path(subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip())
    (site / "lent.pth").write_text(f"{Path(np.__file__).parents[1]}\n")
    return python


def test_the_wheel_answers_where_no_checkout_is(installed: Path, tmp_path: Path) -> None:
    def told(*command: str) -> str:
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr[-1000:]
        return done.stdout

    asked = (
        "import sibilant, sibilant_cli; print(sibilant.__file__, sibilant_cli.__file__, sibilant.reference_sounds())"
    )
    places = told(str(installed), "-c", asked).split()
    assert all(Path(place).is_relative_to(installed.parents[1]) for place in places), places
    program = str(installed.with_name("sibilant"))
    assert "--to" in told(program, "demo", "--help")
    clip = Path(places[2]) / "ktuberling-stick.ogg"
    told(program, "measure", str(clip), "--say", "stick", "--to", "table.csv")
    assert (tmp_path / "table.csv").read_text(encoding="utf-8").count("\n") == 2


def test_a_call_or_a_name_that_is_none_fails_the_checker(installed: Path, tmp_path: Path) -> None:
    """As a program outside sees it: the wheel in a site of its own, the strict checker, none of our settings."""
    right = {
        "import sibilant as sib": "",
        "found = sib.measure('probe.wav', say='seal', method=['house-15k', 'house-7k'])": "",
        "reveal_type(found)": "sibilant.notebook.measured.Measured",
        "reveal_type(found.suitability.verdict.worst)": "'with care'",
        "reveal_type(sib.spectrum('probe.wav', 0.1, 0.2).frequency_hz)": "numpy.ndarray",
        "sib.follow(sib.open_caseload()).plot('centroid_hz').save('months.svg')": "",
        "reveal_type(sib.get_method('house-15k').band_hz)": "tuple[float, float]",
    }
    wrong = {
        "sib.measure('probe.wav', wrod='seal')": "call-arg",
        "sib.measure(44100)": "arg-type",
        "sib.spectrum('probe.wav', 'first', 0.2)": "arg-type",
        "sib.find_ranges('centroid_hz', years=30)": "call-arg",
        "sib.compare_groups('table.csv', 'kind', primary='best')": "arg-type",
        "sib.open_caseload().sounds": "attr-defined",
        "sib.nonsense()": "attr-defined",
    }
    (tmp_path / "right.py").write_text("\n".join(right) + "\n")
    (tmp_path / "wrong.py").write_text("\n".join(["import sibilant as sib", *wrong]) + "\n")
    options = ["--strict", "--config-file", "", "--python-executable", str(installed)]
    options += ["--cache-dir", str(ROOT / ".mypy_cache" / "installed")]
    command = [sys.executable, "-m", "mypy", *options, "right.py", "wrong.py"]
    told = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False).stdout
    faults = dict(re.findall(r"^wrong\.py:(\d+): error: .*\[([a-z-]+)\]$", told, re.M))
    assert faults == {str(line): code for line, code in enumerate(wrong.values(), start=2)}, told
    assert "right.py" not in "".join(line for line in told.splitlines() if ": error:" in line), told
    for line, kind in enumerate(right.values(), start=1):
        shown = re.search(rf"^right\.py:{line}: note: Revealed type is (.*)$", told, re.M)
        assert not kind or (shown and kind in shown[1]), told


def test_wheel_holds_every_module_and_data_file(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as opened:
        inside = set(opened.namelist())
    for name in tracked("sibilant", "cli", "reference_audio"):
        head, _, rest = name.partition("/")
        place = {"cli": "sibilant_cli", "reference_audio": "sibilant/reference_audio"}.get(head, head)
        assert f"{place}/{rest}" in inside, f"{name} is missing from the wheel: list its package in pyproject.toml"


IMPORTED = """
import site, sys
from pathlib import Path
site.addsitedir(sys.argv[1])
import sibilant
import sibilant.reference_audio
folder = sibilant.reference_sounds()
assert Path(sibilant.reference_audio.__file__).parent.samefile(folder)
print(*sorted(path.name for path in folder.iterdir() if path.name != "__pycache__"))
"""


def test_the_reference_sounds_are_alike_from_a_wheel_and_an_editable_install(
    source: Path, wheel: Path, tmp_path: Path
) -> None:
    with zipfile.ZipFile(wheel) as opened:
        opened.extractall(tmp_path / "wheel")
    pip("install", "-q", "--no-deps", "--target", str(tmp_path / "editable"), "-e", str(source))
    told = []
    for kind in ("wheel", "editable"):
        command = [sys.executable, "-S", "-c", IMPORTED, str(tmp_path / kind)]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr[-1000:]
        told.append(done.stdout.split())
    assert told[0] == told[1] and "registry.csv" in told[0] and "make.py" not in told[0]


def modules() -> list[Path]:
    """Python files of library and command line."""
    return [p for top in ("sibilant", "cli") for p in sorted((ROOT / top).rglob("*.py"))]


ONE_TABLE = {"schema.py", "measures.py"}
"""The tables of the caseload, and the glossary of measures: declarations one beneath another."""


def test_modules_and_functions_stay_small() -> None:
    """At most 400 lines a module, a single table apart, and 40 a function body (own choice; DEVELOPERS.md)."""
    for path in modules():
        text = path.read_text(encoding="utf-8")
        assert text.count("\n") <= (600 if path.name in ONE_TABLE else 400), path
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                body = [b for b in node.body if not (isinstance(b, ast.Expr) and isinstance(b.value, ast.Constant))]
                lines = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
                assert lines <= 40, f"{path}:{node.lineno} {node.name} has {lines} lines"


def test_no_module_is_named_for_having_no_room() -> None:
    homeless = {"utils", "util", "helpers", "helper", "core", "common", "manager", "misc"}
    assert not [path for path in modules() if path.stem in homeless or path.parent.name in homeless]


def test_nothing_swallows_every_exception() -> None:
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ExceptHandler):
                broad = node.type is None or (isinstance(node.type, ast.Name) and node.type.id == "BaseException")
                silent = all(isinstance(item, ast.Pass) for item in node.body)
                named = isinstance(node.type, ast.Name) and node.type.id == "Exception"
                assert not broad and not (named and silent), f"{path}:{node.lineno}"


ONLY_TOLD = {
    "rooms", "files", "lines", "functions", "tests of something for None", "files over 350 lines",
    "named numbers without a word of what they are",
}  # fmt: skip
"""What may grow with the house; the test above bounds each file."""


def test_the_house_is_no_harder_to_read_than_the_guide_says() -> None:
    """Figures of DEVELOPERS.md that must not grow, counted anew."""
    import importlib.util
    import re

    spec = importlib.util.spec_from_file_location("house_counts", ROOT / "docs" / "house_counts.py")
    assert spec is not None and spec.loader is not None
    counting = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(counting)
    found = counting.counts(ROOT)
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## The house in figures")[1]
    rows = {name: int(now) for name, now in re.findall(r"^\| (.+?) \| \d+ \| (\d+) \|$", told, re.M)}
    assert set(rows) == set(found)
    for name in set(rows) - ONLY_TOLD:
        assert found[name] <= rows[name], f"{name}: {found[name]}, told {rows[name]}"
    held = ("files in circles", "a caseload as a path or nothing in signatures", "`type: ignore`")
    assert all(rows[name] == 0 for name in (*held, "functions over 40 lines", "functions with over seven parameters"))
