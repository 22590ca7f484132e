"""Reports and practice sheets: composed once as a tuple of parts, rendered to HTML, tagged PDF and DOCX."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from .plain import FORBIDDEN, ReportSettings, forbidden_in
from .render import FORMATS, render

if TYPE_CHECKING:
    from .kinds import KINDS, compose

__all__ = ["FORBIDDEN", "FORMATS", "KINDS", "ReportSettings", "compose", "forbidden_in", "render"]

if not TYPE_CHECKING:  # a checker sees the imports above, so that a name that is none fails

    def __getattr__(name: str) -> object:
        """Load what composes reports on first use, so that a sentence of theirs told elsewhere does not."""
        if name in ("KINDS", "compose"):
            return getattr(import_module(".kinds", __name__), name)
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
