"""House methods and published protocols, as data.

A house method describes a fricative by its middle half; a published protocol repeats what its source did, as far as
the source says, so that a published value is compared with the token measured in the same way. What a source does not
say stands in ``unknown``; a comparison that hangs on it is not made.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from types import MappingProxyType

from .errors import MethodError
from .terms import Method, MicrophoneResponse, Window

USABLE_SHARE = 0.95
"""A method's top may be at most this share of the effective bandwidth (own rule: docs/methods.md)."""

_MIDDLE_HALF = (Window("share", share=0.5),)  # one window over the middle half of the sound
_HOUSE = "own; multitaper after Thomson (1982), Proc. IEEE 70:1055-1096 (from memory)"


def _house(name: str, top_hz: float) -> Method:
    return Method(
        name,
        2,
        (1000.0, top_hz),
        _MIDDLE_HALF,
        frame_ms=20.0,
        hop_ms=10.0,
        n_tapers=5,
        citation=_HOUSE,
        noise="taken out",
    )


HOUSE_15K = _house("house-15k", 15000.0)
HOUSE_10K = _house("house-10k", 10000.0)
HOUSE_7K = _house("house-7k", 7500.0)
HOUSE = (HOUSE_15K, HOUSE_10K, HOUSE_7K)
"""The house methods as they are now, widest first."""
OPEN_ADULT = Method(
    "open-adult",
    1,
    (1000.0, 15000.0),
    _MIDDLE_HALF,
    n_tapers=8,
    citation="the method of the adult values measured from open recordings (Plummer & Reidy 2018)",
)
OPEN_ADULT_11K = dataclasses.replace(OPEN_ADULT, name="open-adult-11k", band_hz=(1000.0, 11025.0))
OPEN_ADULT_7K = dataclasses.replace(OPEN_ADULT, name="open-adult-7k", band_hz=(1000.0, 7500.0))

FORREST_1988 = Method(
    "forrest-1988",
    1,
    (0.0, 10000.0),
    (Window("onset", 10.0, 20.0), Window("onset", 20.0, 20.0), Window("onset", 30.0, 20.0)),
    rate_hz=20000.0,
    taper="hamming",
    n_tapers=1,
    average="moments",
    citation="Forrest, Weismer, Milenkovic & Dougall (1988), JASA 84:115-123; method from memory, source not read",
    unknown=("pre-emphasis", "which windows were pooled", "band limits", "power or amplitude weighting", "microphone"),
    published=True,
)
JONGMAN_2000 = Method(
    "jongman-2000",
    1,
    (0.0, 11000.0),
    (
        Window("onset", 20.0, 40.0),
        Window("middle", 0.0, 40.0),
        Window("offset", -20.0, 40.0),
        Window("offset", 0.0, 40.0),
    ),
    rate_hz=22000.0,
    taper="hamming",
    n_tapers=1,
    average="moments",
    pre_emphasis=0.98,
    citation="Jongman, Wayland & Wong (2000), JASA 108:1252-1263; values and method read second-hand",
    unknown=("power or amplitude weighting", "microphone"),
    published=True,
)
JONGMAN_2000_PEAK = dataclasses.replace(
    JONGMAN_2000, name="jongman-2000-peak", windows=(Window("middle", 0.0, 40.0),), average="none"
)
HALEY_2010 = Method(
    "haley-2010",
    1,
    (0.0, 10000.0),
    (Window("onset", 50.0, 20.0),),
    taper="hamming",
    n_tapers=1,
    average="none",
    citation="Haley, Seelinger, Mandulak & Zajac (2010), J. Phonetics 38:548-554; values read second-hand",
    unknown=("sampling rate", "band limits", "window and its length", "pre-emphasis", "weighting", "microphone"),
    published=True,
)
KOENIG_2013 = Method(
    "koenig-2013",
    1,
    (550.0, 11025.0),
    (Window("middle", 0.0, 25.0),),
    rate_hz=22050.0,
    n_tapers=8,
    average="none",
    citation="Koenig, Shadle, Preston & Mooshammer (2013), JSLHR 56:1175-1189; abstract read, windows from memory",
    unknown=("window length", "number of tapers", "pre-emphasis", "microphone"),
    mid_band_hz=(3000.0, 7000.0),
    published=True,
)
HOLLIDAY_2015 = Method(
    "holliday-2015",
    1,
    (300.0, 20000.0),
    (Window("middle", 0.0, 40.0),),
    rate_hz=44100.0,
    n_tapers=8,
    average="none",
    citation="Holliday, Reidy, Beckman & Edwards (2015), JSLHR 58:622-637; abstract read, method from memory",
    unknown=("band limits", "window length", "pre-emphasis", "microphone"),
    published=True,
)
SHADLE_2023 = Method(
    "shadle-2023",
    1,
    (550.0, 15000.0),
    (Window("middle", 0.0, 25.0),),
    rate_hz=44100.0,
    n_tapers=3,
    time_bandwidth=2.0,
    average="none",
    citation="Shadle, Chen, Koenig & Preston (2023), JASA 154:1932-1944; read second-hand",
    unknown=("window length", "time-bandwidth product", "search range of the mid peak", "microphone"),
    mid_band_hz=(3000.0, 7000.0),
    published=True,
)
WONG_MUNSON_2025 = Method(
    "wong-munson-2025",
    1,
    (550.0, 15000.0),
    (Window("middle", 0.0, 40.0),),
    n_tapers=8,
    average="none",
    citation="Wong & Munson (2025), JASA Express Letters 5(10); abstract read: mid-band peak searched in 3-9 kHz",
    unknown=("sampling rate", "band limits", "window and its length", "number of tapers", "pre-emphasis", "microphone"),
    mid_band_hz=(3000.0, 9000.0),
    published=True,
)
_ALL = MappingProxyType(
    {
        method.name: method
        for method in (
            HOUSE_15K,
            HOUSE_10K,
            HOUSE_7K,
            OPEN_ADULT,
            OPEN_ADULT_11K,
            OPEN_ADULT_7K,
            FORREST_1988,
            JONGMAN_2000,
            JONGMAN_2000_PEAK,
            HALEY_2010,
            KOENIG_2013,
            HOLLIDAY_2015,
            SHADLE_2023,
            WONG_MUNSON_2025,
        )
    }
)


