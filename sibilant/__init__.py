"""Find each sibilant in recorded practice words, measure it, and say how far each number can be trusted."""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_PUBLIC = {
    "read_recording": "sibilant.audio",
    "expect": "sibilant.lexicon",
    "analyse": "sibilant.analyse",
    "MEASURES": "sibilant.terms",
    "SibilantError": "sibilant.errors",
}
__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    """Load a public name on first use, so that importing the package loads nothing heavy."""
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'sibilant' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
