"""Many recordings at once: the same pipeline as for one, resumable, repeatable, one row for each sibilant."""

from .preview import preview
from .request import TOKENS_CSV, CorpusRequest, Outcome
from .running import run
from .verifying import verify

__all__ = ["TOKENS_CSV", "CorpusRequest", "Outcome", "preview", "run", "verify"]
