"""Examples in docstrings run; public docstrings are complete (numpydoc's own checks)."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re
from pathlib import Path
from types import ModuleType

import pytest

import sibilant

DOCS = Path(__file__).parent.parent / "docs"
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


def offered() -> list[str]:
    """What ``import sibilant`` gives that can be called."""
    return [name for name in sibilant.__all__ if callable(getattr(sibilant, name))]


NEVER_RAISE = {"list_methods", "reference_sounds", "word_lists"}
"""Ask nothing, so nothing can be asked wrongly."""
MEASURED_IN = re.compile(r"_(s|ms|hz|db)$")
UNITS = re.compile(r"\b(seconds|in s|in Hz|Hz\)|in ms|in dB)\b|\(n,\)|\(Hz\)")


@pytest.mark.parametrize("name", offered())
def test_every_public_name_tells_all_that_its_reader_needs(name: str) -> None:
    """Parameters with shapes and units, what is returned and raised, where the source stands, an example that runs."""
    thing, told = getattr(sibilant, name), inspect.getdoc(getattr(sibilant, name)) or ""
    sections = set(re.findall(r"^([A-Z][a-z]+)\n-+$", told, re.M))
    wanted = {"Examples"}
    if inspect.isfunction(thing):
        taken = inspect.signature(thing).parameters
        wanted |= {"Returns", "Notes"} | ({"Parameters"} if taken else set())
        wanted |= set() if name in NEVER_RAISE else {"Raises"}
        assert re.search(r"docs/\w+\.md", told), "where the source stands"
        for one in taken:
            described = told.split("Parameters\n")[1].split("\n\n")[0]
            assert re.search(rf"\b{one}\b", described), one
            if MEASURED_IN.search(one):
                assert UNITS.search(described), one
    assert wanted <= sections, wanted - sections
    assert ">>> " in told
    for page in re.findall(r"docs/\w+\.md", told):
        assert (DOCS / page.removeprefix("docs/")).exists(), page


COMMANDS = {"measure": "measure", "run_corpus": "corpus", "compare_groups": "study", "follow": "progress"}
ONLY_HERE = {"sound", "sampling_rate_hz", "caseload"}
"""What a program has at hand and a command line has not: sound in memory, an opened caseload."""


@pytest.mark.parametrize(("name", "command"), COMMANDS.items())
def test_an_argument_is_spelt_as_the_command_line_spells_it(name: str, command: str) -> None:
    asked = importlib.import_module(f"sibilant_cli.{command}").command
    spelt = {word.lstrip("-").replace("-", "_") for one in asked.params for word in (*one.opts, str(one.name))}
    spelt |= {f"{word}s" for word in spelt}  # an option that may be repeated is several in a program
    taken = set(inspect.signature(getattr(sibilant, name)).parameters) - ONLY_HERE
    assert taken <= spelt, taken - spelt


WHICH_WORDS = ("follow", "words")
"""As ``sibilant progress --words`` says it: untreated, treated or all, where elsewhere a list is named."""


def test_an_argument_means_one_thing_everywhere() -> None:
    """The same name has the same type in every public function, an absent one left aside."""
    kinds: dict[str, set[str]] = {}
    for name in offered():
        if inspect.isfunction(getattr(sibilant, name)):
            for one in inspect.signature(getattr(sibilant, name)).parameters.values():
                if (name, one.name) == WHICH_WORDS:
                    continue
                plain = str(one.annotation).replace("str | Sequence[str]", "str").removesuffix(" | None")
                kinds.setdefault(one.name, set()).add(plain)
    apart = {name: found for name, found in kinds.items() if len(found) > 1}
    assert not apart, apart
