"""Pictures: values in, ``Figure`` out; nothing here shows, saves or looks anything up."""

from .render import alt_text, render
from .strips import Ribbon, StripPanel, Tick, token_strip_pages, token_strips

__all__ = ["Ribbon", "StripPanel", "Tick", "alt_text", "render", "token_strip_pages", "token_strips"]
