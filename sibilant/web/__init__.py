"""The page on this machine: clients, capture, judging, review and progress, served on 127.0.0.1 only."""

from .serving import Running, serve, start
from .site import make_site

__all__ = ["Running", "make_site", "serve", "start"]
