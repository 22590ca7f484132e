"""Build all of docs/ and the Python reference as one site, searchable offline: python docs/build_site.py [TO]

Pages are copied beside README and DEVELOPERS, so that links between them hold on the site as in the checkout; the
reference is made from the docstrings of all public names. A warning is an error. The site stands in TO (build/site).
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import shutil
import sys
import tempfile
from pathlib import Path

DOCS = Path(__file__).resolve().parent
ROOT = DOCS.parent
CONFIGURATION = """
project = "sibilant"
extensions = ["myst_parser", "sphinx.ext.autodoc", "numpydoc"]
root_doc = "docs/index"
html_theme = "furo"
html_title = "sibilant"
html_copy_source = False
html_show_sphinx = False
myst_heading_anchors = 4
numpydoc_show_class_members = False
autodoc_typehints = "none"
autodoc_member_order = "bysource"
suppress_warnings = ["myst.header", "misc.highlighting_failure"]
"""
TREE = "\n```{{toctree}}\n:hidden:\n:caption: {caption}\n\n{pages}\n```\n"


def rooms() -> list[str]:
    """Rooms whose package says what is public."""
    import sibilant

    found = [one.name for one in pkgutil.iter_modules(sibilant.__path__)]
    return [name for name in found if getattr(importlib.import_module(f"sibilant.{name}"), "__all__", None)]


def directive(name: str, thing: object) -> str:
    """Return what describes one public name."""
    if not (inspect.isclass(thing) or inspect.isroutine(thing)):
        return f".. py:data:: {name}\n   :no-index:\n\n"  # an alias or a constant: its type's docstring says nothing
    if inspect.isclass(thing):
        return f".. autoclass:: {name}\n   :members:\n   :no-index:\n\n"
    return f".. autofunction:: {name}\n   :no-index:\n\n"


def title(text: str, line: str = "=") -> str:
    """Return a heading in reStructuredText."""
    return f"{text}\n{line * len(text)}\n\n"


def room_page(name: str) -> str:
    """Return the reference of one room."""
    module = importlib.import_module(f"sibilant.{name}")
    described = "".join(directive(f"sibilant.{name}.{public}", getattr(module, public)) for public in module.__all__)
    return title(f"sibilant.{name}") + f".. automodule:: sibilant.{name}\n   :no-members:\n\n" + described


def public_page() -> str:
    """Return the reference of what ``import sibilant`` gives."""
    import sibilant

    described = (directive(f"sibilant.{name}", getattr(sibilant, name)) for name in sibilant.__all__)
    return title("What import sibilant gives") + "".join(described)


def without_lost_links(text: str, folder: Path) -> str:
    """Return a page in which links to what is only in the checkout are plain text."""

    def told(link: re.Match[str]) -> str:
        there = "://" in link[2] or link[2].startswith("#") or (folder / link[2].split("#")[0]).is_file()
        return link[0] if there else link[1]

    return re.sub(r"\[([^]]+)\]\(([^)\s]+)\)", told, text)


def write_reference(folder: Path) -> list[str]:
    """Write the pages of the reference and return their names."""
    folder.mkdir()
    pages = {"public": public_page(), **{name: room_page(name) for name in rooms()}}
    for name, text in pages.items():
        (folder / f"{name}.rst").write_text(text, encoding="utf-8")
    return list(pages)


def lay_out(source: Path) -> None:
    """Copy the pages, add the reference, and join them by tables of contents that only the site shows."""
    shutil.copytree(DOCS, source / "docs", ignore=shutil.ignore_patterns("__pycache__", "*.py"))
    for name in ("README.md", "DEVELOPERS.md"):
        shutil.copy(ROOT / name, source / name)
    for page in [*source.glob("*.md"), *source.glob("docs/*.md")]:
        page.write_text(without_lost_links(page.read_text(encoding="utf-8"), page.parent), encoding="utf-8")
    reference = write_reference(source / "reference")
    index = source / "docs" / "index.md"
    pages = sorted(path.stem for path in DOCS.glob("*.md") if path.stem != "index")
    text = index.read_text(encoding="utf-8")
    text += TREE.format(caption="Pages", pages="\n".join(["../README", *pages, "../DEVELOPERS"]))
    text += TREE.format(caption="Python reference", pages="\n".join(f"../reference/{name}" for name in reference))
    index.write_text(text, encoding="utf-8")
    (source / "conf.py").write_text(CONFIGURATION, encoding="utf-8")


def build(to: Path) -> int:
    """Build the site and return the builder's exit code."""
    from sphinx.cmd.build import build_main

    with tempfile.TemporaryDirectory() as folder:
        lay_out(Path(folder))
        return build_main(["-q", "-W", "--keep-going", "-b", "html", "-d", f"{folder}/.trees", folder, str(to)])


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "build" / "site"
    code = build(target)
    print(f"{target / 'docs' / 'index.html'}" if code == 0 else "the site was not built", file=sys.stderr)
    sys.exit(code)
