"""What tests of several rooms share: invented material, cheap keys, the accessibility checker."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from functools import partial
from pathlib import Path
from types import ModuleType

import pytest

MATERIAL = Path(__file__).parent / "progress" / "material.py"
CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture(scope="session")
def material() -> ModuleType:
    """The module of invented material."""
    if "progress_material" not in sys.modules:
        spec = importlib.util.spec_from_file_location("progress_material", MATERIAL)
        assert spec is not None and spec.loader is not None
        sys.modules["progress_material"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["progress_material"])
    return sys.modules["progress_material"]


@pytest.fixture
def cheap_scrypt(monkeypatch: pytest.MonkeyPatch) -> None:
    """New key files are stretched little: the strength is tested elsewhere, here it would only cost time."""
    from sibilant.store import keys

    monkeypatch.setattr(keys, "wrap", partial(keys.wrap, n=2**10))


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The open accessibility checker, from npm into a folder of this run."""
    if shutil.which("npm") is None or not CHROMIUM.exists():
        pytest.skip("npm and Debian's chromium are needed to run axe-core")
    folder = tmp_path_factory.mktemp("axe")
    command = ["npm", "install", "--no-audit", "--no-fund", "--silent", "--prefix", str(folder), "axe-core@4"]
    try:
        subprocess.run(command, check=True, capture_output=True, timeout=120)
    except (subprocess.SubprocessError, OSError) as error:
        pytest.skip(f"axe-core could not be had from npm ({type(error).__name__})")
    return (folder / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
