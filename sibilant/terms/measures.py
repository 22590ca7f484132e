"""``MEASURES``: one declaration per measure, from which columns, labels, report tables and docs are made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

from .vocabulary import check_words

Scope = Literal["token", "take", "session", "speaker"]


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure: how it is called, written, computed and explained.

    ``axis_label`` ends in the unit; ``plain_name`` is what a family reads; ``meaning`` is one plain sentence;
    ``spectral`` is true where band, weighting and rate decide the value.
    """

    key: str
    scope: Scope
    name: str
    symbol: str
    unit: str
    decimals: int
    axis_label: str
    plain_name: str
    meaning: str
    equation: str
    citation: str
    shape: str = "()"
    spectral: bool = True
    interval: bool = False

    def __post_init__(self) -> None:
        check_words(self, scope=get_args(Scope))


_FORREST = "Forrest, Weismer, Milenkovic & Dougall (1988), JASA 84:115-123 (from memory)"

_KOENIG = "after Koenig, Shadle, Preston & Mooshammer (2013), JSLHR 56:1175-1189 and Shadle (2023), JASA 153:1412-1426"
_ERB = "Glasberg & Moore (1990), Hearing Research 47:103-138 (from memory)"
_REIDY = "courses after Reidy (2016), JASA 140:2518-2529"


def _time(key: str, name: str, symbol: str, plain_name: str, meaning: str, equation: str, citation: str) -> Measure:
    """A duration in ms, which no method changes."""
    return Measure(
        key, "token", name, symbol, "ms", 1, f"{name} (ms)", plain_name, meaning, equation, citation, spectral=False
    )


def _course(name: str, key: str, symbol: str, unit: str, decimals: int) -> tuple[Measure, ...]:
    """The four coefficients of one course through the fricative."""
    shapes = (
        ("mean", "The mean of the {} over nine points through the hiss."),
        ("tilt", "Positive when the {} falls through the hiss: about 0.45 times how far a straight course falls."),
        ("bow", "Negative when the {} arches upwards: about half of how far both ends lie above the middle."),
        ("twist", "Positive when the {} swings down, up and down again through the hiss: the height of that swing."),
    )
    return tuple(
        Measure(
            f"{key}_course_{k}_{unit.lower()}",
            "token",
            f"{name} course, {shape}",
            f"{symbol}c{k}",
            unit,
            decimals,
            f"{name} course, {shape} ({unit})",
            f"{shape} of the {name} through the hiss",
            meaning.format(name),
            "c0 = mean(x); " * (k == 0) + f"c{k} = 2/N sum(x cos({k} pi (n + 1/2) / N)), N = 9" * (k > 0),
            _REIDY,
            interval=key != "peak",
        )
        for k, (shape, meaning) in enumerate(shapes)
    )


