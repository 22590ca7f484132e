"""Invented material shared by the tests of progress, store and caseload."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

HERE = Path(__file__).parent.parent / "progress" / "material.py"


@pytest.fixture(scope="session")
def material() -> ModuleType:
    """The module of invented material."""
    if "progress_material" not in sys.modules:
        spec = importlib.util.spec_from_file_location("progress_material", HERE)
        assert spec is not None and spec.loader is not None
        sys.modules["progress_material"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["progress_material"])
    return sys.modules["progress_material"]


@pytest.fixture
def cheap_scrypt(monkeypatch: pytest.MonkeyPatch) -> None:
    """New key files are stretched little: the strength is tested elsewhere, here it would only cost time."""
    from functools import partial

    from sibilant.store import keys

    monkeypatch.setattr(keys, "wrap", partial(keys.wrap, n=2**10))
