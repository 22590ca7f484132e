"""Examples in docstrings run; public docstrings are complete (numpydoc's own checks)."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
from types import ModuleType

import pytest

import sibilant

GES = {"GL08", "PR01", "PR02", "PR03", "PR04", "SS03"}
"""numpydoc codes that matter here: a docstring is there, and its parameters are the function's."""


def module_names() -> list[str]:
    """All modules of the library."""
    found = pkgutil.walk_packages(sibilant.__path__, "sibilant.")
    skip = ("sibilant.store.migrations", "sibilant.reference_audio")
    return sorted(m.name for m in found if not m.name.startswith(skip))


@pytest.mark.parametrize("name", module_names())
def test_examples_run(name: str) -> None:
    module = importlib.import_module(name)
    failed, _ = doctest.testmod(module, optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    assert failed == 0


def public_functions() -> list[str]:
    """Dotted names of what the rooms offer."""
    names = []
    for room in sorted({name for name in module_names() if name.count(".") == 1}):
        module: ModuleType = importlib.import_module(room)
        for name in getattr(module, "__all__", ()):
            member = getattr(module, name)
            if inspect.isfunction(member):
                names.append(f"{member.__module__}.{member.__qualname__}")
    return sorted(set(names))


@pytest.mark.parametrize("name", public_functions())
def test_public_docstrings_are_complete(name: str) -> None:
    from numpydoc.validate import validate

    report = validate(name)
    documented = "Parameters" in (inspect.getdoc(_resolve(name)) or "")
    asked = GES if documented else {"GL08"}
    errors = [error for error in report["errors"] if error[0] in asked]
    assert not errors, errors


def _resolve(name: str) -> object:
    module, _, member = name.rpartition(".")
    return getattr(importlib.import_module(module), member)
