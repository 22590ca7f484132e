"""The nouns, frozen: no input or output, no signal processing."""

from .measurement import NOT_MEASURED, Measurement, Measures, Spectrum
from .measures import MEASURES, Measure, Scope, measures_of
from .method import Method, MicrophoneResponse, Window
from .noise import Cut, NoiseSpectrum
from .places import PhonePlaces
from .sound import (
    Edge,
    Interval,
    Mark,
    Prompt,
    Recording,
    Review,
    SibilantInterval,
    SibilantSlot,
    Sound,
    Source,
    Utterance,
    Word,
)
from .suitability import Aspect, Sign, Suitability, Surroundings, TokenSupport, Verdict
from .takes import Separation, SustainedTake
from .vocabulary import Finding, Position, Support, Voice

__all__ = [
    "MEASURES",
    "NOT_MEASURED",
    "Aspect",
    "Cut",
    "Edge",
    "Finding",
    "Interval",
    "Mark",
    "Measure",
    "Measurement",
    "Measures",
    "Method",
    "MicrophoneResponse",
    "NoiseSpectrum",
    "PhonePlaces",
    "Position",
    "Prompt",
    "Recording",
    "Review",
    "Scope",
    "Separation",
    "SibilantInterval",
    "SibilantSlot",
    "Sign",
    "Sound",
    "Source",
    "Spectrum",
    "Suitability",
    "Support",
    "Surroundings",
    "SustainedTake",
    "TokenSupport",
    "Utterance",
    "Verdict",
    "Voice",
    "Window",
    "Word",
    "measures_of",
]
