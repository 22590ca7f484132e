"""Rooms and their noise: decaying-noise reverberation, background at a stated signal-to-noise ratio, other noises."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .hiss import Envelope, shaped_noise
from .shapes import Hump, SibilantShape
from .truth import Spoken

Floats = npt.NDArray[np.float64]

SNR_BAND_HZ = (4000.0, 10000.0)  # where a sibilant's power lies


@dataclass(frozen=True, slots=True)
class Room:
    """A room: reverberation time (0 for none), direct-to-reverberant ratio, and pre-delay of the tail.

    12 dB suits a microphone 15 to 30 cm from the mouth in an ordinary room (own estimate from a critical distance of
    about 1 m: 20 log10(1 / 0.25) = 12).
    """

    t60_s: float = 0.0
    direct_to_reverberant_db: float = 12.0
    predelay_s: float = 0.004

    def __post_init__(self) -> None:
        if self.t60_s < 0 or self.predelay_s < 0:
            raise ValueError("a room needs a reverberation time and pre-delay of zero or more")


def room_response(room: Room, rate_hz: int, seed: int | np.random.Generator) -> Floats:
    """Impulse response: a unit direct sound, then Gaussian noise decaying by 60 dB in ``t60_s``.

    The tail's energy is exactly ``direct_to_reverberant_db`` below the direct sound's; above 2 kHz it decays up to
    twice as fast (air and soft surfaces) by mixing a slow low band with a fast high one.
    """
    from scipy.signal import butter, sosfilt

    if room.t60_s == 0:
        return np.ones(1)
    rng = np.random.default_rng(seed)
    delay = int(room.predelay_s * rate_hz)
    n = int(room.t60_s * rate_hz)
    t = np.arange(n) / rate_hz
    noise = rng.standard_normal(n)
    low = sosfilt(butter(2, 2000.0, fs=rate_hz, output="sos"), noise)
    tail = low * 10 ** (-3 * t / room.t60_s) + (noise - low) * 10 ** (-3 * t / (0.7 * room.t60_s))
    tail *= np.sqrt(10 ** (-room.direct_to_reverberant_db / 10) / np.sum(tail**2))
    return np.concatenate([[1.0], np.zeros(max(0, delay - 1)), tail])


def reverberated(x: Floats, room: Room, rate_hz: int, seed: int | np.random.Generator) -> Floats:
    """Return x (n,) as heard in the room, cut to its own length."""
    from scipy.signal import oaconvolve

    if room.t60_s == 0:
        return x
    return np.asarray(oaconvolve(x, room_response(room, rate_hz, seed))[: x.size])


def room_power(frequency_hz: Floats) -> Floats:
    """Power density of quiet-room noise: falling 9 dB an octave to a flat hiss 35 dB below its low end."""
    f = np.maximum(np.asarray(frequency_hz, dtype=np.float64), 1.0)
    return np.asarray((f / 60) ** 2 / (1 + (f / 60) ** 2) * (1 / (1 + (f / 150.0) ** 2.2) + 10**-3.5))


def background(n: int, rate_hz: int, band_level_db: float, seed: int | np.random.Generator) -> Floats:
    """Room noise (n,) whose expected level over 4 to 10 kHz is ``band_level_db`` (dB re full scale RMS)."""
    top = min(SNR_BAND_HZ[1], 0.48 * rate_hz)
    f = np.arange(1.0, 0.5 * rate_hz, 5.0)
    power = room_power(f)
    share = power[(f >= SNR_BAND_HZ[0]) & (f <= top)].sum() / power.sum()
    whole = 10 ** (band_level_db / 20) / np.sqrt(share)
    rng = np.random.default_rng(seed)
    return np.asarray(_long_noise(n, rate_hz, rng) * whole)


def _long_noise(n: int, rate_hz: int, rng: np.random.Generator) -> Floats:
    """Unit room noise of any length: 10 s blocks joined by 20 ms power-preserving cross-fades."""
    block, fade = 10 * rate_hz, rate_hz // 50
    if n <= block:
        return shaped_noise(room_power, n, rate_hz, rng)
    out = np.zeros(n)
    up = np.sin(np.pi / 2 * (np.arange(fade) + 0.5) / fade)
    for start in range(0, n, block - fade):
        size = min(block, n - start)
        piece = shaped_noise(room_power, size, rate_hz, rng)
        if start:
            piece[: min(fade, size)] *= up[: min(fade, size)]
        if start + size < n:
            piece[-fade:] *= up[::-1]
        out[start : start + size] += piece
    return out


def breath(rate_hz: int, level: float, rng: np.random.Generator) -> Floats:
    """Audible breath: 0.25 to 0.6 s of broad soft noise with slow ramps; ``level`` is its RMS."""
    length = float(rng.uniform(0.25, 0.6))
    shape = SibilantShape(
        (Hump(1400 * rng.uniform(0.8, 1.2), 700), Hump(3200, 1500, -6.0), Hump(7000, 3500, -13.0)), -22.0
    )
    return _noise(shape, Envelope(0.0, length, 0.4 * length, 0.45 * length), rate_hz, level, rng)


def cough(rate_hz: int, level: float, rng: np.random.Generator) -> Floats:
    """Cough: one to three bursts of broad noise with a voiced-like end."""
    parts: list[Floats] = []
    for _ in range(int(rng.integers(1, 4))):
        length = float(rng.uniform(0.12, 0.25))
        shape = SibilantShape((Hump(900, 500), Hump(2500, 1200, -3.0), Hump(5500, 2500, -9.0)), -15.0)
        noise = _noise(shape, Envelope(0.0, length, 0.008, 0.8 * length), rate_hz, level, rng)
        t = np.arange(noise.size) / rate_hz
        pitch = rng.uniform(150, 350)
        noise += 0.6 * level * np.sin(2 * np.pi * pitch * t) * np.exp(-(((t - 0.6 * length) / (0.15 * length)) ** 2))
        parts += [noise, np.zeros(int(rng.uniform(0.03, 0.1) * rate_hz))]
    return np.concatenate(parts[:-1])


def click(rate_hz: int, level: float, rng: np.random.Generator) -> Floats:
    """Click of a mouse or button: two damped resonances within 40 ms; ``level`` is the peak."""
    t = np.arange(int(0.05 * rate_hz)) / rate_hz
    out = np.zeros(t.size)
    for start in (0.0, float(rng.uniform(0.008, 0.03))):
        u = np.maximum(0.0, t - start)
        for _ in range(3):
            out += (
                (t >= start) * np.exp(-u / rng.uniform(0.0008, 0.003)) * np.sin(2 * np.pi * rng.uniform(1500, 7000) * u)
            )
    return np.asarray(out * level / np.max(np.abs(out)))


def scrape(rate_hz: int, level: float, rng: np.random.Generator) -> Floats:
    """Chair scrape: 0.2 to 0.6 s of rough mid-band noise with stick-slip modulation; ``level`` is its RMS."""
    length = float(rng.uniform(0.2, 0.6))
    shape = SibilantShape((Hump(700, 250), Hump(1800, 500, -4.0), Hump(4200, 1500, -10.0)), -20.0)
    noise = _noise(shape, Envelope(0.0, length, 0.05, 0.08), rate_hz, level, rng)
    t = np.arange(noise.size) / rate_hz
    return np.asarray(noise * (1 + 0.8 * np.sin(2 * np.pi * rng.uniform(25, 60) * t)))


def _noise(shape: SibilantShape, envelope: Envelope, rate_hz: int, level: float, rng: np.random.Generator) -> Floats:
    n = int((envelope.end_s - envelope.start_s) * rate_hz)
    return shaped_noise(shape.power, n, rate_hz, rng) * envelope.gain(np.arange(n) / rate_hz) * level


@dataclass(frozen=True, slots=True)
class DeviceCurve:
    """Response of an invented microphone: (frequency_hz, gain_db) points joined straight, flat beyond the ends."""

    points: tuple[tuple[float, float], ...]

    def gain_db(self, frequency_hz: Floats) -> Floats:
        """Gain at frequencies (m,) in dB."""
        known = np.array(self.points)
        return np.asarray(np.interp(frequency_hz, known[:, 0], known[:, 1]))


def through_device(spoken: Spoken, curve: DeviceCurve) -> Spoken:
    """Return the recording as an invented microphone hears it (a linear-phase filter of 513 taps, delay removed)."""
    from scipy.signal import firwin2, oaconvolve

    nyquist = 0.5 * spoken.sampling_rate_hz
    f = np.linspace(0.0, nyquist, 257)
    taps = firwin2(513, f, 10 ** (curve.gain_db(f) / 20), fs=spoken.sampling_rate_hz)
    heard = oaconvolve(spoken.samples.astype(np.float64), taps, mode="same")
    return Spoken(heard.astype(np.float32), spoken.sampling_rate_hz, spoken.truth)
