"""A seed comes in, an invented speaker goes out: nobody's voice, every parameter written down.

The same seed the same speaker.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal

import numpy as np

from .shapes import SibilantShape, SibilantType, mixed, sh_shape, shape_of

Group = Literal["child", "woman", "man"]

TYPE_LEVEL_DB: Mapping[str, float] = MappingProxyType(
    {"typical": 0.0, "frontal": -9.0, "dentalised": -3.0, "lateral": -1.0, "retracted": 1.0, "whistled": 1.0}
)
"""Level of each type against the same speaker's typical /s/, in dB (invented)."""


@dataclass(frozen=True, slots=True)
class Speaker:
    """An invented speaker.

    ``f0_hz``: mean fundamental. ``tract_scale``: formant frequencies against those of the man in the vowel table.
    ``s`` and ``sh``: power spectra of the typical sibilants. ``types``: spectra of other ways of saying /s/; ways not
    given are taken from ``shape_of`` scaled to this speaker; names of one's own are welcome. ``levels_db``: level of a
    way against the typical one (default ``TYPE_LEVEL_DB``, or 0). ``s_level_db``: level of the typical /s/ plateau
    against the stressed vowel, RMS to RMS. ``tempo``: durations are divided by it. ``spread_hz``: SD of the random
    shift of the spectrum from token to token (half of it for /sh/). ``rounding_hz``: how far /s/
    moves down beside a rounded vowel or /w/.
    ``breathiness_db``: noise in the open glottis; ``tilt_hz``: corner of the voice's extra -6 dB an octave.
    ``release_share``: how often a word-final stop is audibly released.

    Raises
    ------
    ValueError
        When a frequency, scale or tempo is not above zero or unlike any speaker's.

    Examples
    --------
    >>> Speaker("X-1", 210.0, 1.17, shape_of("typical"), sh_shape()).code
    'X-1'
    """

    code: str
    f0_hz: float
    tract_scale: float
    s: SibilantShape
    sh: SibilantShape
    group: Group = "woman"
    types: Mapping[str, SibilantShape] = field(default_factory=dict)
    levels_db: Mapping[str, float] = field(default_factory=dict)
    s_type: str = "typical"
    s_level_db: float = -7.0
    sh_level_db: float = -5.0
    tempo: float = 1.0
    spread_hz: float = 200.0
    level_spread_db: float = 1.0
    rounding_hz: float = 350.0
    jitter: float = 0.008
    shimmer: float = 0.05
    breathiness_db: float = -22.0
    open_quotient: float = 0.55
    tilt_hz: float = 4200.0
    release_share: float = 0.6

    def __post_init__(self) -> None:
        if not 50 <= self.f0_hz <= 600:
            raise ValueError(f"speaker {self.code}: a fundamental of 50 to 600 Hz is needed; got {self.f0_hz}")
        if not 0.7 <= self.tract_scale <= 1.9:
            raise ValueError(f"speaker {self.code}: a tract scale of 0.7 to 1.9 is needed; got {self.tract_scale}")
        if not 0.3 <= self.tempo <= 3:
            raise ValueError(f"speaker {self.code}: a tempo of 0.3 to 3 is needed; got {self.tempo}")
        object.__setattr__(self, "types", MappingProxyType(dict(self.types)))
        object.__setattr__(self, "levels_db", MappingProxyType(dict(self.levels_db)))

    def level_of(self, kind: str) -> float:
        """Level of an /s/ said in a given way against the stressed vowel, in dB."""
        return self.s_level_db + self.levels_db.get(kind, TYPE_LEVEL_DB.get(kind, 0.0))

    def s_shape(self, kind: str) -> SibilantShape:
        """Spectrum of this speaker's /s/ said in a given way."""
        if kind == "typical":
            return self.s
        if kind in self.types:
            return self.types[kind]
        typical = shape_of("typical").moments((1000.0, 15000.0)).centroid_hz
        factor = self.s.moments((1000.0, 15000.0)).centroid_hz / typical
        if kind == "retracted":
            return self.sh.scaled(1.05)
        return shape_of(kind, factor)

    def drifting(self, towards: SibilantType, share: float) -> Speaker:
        """Return the same speaker with the typical /s/ mixed with another type (``share`` of the other's power)."""
        return replace(self, s=mixed(self.s, self.s_shape(towards), share))


