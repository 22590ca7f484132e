"""Many recordings at once: the same pipeline as for one, resumable, repeatable, one row for each sibilant."""

from .order import Order, Outcome
from .preview import preview
from .running import run
from .verifying import verify

__all__ = ["Order", "Outcome", "preview", "run", "verify"]
