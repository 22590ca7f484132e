"""The ``sibilant`` command: argv, one call, print. Errors become one line and an exit code."""

from __future__ import annotations

from .main import main

__all__ = ["main"]
