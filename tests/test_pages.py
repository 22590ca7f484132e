"""Generated pages are what the code says now."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

DOCS = Path(__file__).parent.parent / "docs"


def makers() -> list[str]:
    """Scripts that make a page; what makes pictures and drawings has none, and is tested where those are shown."""
    return sorted(path.name for path in DOCS.glob("make_*.py") if "\nPAGE = " in path.read_text(encoding="utf-8"))


def test_generated_pages_have_their_makers() -> None:
    assert {"make_commands.py", "make_measures.py", "make_ranges.py", "make_signs.py"} <= set(makers())


@pytest.mark.parametrize("maker", makers())
def test_page_is_current(maker: str) -> None:
    spec = importlib.util.spec_from_file_location(maker[:-3], DOCS / maker)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.PAGE.read_text(encoding="utf-8") == module.page(), f"run: python docs/{maker}"


def test_every_page_is_listed() -> None:
    index = (DOCS / "index.md").read_text(encoding="utf-8")
    for page in DOCS.glob("*.md"):
        assert page.name == "index.md" or f"({page.name})" in index, page.name


def test_links_between_pages_lead_somewhere() -> None:
    import re

    root = DOCS.parent
    for page in [*DOCS.glob("*.md"), root / "README.md", root / "DEVELOPERS.md"]:
        for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.name} points to {target}"
