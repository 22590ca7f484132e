"""Words, phrases and sentences become phones and expected sibilants; the built-in lists."""

from .dictionary import look_up
from .drawings import drawing_of, drawn_words
from .ipa import VOWELS
from .letters import sibilant_letters
from .lists import BLANK, builtin_list, drawn_lists, family_spelling, fill_carrier, list_names, list_note
from .phones import CONSONANTS, read_phones
from .prompts import Pronunciation, expect, level_of, pronunciations, voicing_differs
from .slots import slots_of

__all__ = [
    "BLANK",
    "CONSONANTS",
    "VOWELS",
    "Pronunciation",
    "builtin_list",
    "drawing_of",
    "drawn_lists",
    "drawn_words",
    "expect",
    "family_spelling",
    "fill_carrier",
    "level_of",
    "list_names",
    "list_note",
    "look_up",
    "pronunciations",
    "read_phones",
    "sibilant_letters",
    "slots_of",
    "voicing_differs",
]
