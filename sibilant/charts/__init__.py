"""Pictures: values in, ``Figure`` out; nothing here shows, saves or looks anything up.

Wording and rendering come with the room; each drawing is loaded on first use.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from .render import alt_text, render
from .style import INVENTED, NO_CAUSE, SUPPORTING, load
from .wording import Caption, change_sentence

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Figure

    from .contexts import context_map
    from .month_marks import RangeBracket
    from .months import months_alt, months_chart, session_places
    from .over_time import separation_chart, spread_chart
    from .shares import alike_probes, shares_alt, shares_chart
    from .sounds import SaidThrice, heard_chart, sets_chart
    from .spectra import SpectrumGroup, session_spectra
    from .strip_panels import Ribbon, StripPanel, Tick
    from .strips import token_strip_pages, token_strips

_DRAWN = {
    "contexts": ("context_map",),
    "month_marks": ("RangeBracket",),
    "months": ("months_alt", "months_chart", "session_places"),
    "over_time": ("separation_chart", "spread_chart"),
    "shares": ("alike_probes", "shares_alt", "shares_chart"),
    "sounds": ("SaidThrice", "heard_chart", "sets_chart"),
    "spectra": ("SpectrumGroup", "session_spectra"),
    "strip_panels": ("Ribbon", "StripPanel", "Tick"),
    "strips": ("token_strip_pages", "token_strips"),
}
_FILE = {name: file for file, names in _DRAWN.items() for name in names}
__all__ = [
    "INVENTED",
    "NO_CAUSE",
    "SUPPORTING",
    "Caption",
    "RangeBracket",
    "Ribbon",
    "SaidThrice",
    "SpectrumGroup",
    "StripPanel",
    "Tick",
    "alike_probes",
    "alt_text",
    "change_sentence",
    "context_map",
    "heard_chart",
    "load",
    "months_alt",
    "months_chart",
    "render",
    "separation_chart",
    "session_places",
    "session_spectra",
    "sets_chart",
    "shares_alt",
    "shares_chart",
    "spread_chart",
    "token_strip_pages",
    "token_strips",
]

if not TYPE_CHECKING:  # a checker sees the imports above, so that a name that is none fails

    def __getattr__(name: str) -> object:
        """Load a drawing on first use, so that what only words its figures loads none."""
        if name in _FILE:
            return getattr(import_module(f".{_FILE[name]}", __name__), name)
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
