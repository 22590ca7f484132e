"""A whistled /s/ keeps its spectrum: its narrow ridge is not taken for the recording's bandwidth."""

from __future__ import annotations

import numpy as np
import pytest

from sibilant.audio import recording_from_samples
from sibilant.lexicon import builtin_list
from sibilant.pipeline import analyse
from sibilant.synthetic.clients import invented_clients, story_take


@pytest.mark.parametrize("number", [1, 5])
def test_the_whistling_client_is_measured_to_15_khz(number: int) -> None:
    story = next(one for one in invented_clients() if one.code == "C-A83L")
    session = story.sessions[number - 1]
    prompts = [p for listed in session.lists for p in builtin_list(listed)]
    spoken = story_take(story, session, prompts).spoken
    found = analyse(recording_from_samples(np.asarray(spoken.samples), spoken.sampling_rate_hz), prompts)
    measured = [one for one in found.measurements if "centroid_hz" in one.measures.values]
    assert len(measured) >= 0.9 * len(prompts)
    assert found.suitability.verdict.moments["house-15k"] == "usable"
