"""Known-answer sounds and invented speakers, seeded, with exact truth; nothing here is a recording of anybody."""

from .hiss import gliding_band, shaped_noise
from .known import KnownSpectrum, Sustained, known_spectrum, sustained, whistle
from .probes import ProbePlan, SayPlan, in_room, probe, typical_level_db
from .room import Room, background, reverberated, room_response
from .shapes import SIBILANT_TYPES, Hump, Ridge, ShapeMoments, SibilantShape, mixed, moments_of, sh_shape, shape_of
from .speakers import GroupShape, Speaker, child_speaker, man, speakers_like, woman
from .speech import say
from .truth import Spoken, TruePhone, TrueSibilant, TrueStretch, Truth

INVENTED = "Invented data – not a person"
"""The mark that goes on everything made from this room."""

__all__ = [
    "INVENTED",
    "SIBILANT_TYPES",
    "GroupShape",
    "Hump",
    "KnownSpectrum",
    "ProbePlan",
    "Ridge",
    "Room",
    "SayPlan",
    "ShapeMoments",
    "SibilantShape",
    "Speaker",
    "Spoken",
    "Sustained",
    "TruePhone",
    "TrueSibilant",
    "TrueStretch",
    "Truth",
    "background",
    "child_speaker",
    "gliding_band",
    "in_room",
    "known_spectrum",
    "man",
    "mixed",
    "moments_of",
    "probe",
    "reverberated",
    "room_response",
    "say",
    "sh_shape",
    "shape_of",
    "shaped_noise",
    "speakers_like",
    "sustained",
    "typical_level_db",
    "whistle",
    "woman",
]
