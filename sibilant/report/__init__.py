"""Reports and practice sheets: composed once as a tuple of parts, rendered to HTML, tagged PDF and DOCX."""

from .kinds import KINDS, compose
from .plain import FORBIDDEN, ReportSettings, forbidden_in
from .render import FORMATS, render

__all__ = ["FORBIDDEN", "FORMATS", "KINDS", "ReportSettings", "compose", "forbidden_in", "render"]
