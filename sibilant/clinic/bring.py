"""Bring in a recording that was made elsewhere: a first look that keeps nothing, then kept as any probe is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from .. import audio, store
from ..errors import ChannelsError, SibilantError, UsageError
from ..listening.check import check_sound
from ..prompts import list_form
from .caseload import CaseloadHandle, opened
from .heard import ProbeResult
from .probe import ProbeRequest, keep_probe

Files = Sequence[tuple[str, bytes]]
SHORTEST_S_A_WORD = 0.8  # own choice, told where it is asked about


def first_look(
    caseload: CaseloadHandle, files: Files, *, n_words: int = 0, channel: int | None = None
) -> dict[str, Any]:
    """Say of each file what it can support and whether it was kept before; nothing is kept.

    ``n_words``: how many words the list asks; recordings too short for it (under 0.8 s a word, own choice) are asked
    about.
    """
    rows = [_row(caseload, name, content, channel) for name, content in files]
    seconds = sum(row["duration_s"] for row in rows if not row["error"])
    short = n_words > 1 and 0 < seconds < SHORTEST_S_A_WORD * n_words
    asked = f"{seconds:.0f} s are short for the {n_words} words of this list; is it the right list?" if short else ""
    return {"files": rows, "asked": asked}


def _row(caseload: CaseloadHandle, name: str, content: bytes, channel: int | None) -> dict[str, Any]:
    found: dict[str, Any] = {"name": name, "error": "", "duration_s": 0.0, "verdict": {}, "remedies": []}
    found["channels_differ"] = False
    try:
        recording = audio.recording_from_bytes(content, name, channel=channel)
        with opened(caseload) as one:
            store.refuse_kept(one, [recording.source.sha256])
        checked = check_sound(recording, name)
    except SibilantError as error:
        told = str(error).removeprefix(f"{name}: ")
        return {**found, "error": told, "channels_differ": isinstance(error, ChannelsError)}
    return {**found, **{key: checked[key] for key in ("duration_s", "sampling_rate_hz", "verdict", "remedies")}}


def bring_in(caseload: CaseloadHandle, code: str | None, files: Files, request: ProbeRequest) -> ProbeResult:
    """Keep files as one session, in their order; see :func:`keep_probe`, which asks where there is doubt.

    Raises
    ------
    UsageError
        When there is no file.
    """
    if not files:
        raise UsageError("no recording given; choose one or more sound files")
    recordings = [audio.recording_from_bytes(content, name, channel=request.channel) for name, content in files]
    form = request.form or list_form(request.words, request.prompts)
    return keep_probe(caseload, code, replace(request, recordings=recordings, form=form))
