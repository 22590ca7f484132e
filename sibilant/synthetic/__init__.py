"""Known-answer sounds and invented speakers, seeded, with exact truth; nothing here is a recording of anybody."""

from .clients import (
    ClientStory,
    InventedJudgement,
    StoryEvent,
    StorySession,
    StoryTake,
    invented_clients,
    session_speaker,
    story_take,
)
from .corpus import CORPUS_TYPES, CorpusFile, CorpusJudgement, DemoCorpus, corpus_take, demo_s_corpus
from .hiss import gliding_band, shaped_noise
from .known import KnownSpectrum, Sustained, known_spectrum, sustained, whistle
from .probes import ProbePlan, SayPlan, in_room, probe, typical_level_db
from .room import DeviceCurve, Room, background, reverberated, room_response, through_device
from .shapes import SIBILANT_TYPES, Hump, Ridge, ShapeMoments, SibilantShape, mixed, moments_of, sh_shape, shape_of
from .speakers import GroupShape, Speaker, child_speaker, man, speakers_like, woman
from .speech import say
from .truth import Spoken, TruePhone, TrueSibilant, TrueStretch, Truth

INVENTED = "Invented data – not a person"
"""The mark that goes on everything made from this room."""

__all__ = [
    "CORPUS_TYPES",
    "INVENTED",
    "SIBILANT_TYPES",
    "ClientStory",
    "CorpusFile",
    "CorpusJudgement",
    "DemoCorpus",
    "DeviceCurve",
    "GroupShape",
    "Hump",
    "InventedJudgement",
    "KnownSpectrum",
    "ProbePlan",
    "Ridge",
    "Room",
    "SayPlan",
    "ShapeMoments",
    "SibilantShape",
    "Speaker",
    "Spoken",
    "StoryEvent",
    "StorySession",
    "StoryTake",
    "Sustained",
    "TruePhone",
    "TrueSibilant",
    "TrueStretch",
    "Truth",
    "background",
    "child_speaker",
    "corpus_take",
    "demo_s_corpus",
    "gliding_band",
    "in_room",
    "invented_clients",
    "known_spectrum",
    "man",
    "mixed",
    "moments_of",
    "probe",
    "reverberated",
    "room_response",
    "say",
    "session_speaker",
    "sh_shape",
    "shape_of",
    "shaped_noise",
    "speakers_like",
    "story_take",
    "sustained",
    "through_device",
    "typical_level_db",
    "whistle",
    "woman",
]
