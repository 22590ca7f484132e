"""Find each sibilant in recorded practice words, measure it, and say how far each number can be trusted."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .audio import read_recording as read_recording
    from .clinic.caseload import CaseloadHandle as CaseloadHandle
    from .errors import SibilantError as SibilantError
    from .lexicon import expect as expect
    from .methods import get_method as get_method
    from .notebook.catalogue import find_ranges as find_ranges
    from .notebook.catalogue import list_methods as list_methods
    from .notebook.catalogue import word_lists as word_lists
    from .notebook.following import Followed as Followed
    from .notebook.following import demo_case as demo_case
    from .notebook.following import follow as follow
    from .notebook.following import open_caseload as open_caseload
    from .notebook.groups import Compared as Compared
    from .notebook.groups import Corpus as Corpus
    from .notebook.groups import compare_groups as compare_groups
    from .notebook.groups import run_corpus as run_corpus
    from .notebook.measured import Measured as Measured
    from .notebook.measured import measure as measure
    from .notebook.picture import Picture as Picture
    from .notebook.spectra import Spectrogram as Spectrogram
    from .notebook.spectra import spectrogram as spectrogram
    from .notebook.spectra import spectrum as spectrum
    from .pipeline import analyse as analyse
    from .terms import MEASURES as MEASURES

__version__ = "0.1.0"

_ROOMS = {
    "audio": ("read_recording",),
    "clinic.caseload": ("CaseloadHandle",),
    "errors": ("SibilantError",),
    "lexicon": ("expect",),
    "methods": ("get_method",),
    "notebook.catalogue": ("find_ranges", "list_methods", "word_lists"),
    "notebook.following": ("Followed", "demo_case", "follow", "open_caseload"),
    "notebook.groups": ("Compared", "Corpus", "compare_groups", "run_corpus"),
    "notebook.measured": ("Measured", "measure"),
    "notebook.picture": ("Picture",),
    "notebook.spectra": ("Spectrogram", "spectrogram", "spectrum"),
    "pipeline": ("analyse",),
    "terms": ("MEASURES",),
}
_ROOM = {name: room for room, names in _ROOMS.items() for name in names}
__all__ = [
    "MEASURES",
    "CaseloadHandle",
    "Compared",
    "Corpus",
    "Followed",
    "Measured",
    "Picture",
    "SibilantError",
    "Spectrogram",
    "__version__",
    "analyse",
    "compare_groups",
    "demo_case",
    "expect",
    "find_ranges",
    "follow",
    "get_method",
    "list_methods",
    "measure",
    "open_caseload",
    "read_recording",
    "reference_sounds",
    "run_corpus",
    "spectrogram",
    "spectrum",
    "word_lists",
]


def reference_sounds() -> Path:
    """Return the folder of known-answer sounds, invented probes and credited clips that comes with the package.

    Returns
    -------
    Path
        The folder; ``registry.csv`` in it names each file with its hash, origin and licence.

    Notes
    -----
    docs/synthetic.md tells how the invented ones were made.

    Examples
    --------
    >>> (reference_sounds() / "registry.csv").exists()
    True
    """
    inside = Path(__file__).parent / "reference_audio"
    return inside if inside.is_dir() else Path(__file__).parent.parent / "reference_audio"


if not TYPE_CHECKING:  # a checker sees the imports above, so that a name or a call that is none fails

    def __getattr__(name: str) -> object:
        """Load a public name on first use, so that importing the package loads nothing heavy."""
        if name in _ROOM:
            return getattr(import_module(f"sibilant.{_ROOM[name]}"), name)
        raise AttributeError(f"module 'sibilant' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
