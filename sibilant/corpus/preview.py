"""A dry run: what would be measured, and why the rest would not."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ..errors import InputError
from ..methods import supports
from ..terms import Recording
from .manifest import planned
from .request import CorpusRequest, Piece, Plan


def preview(order: CorpusRequest) -> list[str]:
    """Say of each recording what would be measured, or why it can't be; nothing is measured or written.

    Raises
    ------
    InputError
        When the corpus can't be read as one.
    """
    plan = planned(order)
    lines: list[str] = []
    n_ready = 0
    for piece in plan.pieces:
        ready, text = _said(piece, plan)
        n_ready += ready
        lines.append(f"{piece.recording}: {text}")
    lines += [f"{name}: passed over, its ending is not a sound file's" for name in plan.passed_over]
    methods = ", ".join(method.label for method in plan.methods)
    head = f"{n_ready} of {len(plan.pieces)} recordings would be measured under {methods}"
    return [head, *plan.notes, *lines]


def _said(piece: Piece, plan: Plan) -> tuple[bool, str]:
    from .. import audio

    if piece.problem:
        return False, f"not measured ({piece.problem})"
    try:
        recording = audio.read_recording(Path(piece.path), channel=piece.channel)
    except InputError as error:
        return False, f"not measured ({error})"
    late = [given for given in piece.given if given.interval.offset_s > recording.duration_s + 0.001]
    if late:
        return False, f"not measured (a marked stretch ends at {late[0].interval.offset_s} s, after the recording)"
    return True, "; ".join([_asked(piece), *_limits(recording, plan)])


def _asked(piece: Piece) -> str:
    if piece.marked and not piece.prompts:
        return f"{len(piece.given)} marked stretches"
    if piece.prompts:
        n_slots = sum(len(prompt.slots) for prompt in piece.prompts)
        guesses = [word.spelling for prompt in piece.prompts for word in prompt.words if word.guessed]
        told = f"; said as guessed, so never more than unsure: {', '.join(dict.fromkeys(guesses))}" if guesses else ""
        marked = f", {len(piece.given)} marked stretches" if piece.marked else ""
        return f"{n_slots} sibilants expected in {len(piece.prompts)} prompts{marked}{told}"
    return "no prompts: every sibilant found"


def _limits(recording: Recording, plan: Plan) -> Iterator[str]:
    """Methods whose band the sampling rate alone rules out."""
    half = recording.sampling_rate_hz / 2
    for method in plan.methods:
        if not supports(method, recording.sampling_rate_hz, half):
            yield f"no spectral measures under {method.label}: {recording.sampling_rate_hz} Hz is too low a rate"