_EARLIER = MappingProxyType(
    {f"{method.name}/1": dataclasses.replace(method, version=1, noise="observed") for method in HOUSE}
)
"""Versions gone by, called by name and version only: the house methods before the noise was taken out."""


def method_names() -> tuple[str, ...]:
    """Names of all methods, house methods first."""
    return tuple(_ALL)


def published_names() -> tuple[str, ...]:
    """Names of the protocols taken from the literature."""
    return tuple(name for name, method in _ALL.items() if method.published)


def get_method(name: str) -> Method:
    """Return a method by its name, or an earlier version by name and version (``house-15k`` or ``house-15k/1``).

    Parameters
    ----------
    name : str
        A house method or a published protocol; each carries its own citation.

    Returns
    -------
    Method
        Its band and rate in Hz, windows and frames in ms.

    Raises
    ------
    MethodError
        When no method has that name, or not that version.

    Notes
    -----
    docs/methods.md tells each with its source.

    Examples
    --------
    >>> get_method("house-15k").label, get_method("house-15k/1").noise
    ('house-15k/2', 'observed')
    """
    if name in _EARLIER:
        return _EARLIER[name]
    plain, _, version = name.partition("/")
    method = _ALL.get(plain)
    if method is None:
        raise MethodError(f"no method is called {name!r}; known methods: {', '.join(_ALL)}")
    if version and version != str(method.version):
        raise MethodError(f"method {plain} is at version {method.version}, not {version}; ask for {method.label}")
    return method


def widest(cut_hz: Sequence[float | None], rates_hz: Sequence[float]) -> Method | None:
    """Widest house method that all of several recordings hold, or None where even the narrowest does not fit.

    Parameters
    ----------
    cut_hz : sequence of float or None
        The frequency at which each recording is cut off, None where nothing cuts it.
    rates_hz : sequence of float
        The sampling rate of each.

    Examples
    --------
    >>> [widest([None, cut], [44100.0, 44100.0]).name for cut in (None, 15200.0, 8000.0)]
    ['house-15k', 'house-10k', 'house-7k']
    >>> widest([4000.0], [44100.0]) is None
    True
    """
    pairs = list(zip(cut_hz, rates_hz, strict=True))
    return next((method for method in HOUSE if all(supports(method, rate, cut) for cut, rate in pairs)), None)


def supports(method: Method, rate_hz: float, bandwidth_hz: float | None = None) -> bool:
    """Whether a recording at a sampling rate, or with an effective bandwidth, reaches the method's top.

    Parameters
    ----------
    method : Method
        The method asked for.
    rate_hz : float
        Sampling rate in Hz.
    bandwidth_hz : float, optional
        Effective bandwidth found in the sound, in Hz, where it is known.

    Examples
    --------
    >>> supports(HOUSE_15K, 44100), supports(HOUSE_15K, 22050), supports(HOUSE_10K, 44100, 9000.0)
    (True, False, False)
    """
    reach_hz = rate_hz / 2 if bandwidth_hz is None else min(rate_hz / 2, bandwidth_hz)
    return method.band_hz[1] <= USABLE_SHARE * reach_hz


def with_response(method: Method, response: MicrophoneResponse | None) -> Method:
    """Return the method with the microphone response named that is divided out.

    Raises
    ------
    MethodError
        When the response is not known over the method's whole band.
    """
    if response is None:
        return method
    if not response.covers(method.band_hz):
        known = f"{response.frequency_hz[0]:g} to {response.frequency_hz[-1]:g} Hz"
        wanted = f"{method.band_hz[0]:g} to {method.band_hz[1]:g} Hz"
        raise MethodError(
            f"{method.name} needs the response of {response.name} over {wanted}; the file covers {known};"
            " give a response that covers the band or choose a narrower method"
        )
    return dataclasses.replace(method, response=response.name)


def matched(method: Method, *reaches_hz: float) -> Method:
    """Return the method narrowed to what all of several recordings hold, and named so.

    Parameters
    ----------
    method : Method
        The method to narrow.
    *reaches_hz : float
        Half the sampling rate, or the effective bandwidth, of each recording to be compared, in Hz.

    Raises
    ------
    MethodError
        When less than 1 kHz of band would be left.

    Examples
    --------
    >>> matched(HOUSE_15K, 22050.0, 11025.0).label
    'house-15k-to-10400/2'
    """
    top_hz = min([method.band_hz[1], *(USABLE_SHARE * reach for reach in reaches_hz)])
    if top_hz >= method.band_hz[1]:
        return method
    top_hz = 100.0 * (top_hz // 100.0)
    if top_hz < method.band_hz[0] + 1000.0:
        raise MethodError(
            f"{method.name} can't be narrowed to {top_hz:g} Hz: less than 1 kHz of band is left;"
            " compare durations, or record with a wider band"
        )
    return dataclasses.replace(method, name=f"{method.name}-to-{top_hz:.0f}", band_hz=(method.band_hz[0], top_hz))