def child_speaker(seed: int, kind: SibilantType = "typical", code: str = "") -> Speaker:
    """Invent a child of about 5 to 12 years: F0 220 to 300 Hz, formants 1.3 to 1.5 times a man's.

    ``kind`` is the way this child says /s/ (``say`` uses it unless told otherwise). The same seed gives the same
    child. Ranges are invented, of the usual order (common practice, no source).
    """
    rng = np.random.default_rng([seed, 1])
    factor = float(rng.uniform(1.0, 1.14))
    return Speaker(
        code or f"child-{seed}", float(rng.uniform(220, 300)), float(rng.uniform(1.28, 1.48)),
        shape_of("typical", factor), sh_shape(factor * float(rng.uniform(1.02, 1.15))), "child", s_type=kind,
        s_level_db=float(rng.uniform(-10, -5)), sh_level_db=float(rng.uniform(-8, -3)),
        tempo=float(rng.uniform(0.8, 0.95)), spread_hz=float(rng.uniform(350, 600)), jitter=0.011, shimmer=0.07,
        breathiness_db=-19.0, open_quotient=0.6,
    )  # fmt: skip


def woman(seed: int, kind: SibilantType = "typical", code: str = "") -> Speaker:
    """Invent a woman: F0 175 to 240 Hz, formants about 1.17 times a man's."""
    rng = np.random.default_rng([seed, 2])
    factor = float(rng.uniform(0.92, 1.08))
    return Speaker(
        code or f"woman-{seed}", float(rng.uniform(175, 240)), float(rng.uniform(1.12, 1.22)),
        shape_of("typical", factor), sh_shape(factor * float(rng.uniform(0.95, 1.05))), "woman", s_type=kind,
        s_level_db=float(rng.uniform(-11, -5)), sh_level_db=float(rng.uniform(-8, -4)),
        tempo=float(rng.uniform(0.9, 1.15)), spread_hz=float(rng.uniform(300, 550)), rounding_hz=600.0,
    )  # fmt: skip


def man(seed: int, kind: SibilantType = "typical", code: str = "") -> Speaker:
    """Invent a man: F0 90 to 145 Hz, formants of the vowel table give or take 4 %."""
    rng = np.random.default_rng([seed, 3])
    factor = float(rng.uniform(0.68, 0.88))
    return Speaker(
        code or f"man-{seed}", float(rng.uniform(90, 145)), float(rng.uniform(0.96, 1.04)),
        shape_of("typical", factor), sh_shape(factor * float(rng.uniform(0.95, 1.08))), "man", s_type=kind,
        s_level_db=float(rng.uniform(-12, -6)), sh_level_db=float(rng.uniform(-9, -4)),
        tempo=float(rng.uniform(0.9, 1.15)), spread_hz=float(rng.uniform(200, 400)), rounding_hz=150.0,
        breathiness_db=-26.0, open_quotient=0.48,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class GroupShape:
    """What a group of speakers is to look like: mean and SD between speakers of the centroids, over ``band_hz``."""

    group: Group
    s_mean_hz: float
    s_sd_hz: float
    sh_mean_hz: float
    sh_sd_hz: float
    s_within_hz: float = 400.0
    band_hz: tuple[float, float] = (1000.0, 15000.0)


def speakers_like(shape: GroupShape, n: int, seed: int) -> tuple[Speaker, ...]:
    """Invent ``n`` speakers whose /s/ and /sh/ centroids have exactly the mean and SD asked for (n >= 2).

    Centroids are drawn normal and then shifted and scaled, so that the group's mean and SD (ddof 1) are those of
    ``shape``; with n = 1 the mean alone. Spectra are scaled until their exact centroid over the band is the drawn one.

    Raises
    ------
    ValueError
        When ``n`` is below 1 or a drawn centroid can't be had.
    """
    if n < 1:
        raise ValueError(f"a group needs at least one speaker; got {n}")
    rng = np.random.default_rng([seed, 4])
    invent = {"child": child_speaker, "woman": woman, "man": man}[shape.group]
    s_hz = _drawn(rng, n, shape.s_mean_hz, shape.s_sd_hz)
    sh_hz = _drawn(rng, n, shape.sh_mean_hz, shape.sh_sd_hz)
    made = []
    for k in range(n):
        plain = invent(seed * 1000 + k)
        made.append(
            replace(
                plain,
                code=f"{shape.group}-like-{k + 1:02d}",
                s=plain.s.centred(s_hz[k], shape.band_hz),
                sh=plain.sh.centred(sh_hz[k], shape.band_hz),
                spread_hz=shape.s_within_hz,
            )
        )
    return tuple(made)


def _drawn(rng: np.random.Generator, n: int, mean: float, sd: float) -> list[float]:
    z = rng.standard_normal(n)
    if n == 1:
        return [mean]
    z = (z - z.mean()) / z.std(ddof=1)
    return [float(v) for v in mean + sd * z]
