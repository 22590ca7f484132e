"""Find each sibilant in recorded practice words, measure it, and say how far each number can be trusted."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

__version__ = "0.1.0"

_PUBLIC = {
    "MEASURES": ("sibilant.terms", "MEASURES"),
    "SibilantError": ("sibilant.errors", "SibilantError"),
    "analyse": ("sibilant.pipeline", "analyse"),
    "expect": ("sibilant.lexicon", "expect"),
    "get_method": ("sibilant.methods", "get_method"),
    "measure": ("sibilant.listening.measure", "table"),
    "read_recording": ("sibilant.audio", "read_recording"),
}
__all__ = [
    "MEASURES",
    "SibilantError",
    "__version__",
    "analyse",
    "expect",
    "get_method",
    "measure",
    "read_recording",
    "reference_sounds",
]


def reference_sounds() -> Path:
    """Return the folder of known-answer sounds, invented probes and credited clips that comes with the package.

    Examples
    --------
    >>> (reference_sounds() / "registry.csv").exists()
    True
    """
    inside = Path(__file__).parent / "reference_audio"
    return inside if inside.is_dir() else Path(__file__).parent.parent / "reference_audio"


def __getattr__(name: str) -> Any:
    """Load a public name on first use, so that importing the package loads nothing heavy."""
    if name in _PUBLIC:
        room, inside = _PUBLIC[name]
        return getattr(import_module(room), inside)
    raise AttributeError(f"module 'sibilant' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
