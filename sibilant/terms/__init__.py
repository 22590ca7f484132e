"""The nouns, frozen: no input or output, no signal processing."""

from .measures import MEASURES, Measure, Scope, measures_of
from .method import Method, MicrophoneResponse, Window
from .reference import Comparison, ReferenceRange
from .sound import (
    Edge,
    Interval,
    Position,
    Prompt,
    Recording,
    Review,
    SibilantInterval,
    SibilantSlot,
    Source,
    Utterance,
    Voice,
    Word,
)
from .suitability import Aspect, Sign, Suitability, Support, TokenSupport, Verdict
from .takes import Separation, SustainedTake
from .token import Finding, Measures, Spectrum, Token

__all__ = [
    "MEASURES",
    "Aspect",
    "Comparison",
    "Edge",
    "Finding",
    "Interval",
    "Measure",
    "Measures",
    "Method",
    "MicrophoneResponse",
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