_DECLARED: tuple[Measure, ...] = (
    _time(
        "duration_ms",
        "duration",
        "D",
        "how long the hiss lasts",
        "The time from where the hiss begins to where it ends, by the stated boundary criterion.",
        "offset - onset",
        "boundary criterion: docs/boundaries.md",
    ),
    _time(
        "core_duration_ms",
        "core duration",
        "Dc",
        "how long the strong part of the hiss lasts",
        "The time for which the hiss is less than 15 dB below its plateau; it survives an ordinary room, so change over"
        " months uses it.",
        "time with level > plateau - 15 dB, ended by voicing",
        "own; docs/boundaries.md",
    ),
    Measure(
        "relative_duration",
        "token",
        "duration over the rest of the word",
        "Dr",
        "",
        2,
        "duration / rest of word",
        "how long the hiss lasts against the rest of the word",
        "The length of the hiss divided by the length of the rest of its word; only compared within the same word.",
        "D / (word duration - D)",
        "own; after Jongman et al. (2000), JASA 108:1252-1263, who divide by the whole word",
        spectral=False,
    ),
    _time(
        "rise_ms",
        "rise time",
        "tr",
        "how quickly the hiss builds up",
        "The time from the onset to where the level above 2 kHz first comes within 3 dB of the plateau.",
        "t(plateau - 3 dB) - onset",
        "own",
    ),
    Measure(
        "level_re_vowel_db",
        "token",
        "level re vowel",
        "Lv",
        "dB",
        1,
        "level re vowel (dB)",
        "how strong the hiss is beside the vowel",
        "The level of the middle half of the hiss less the level of the strongest 30 ms of the nearest vowel.",
        "10 lg(power of hiss / power of vowel)",
        "after Behrens & Blumstein (1988), JASA 84:861-867, and Jongman et al. (2000)",
        spectral=False,
    ),
    Measure(
        "voiced_share",
        "token",
        "voiced share",
        "V",
        "",
        2,
        "voiced share",
        "how much of the hiss is voiced",
        "The share of the hiss during which the voice sounds as well.",
        "voiced frames / frames",
        "Boersma (1993), Proc. Inst. Phonetic Sciences 17:97-110 (from memory), on the band below 1 kHz",
        spectral=False,
    ),
    Measure(
        "centroid_hz",
        "token",
        "spectral mean",
        "M1",
        "Hz",
        0,
        "spectral mean (Hz)",
        "where the energy of the hiss sits",
        "The balance point of the hiss's energy over frequency.",
        "M1 = sum(f P) / sum(P)",
        _FORREST,
        interval=True,
    ),
    Measure(
        "sd_hz",
        "token",
        "spectral standard deviation",
        "SD",
        "Hz",
        0,
        "spectral SD (Hz)",
        "how widely the energy of the hiss is spread",
        "How far the hiss's energy spreads around its balance point.",
        "SD = sqrt(sum((f - M1)^2 P) / sum(P))",
        _FORREST,
        interval=True,
    ),
    Measure(
        "skewness",
        "token",
        "spectral skewness",
        "M3",
        "",
        2,
        "spectral skewness",
        "whether the energy leans low or high",
        "Negative when the energy trails off towards low frequencies, positive when towards high ones.",
        "M3 = sum((f - M1)^3 P) / (sum(P) SD^3)",
        _FORREST,
        interval=True,
    ),
    Measure(
        "excess_kurtosis",
        "token",
        "spectral excess kurtosis",
        "M4",
        "",
        2,
        "spectral excess kurtosis",
        "how peaked the hiss is",
        "High when the energy is gathered in one narrow peak, low when it is flat.",
        "M4 = sum((f - M1)^4 P) / (sum(P) SD^4) - 3",
        _FORREST,
        interval=True,
    ),
    Measure(
        "peak_hz",
        "token",
        "spectral peak",
        "fp",
        "Hz",
        0,
        "spectral peak (Hz)",
        "the pitch of the hiss",
        "The frequency at which the averaged spectrum is highest; the estimator blurs it by about 200 Hz each way.",
        "fp = argmax of P averaged over the estimator's bandwidth, interpolated",
        "common in the literature, e.g. Jongman et al. (2000)",
        interval=True,
    ),
    Measure(
        "mid_peak_hz",
        "token",
        "mid-band peak",
        "fm",
        "Hz",
        0,
        "mid-band peak (Hz)",
        "the main pitch of the hiss",
        "The highest point of the spectrum inside the method's search range, 2 to 10 kHz for house methods; none where"
        " it sits at an edge of the range.",
        "fm = argmax of P averaged over the estimator's bandwidth, in the search range",
        _KOENIG,
        interval=True,
    ),
    Measure(
        "peak_erb",
        "token",
        "auditory peak",
        "fe",
        "ERB number",
        2,
        "auditory peak (ERB number)",
        "where the hiss excites the ear most",
        "The place on the ear's own frequency scale where the hiss excites it most.",
        "argmax of sum(P |G|^2) over gammatone filters on 21.4 lg(1 + 0.00437 f)",
        _ERB,
        interval=True,
    ),
    Measure(
        "low_mid_db",
        "token",
        "low minus mid level",
        "Llm",
        "dB",
        1,
        "low - mid level (dB)",
        "how much low sound is mixed into the hiss",
        "The level of the band 0.55 to 3 kHz less that of 3 to 7 kHz.",
        "10 lg(sum P in 0.55-3 kHz / sum P in 3-7 kHz)",
        _KOENIG,
        interval=True,
    ),
    Measure(
        "mid_high_db",
        "token",
        "mid minus high level",
        "Lmh",
        "dB",
        1,
        "mid - high level (dB)",
        "whether the hiss is stronger in its middle or its top",
        "The level of the band 3 to 7 kHz less that from 7 kHz to the method's top.",
        "10 lg(sum P in 3-7 kHz / sum P above 7 kHz)",
        _KOENIG,
        interval=True,
    ),
    Measure(
        "amplitude_difference_db",
        "token",
        "amplitude difference",
        "Ad",
        "dB",
        1,
        "amplitude difference (dB)",
        "how far the main peak stands above the low sound",
        "The level around the mid-band peak over the lowest level between 0.55 and 3 kHz; house methods average over 1"
        " and 0.6 kHz, and take out what chance adds to a highest over a lowest, so that length does not count.",
        "10 lg(P(fm) / min P in 0.55-3 kHz)",
        _KOENIG,
        interval=True,
    ),
    Measure(
        "slope_below_db_khz",
        "token",
        "slope below the peak",
        "Sb",
        "dB/kHz",
        1,
        "slope below the peak (dB/kHz)",
        "how steeply the hiss rises to its peak",
        "How steeply the level rises from the lower band limit to the peak.",
        "house: (level of upper half - level of lower half) / distance of the halves; else regression of 10 lg P on f",
        "own; after Shadle (2023), JASA 153:1412-1426",
    ),
    Measure(
        "slope_above_db_khz",
        "token",
        "slope above the peak",
        "Sa",
        "dB/kHz",
        1,
        "slope above the peak (dB/kHz)",
        "how steeply the hiss falls from its peak",
        "How steeply the level falls from the peak to the upper band limit.",
        "house: (level of upper half - level of lower half) / distance of the halves; else regression of 10 lg P on f",
        "own; after Shadle (2023), JASA 153:1412-1426",
    ),
    Measure(
        "spread_50_hz",
        "token",
        "spread, half of the power",
        "B50",
        "Hz",
        0,
        "spread, 50 % (Hz)",
        "how wide the core of the hiss is",
        "The width of the middle half of the hiss's energy over frequency.",
        "f(75 %) - f(25 %) of the running sum of P",
        "own",
    ),
    Measure(
        "spread_90_hz",
        "token",
        "spread, nine tenths of the power",
        "B90",
        "Hz",
        0,
        "spread, 90 % (Hz)",
        "how wide the hiss is",
        "The width of the middle nine tenths of the hiss's energy over frequency.",
        "f(95 %) - f(5 %) of the running sum of P",
        "own",
    ),
    Measure(
        "tonality_db",
        "token",
        "tonality",
        "To",
        "dB",
        1,
        "tonality (dB)",
        "how strongly the hiss whistles",
        "The level of the strongest narrow ridge of the spectrum, followed as it glides, against the rest of the hiss"
        " (house version 1: against its surroundings).",
        "10 lg(ridge / rest)",
        "own",
    ),
    Measure(
        "whistle_width_hz",
        "token",
        "width of the whistle",
        "Ww",
        "Hz",
        0,
        "width of the whistle (Hz)",
        "how narrow the whistle is",
        "The width that holds four fifths of what lies within 500 Hz of that ridge.",
        "width of 79 % of the power within 500 Hz",
        "own",
    ),
    Measure(
        "tonality_1_db",
        "token",
        "tonality against its surroundings",
        "T1",
        "dB",
        1,
        "tonality, surroundings (dB)",
        "how strongly the hiss whistled",
        "Version 1's tonality where an earlier program kept it under version 2; not measured any more.",
        "10 lg(ridge / surroundings)",
        "own",
    ),
    Measure(
        "tonality_width_hz",
        "token",
        "width of the tonality",
        "Tw",
        "Hz",
        0,
        "width of the tonality (Hz)",
        "how narrow the whistle was",
        "The width of version 1's ridge; house version 1 alone (later: whistle_width_hz).",
        "width at -10 dB",
        "own",
    ),
    Measure(
        "centroid_slope_hz_ms",
        "token",
        "slope of the spectral mean",
        "M1s",
        "Hz/ms",
        1,
        "slope of the spectral mean (Hz/ms)",
        "whether the hiss climbs or sinks",
        "How fast the balance point of the hiss climbs through it; negative when it sinks.",
        "least-squares slope of M1 over nine points",
        "own",
        interval=True,
    ),
    Measure(
        "centroid_movement_hz",
        "token",
        "movement of the spectral mean within the sound",
        "M1m",
        "Hz",
        0,
        "movement within the sound (Hz)",
        "how much the hiss moves within itself",
        "How far the balance point wanders through the middle half of the hiss beyond what chance gives.",
        "sqrt(var(M1 of the frames) - what it is by chance)",
        "own",
    ),
    *_course("spectral mean", "centroid", "M1", "Hz", 0),
    *_course("spectral peak", "peak", "fp", "Hz", 0),
    *_course("level", "level", "L", "dB", 1),
    Measure(
        "take_duration_s",
        "take",
        "length of a sustained sound",
        "Dt",
        "s",
        2,
        "length (s)",
        "how long the held hiss lasts",
        "The time from where the held hiss begins to where it ends.",
        "offset - onset",
        "own",
        spectral=False,
    ),
    Measure(
        "steadiness_db",
        "take",
        "unsteadiness of level",
        "sL",
        "dB",
        2,
        "SD of level (dB)",
        "how much the strength of the held hiss wavers",
        "The standard deviation of the level over the steady part of the held hiss; breaks are left out.",
        "SD of level in 20 ms frames",
        "own",
        spectral=False,
    ),
    Measure(
        "drift_hz_per_s",
        "take",
        "drift of the spectral mean",
        "M1d",
        "Hz/s",
        0,
        "drift (Hz/s)",
        "whether the held hiss climbs or sinks",
        "How fast the balance point of the held hiss climbs; negative when it sinks.",
        "least-squares slope of M1 over the steady part",
        "own",
    ),
    Measure(
        "n_breaks",
        "take",
        "breaks",
        "nb",
        "",
        0,
        "breaks",
        "how often the held hiss breaks off",
        "The number of gaps longer than 50 ms inside the held hiss.",
        "count of stretches with level < plateau - 20 dB for more than 50 ms",
        "own",
        spectral=False,
    ),
    Measure(
        "separation",
        "speaker",
        "s-sh separation",
        "ds",
        "",
        0,
        "s - sh separation",
        "how far apart this speaker's s and sh lie",
        "The mean of a measure over this speaker's s tokens less its mean over the sh tokens, in the measure's unit.",
        "mean(s) - mean(sh)",
        "after Romeo et al. (2013), JASA 134:3781-3792, and Holliday et al. (2015), JSLHR 58:622-637",
        interval=True,
    ),
    Measure(
        "separation_auc",
        "speaker",
        "area under the ROC curve",
        "A",
        "",
        2,
        "area under the ROC curve",
        "how often an s lies above an sh",
        "The chance that an s of this speaker, taken at random, lies above an sh; 0.5 when they are mixed up.",
        "P(s > sh) + P(s = sh) / 2",
        "interval: DeLong, DeLong & Clarke-Pearson (1988), Biometrics 44:837-845 (from memory)",
        interval=True,
    ),
    Measure(
        "separation_overlap",
        "speaker",
        "overlap",
        "O",
        "",
        2,
        "overlap",
        "how much this speaker's s and sh share",
        "The share that two bell curves laid over the s and the sh tokens have in common; 1 when they are the same.",
        "integral of min(p_s, p_sh), normal densities",
        "overlapping coefficient: Inman & Bradley (1989), Comm. Statistics 18:3851-3874 (from memory)",
        interval=True,
    ),
)

MEASURES: Mapping[str, Measure] = MappingProxyType({measure.key: measure for measure in _DECLARED})


def measures_of(scope: Scope) -> tuple[Measure, ...]:
    """Return the measures of one scope, in the order of their declaration.

    Examples
    --------
    >>> [m.key for m in measures_of("token")][:2]
    ['duration_ms', 'core_duration_ms']
    """
    return tuple(measure for measure in MEASURES.values() if measure.scope == scope)
