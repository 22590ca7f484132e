"""Modules of this folder for its tests (tests are imported one by one, not as a package)."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

HERE = Path(__file__).parent


def load(name: str) -> ModuleType:
    known = sys.modules.get(f"segment_{name}")
    if known is not None:
        return known
    spec = importlib.util.spec_from_file_location(f"segment_{name}", HERE / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[f"segment_{name}"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def marked() -> ModuleType:
    return load("marked_clips")


@pytest.fixture(scope="session")
def spoken() -> ModuleType:
    return load("spoken_words")
