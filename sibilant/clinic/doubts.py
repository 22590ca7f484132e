"""What is asked before a probe is kept: whether the list is the one that was spoken, and whose voice came first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..errors import QuestionError
from .heard import HeardRecording

SURE_SHARE = 0.75  # fewer sure words than this ask whether the list is right; own choice
FEWEST_MISSING = 4  # fewer missing words ask nothing
MODEL_SHARE = 0.5  # words that another voice began, from which on a model is asked about


def heard_for_sure(heard: Sequence[HeardRecording]) -> tuple[int, int]:
    """Count the prompts heard for sure in some voice that may be the client's, and those asked."""
    sure = sum(
        len({said.prompt_index for said in each.analysis.utterances if said.sure and said.voice != "other"})
        for each in heard
    )
    return sure, sum(len(each.places) for each in heard)


def said_before(heard: Sequence[HeardRecording]) -> tuple[int, int]:
    """Count the prompts that another voice said before the last attempt at them, and those asked.

    Another voice: labelled so, or its pitch is 0.18 octaves or more from the last attempt's, to the side on which most
    such pairs lie; what a client says twice alike is no pair of voices.
    """
    from ..words.voices import APART_OCT

    apart = [pair for each in heard for pair in _octaves_apart(each)]
    lower, higher = (sum(sign * octave >= APART_OCT for octave in apart) for sign in (-1, 1))
    return max(lower, higher), sum(len(each.places) for each in heard)


def _octaves_apart(each: HeardRecording) -> list[float]:
    """Pitch of the first attempt at each prompt over that of the last, in octaves; NaN where it is not known."""
    from ..words.voices import pitch_of

    by_prompt: dict[int, list[tuple[float, float]]] = {}
    for said in sorted(each.analysis.utterances, key=lambda one: one.interval.onset_s):
        if said.prompt_index:
            by_prompt.setdefault(said.prompt_index, []).append((said.interval.onset_s, said.interval.offset_s))
    pairs = [(spoken[0], spoken[-1]) for spoken in by_prompt.values() if len(spoken) > 1]
    if not pairs:
        return []
    octave = pitch_of(each.recording, [piece for pair in pairs for piece in pair]).octave
    return [float(apart) for apart in octave[0::2] - octave[1::2] if np.isfinite(apart)]


def model_came_first(heard: Sequence[HeardRecording]) -> bool:
    """Whether another voice came before at least half of the words (own choice)."""
    before, asked = said_before(heard)
    return asked > 0 and before >= max(2, MODEL_SHARE * asked)


def ask_about_model(heard: Sequence[HeardRecording]) -> None:
    """Ask whether what another voice said before most of the words was a model.

    Raises
    ------
    QuestionError
        When it did so before at least half of them.
    """
    if model_came_first(heard):
        before, asked = said_before(heard)
        raise QuestionError(
            f"another voice came before {before} of {asked} words; was that a model? Words after a model stand on a"
            " line of their own, apart from spontaneous ones",
            ("modelled", "anyway"),
            "If it was, say --modelled; if not, --anyway keeps them as they are",
        )


def ask_about_list(heard: Sequence[HeardRecording], listed: str) -> None:
    """Ask whether the list is the one that was spoken where too few of its words were heard.

    Raises
    ------
    QuestionError
        When fewer than three quarters, and four words fewer than asked, were heard for sure (own choice).
    """
    sure, asked = heard_for_sure(heard)
    if sure < SURE_SHARE * asked and asked - sure >= FEWEST_MISSING:
        raise QuestionError(
            f"only {sure} of the {asked} words of {listed} were heard for sure; is it the list that was spoken, and the"
            " right recording? Nothing was kept",
            ("anyway",),
            "--anyway keeps it all the same",
        )
