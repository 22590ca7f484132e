"""For which machines all packages come ready built (long: writes docs/evidence/wheels.csv).

Only metadata are asked for: nothing is built, installed or run, so a machine named here was resolved, not tried.
"""

from __future__ import annotations

import csv
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
EVIDENCE = ROOT / "docs" / "evidence" / "wheels.csv"
EXTRAS = ("phone", "parquet", "cluster", "postgres", "page", "private")
MACHINES = {
    "Windows x86-64": ("win_amd64",),
    "macOS arm64": ("macosx_14_0_arm64",),
    "macOS x86-64": ("macosx_14_0_x86_64",),
    "Linux x86-64": (*(f"manylinux_2_{minor}_x86_64" for minor in range(28, 16, -1)), "manylinux2014_x86_64"),
}
PYTHONS = ("3.11", "3.12", "3.13")


def wanted() -> list[str]:
    """Requirements of the program with all its extras, tests apart."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return project["dependencies"] + [one for extra in EXTRAS for one in project["optional-dependencies"][extra]]


def resolve(requirements: list[str], tags: tuple[str, ...], python: str, folder: Path) -> str:
    """Return what pip has to say against ready-built packages for a machine, or nothing."""
    platforms = [part for tag in tags for part in ("--platform", tag)]
    command = [
        sys.executable, "-m", "pip", "install", "-q", "--disable-pip-version-check", "--dry-run", "--ignore-installed",
        "--only-binary=:all:", "--implementation", "cp", "--python-version", python, "--target", str(folder),
        *platforms, *requirements,
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return "" if done.returncode == 0 else done.stderr


def commit() -> str:
    """The commit that was looked at."""
    shown = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return shown.stdout.strip()


def test_every_extra_is_looked_at() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert set(EXTRAS) | {"test"} == set(project["optional-dependencies"])
    with EVIDENCE.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert {(row["machine"], row["python"]) for row in rows} == {(m, p) for m in MACHINES for p in PYTHONS}
    lacking = [row for row in rows if row["lacking"]]
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert all(row["machine"] in readme for row in lacking), "the README names the machines that lack a package"


@pytest.mark.long
def test_every_package_comes_ready_built(tmp_path: Path) -> None:
    if resolve(["numpy"], MACHINES["Linux x86-64"], "3.11", tmp_path):
        pytest.skip("no registry of packages can be asked from here")
    rows = []
    for machine, tags in MACHINES.items():
        for python in PYTHONS:
            lacking = []
            if resolve(wanted(), tags, python, tmp_path):
                lacking = [one for one in wanted() if resolve([one], tags, python, tmp_path)]
                assert lacking, f"{machine}, Python {python}: no single package lacks, but all together don't fit"
            rows.append({"machine": machine, "python": python, "packages_asked": len(wanted()),
                         "lacking": "; ".join(lacking), "commit": commit()})  # fmt: skip
    with EVIDENCE.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
