"""What a notebook or a program calls: recordings measured, clients followed, groups compared, as data frames."""

from .catalogue import RangesAsked, find_ranges, list_methods, word_lists
from .following import Followed, demo_case, follow, open_caseload
from .groups import Compared, Corpus, compare_groups, run_corpus
from .measured import Measured, measure
from .picture import Picture
from .sound import recording_of
from .spectra import Spectrogram, spectrogram, spectrum

__all__ = [
    "Compared",
    "Corpus",
    "Followed",
    "Measured",
    "Picture",
    "RangesAsked",
    "Spectrogram",
    "compare_groups",
    "demo_case",
    "find_ranges",
    "follow",
    "list_methods",
    "measure",
    "open_caseload",
    "recording_of",
    "run_corpus",
    "spectrogram",
    "spectrum",
    "word_lists",
]
