"""The nouns, frozen: no input or output, no signal processing."""

from .measures import MEASURES, Measure, Scope, measures_of
from .method import Method, MicrophoneResponse, Window
from .noise import Cut, NoiseSpectrum
from .places import PhonePlaces, SlotPlace
from .reference import Comparison, ReferenceRange
from .sound import (
    Edge,
    Interval,
    Mark,
    Prompt,
    Recording,
    Review,
    SibilantInterval,
    SibilantSlot,
    Source,
    Utterance,
    Word,
)
from .suitability import Aspect, Sign, Suitability, TokenSupport, Verdict
from .takes import Separation, SustainedTake
from .token import Measures, Spectrum, Token
from .vocabulary import Finding, Position, Support, Voice

__all__ = [
    "MEASURES",
    "Aspect",
    "Comparison",
    "Cut",
    "Edge",
    "Finding",
    "Interval",
    "Mark",
    "Measure",
    "Measures",
    "Method",
    "MicrophoneResponse",
    "NoiseSpectrum",
    "PhonePlaces",
    "Position",
    "Prompt",
    "Recording",
    "ReferenceRange",
    "Review",
    "Scope",
    "Separation",
    "SibilantInterval",
    "SibilantSlot",
    "Sign",
    "SlotPlace",
    "Source",
    "Spectrum",
    "Suitability",
    "Support",
    "SustainedTake",
    "Token",
    "TokenSupport",
    "Utterance",
    "Verdict",
    "Voice",
    "Window",
    "Word",
    "measures_of",
]
