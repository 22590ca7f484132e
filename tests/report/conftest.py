"""Invented clients for report tests, from the charts' folder (tests are imported one by one, not as a package)."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from sibilant import report
from sibilant.methods import HOUSE_15K
from sibilant.terms.clinic import Case


def load(name: str, folder: Path) -> ModuleType:
    key = f"{folder.name}_{name}"
    if key not in sys.modules:
        spec = importlib.util.spec_from_file_location(key, folder / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[key] = module
        spec.loader.exec_module(module)
    return sys.modules[key]


@pytest.fixture(scope="session")
def invented() -> ModuleType:
    return load("invented_case", Path(__file__).parent.parent / "charts")


@pytest.fixture(scope="session")
def reading() -> ModuleType:
    return load("report_reading", Path(__file__).parent)


@pytest.fixture(scope="session")
def settings() -> report.ReportSettings:
    return report.ReportSettings(HOUSE_15K, sampling_rates_hz=(44100,), known_lists=("core-a",))


@pytest.fixture(scope="session")
def recount() -> ModuleType:
    return load("recount", Path(__file__).parent)


@pytest.fixture(scope="session")
def case_of() -> Callable[[int], Case]:
    """An invented history by its seed."""
    histories = load("histories", Path(__file__).parent)
    material = load("material", Path(__file__).parent.parent / "progress")
    return lambda seed: histories.history(seed, material)[1]
