"""Recordings come in; what each can and cannot support, and what to do about it, goes out as rows and as lines."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TypedDict, final

from .. import audio
from ..errors import RecordingError
from ..terms import Recording
from ..terms.suitability import SignRow, SuitabilityRow


@final
class Checked(SuitabilityRow):
    """What one recording can support, as ``check --json`` prints it."""

    recording: str
    sampling_rate_hz: int
    duration_s: float


@final
class Unread(TypedDict):
    """Why a recording can't be read."""

    recording: str
    error: str


def check(recordings: Sequence[Path], *, channel: int | None = None) -> list[Checked | Unread]:
    """Return one object for each recording: its verdict, or why it can't be read.

    Raises
    ------
    RecordingError
        When none could be read.
    """
    checked = [_one(path, channel) for path in recordings]
    unread = [each["error"] for each in checked if "error" in each]
    if len(unread) == len(checked):
        raise RecordingError(unread[0] + (f" (and {len(checked) - 1} more)" if len(checked) > 1 else ""))
    return checked


def _one(path: Path, channel: int | None) -> Checked | Unread:
    try:
        recording = audio.read_recording(path, channel=channel)
    except RecordingError as error:
        return {"recording": path.name, "error": str(error)}
    return check_sound(recording, path.name)


def check_sound(recording: Recording, name: str) -> Checked:
    """Return what one recording in memory can and cannot support."""
    from ..pipeline import assess_alone

    assessed = assess_alone(recording)
    return {
        "recording": name,
        "sampling_rate_hz": recording.sampling_rate_hz,
        "duration_s": round(recording.duration_s, 3),
        **assessed.as_dict(),
    }


def lines(checked: Checked | Unread) -> list[str]:
    """Say the verdict of one recording in plain lines."""
    if "error" in checked:
        return [checked["error"]]
    verdict = checked["verdict"]
    said = [f"{checked['recording']}: {checked['duration_s']:.1f} s at {checked['sampling_rate_hz']} Hz"]
    moments = ", ".join(f"{name} {support}" for name, support in verdict["moments"].items())
    said.append(f"  durations {verdict['durations']} · levels {verdict['levels']} · comparison {verdict['comparison']}")
    said.append(f"  spectra: {moments}")
    said.append(f"  sibilants {checked['n_sibilants']} · {_figures(checked)}")
    for sign in checked["findings"]:
        said.append(f"  {_sign(sign)}")
    return said + [f"  → {remedy}" for remedy in checked["remedies"]]


def _figures(checked: Checked) -> str:
    bandwidth, snr = checked["effective_bandwidth_hz"], checked["snr_4_10khz_db"]
    return " · ".join(
        (
            "effective bandwidth unknown" if bandwidth is None else f"effective bandwidth {bandwidth:.0f} Hz",
            "no pause to judge the noise by" if snr is None else f"signal-to-noise at 4–10 kHz {snr:.0f} dB",
        )
    )


def _sign(sign: SignRow) -> str:
    value = "" if sign["value"] is None else f" {sign['value']:.4g} {sign['unit']}".rstrip()
    limit = "" if sign["threshold"] is None else f" (threshold {sign['threshold']:g}, {sign['source']})"
    spoils = f": {', '.join(sign['spoils'])} {sign['severity']}" if sign["spoils"] else ""
    return f"{sign['sign']}{value}{limit}{spoils}"
