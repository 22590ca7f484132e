"""Two probes by ear: named by their days, whatever the microphone; what nobody stated is asked, not held against it."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import pytest

from sibilant.progress import view
from sibilant.terms.change import WITHIN
from sibilant.terms.clinic import Case
from sibilant.terms.kept import KeptToken

KEY = "centroid_hz"


def heard_case(material: ModuleType, right: list[int | None], **of_session: dict[int, object]) -> Case:
    """A case with so many words of 20 judged correct in each probe (None: not judged); changes by session number."""
    numbers = range(1, len(right) + 1)
    changed = {n: {name: by[n] for name, by in of_session.items() if n in by} for n in numbers}
    case = material.case([6000.0] * len(right), sessions=[material.session(n, **changed[n]) for n in numbers])
    return replace(case, tokens=tuple(_judged(material, token, right[token.session - 1]) for token in case.tokens))


def _judged(material: ModuleType, token: KeptToken, n_right: int | None) -> KeptToken:
    if n_right is None:
        return replace(token, judgements=())
    heard = "correct" if token.prompt_index <= n_right else "distorted"
    return replace(token, judgements=(material.judgement(token.key, heard),))


def test_a_rise_heard_over_another_microphone_is_told_with_its_days(material: ModuleType) -> None:
    """From 0 of 20 to 18 of 20, the last probes on another device: told as 18 gained, not as "0 gained and 0 lost"."""
    gained = view(heard_case(material, [0, 0, 0, 0, 12, 18], device={5: "clip-on", 6: "clip-on"})).gained
    assert (gained.n_same, gained.gained, gained.lost) == (20, 18, 0)
    assert (gained.early_on, gained.late_on) == (material.session(1).on, material.session(6).on)


def test_an_unjudged_last_probe_leaves_the_days_of_those_that_were_judged(material: ModuleType) -> None:
    gained = view(heard_case(material, [0, 0, 0, 9, None])).gained
    assert gained.late_on == material.session(4).on and gained.gained == 9


def test_another_level_or_cue_is_not_set_beside_by_ear(material: ModuleType) -> None:
    assert view(heard_case(material, [0, 0, 0, 18], cue={4: "model"})).gained is None
    found = view(heard_case(material, [0, 0, 0, 18], cue={1: "model"})).gained
    assert found.early_session == 2


@pytest.mark.parametrize(("narrow_hz", "said"), [(4000.0, True), (7000.0, True), (15000.0, False), (20000.0, False)])
def test_recordings_of_unlike_bandwidth_are_compared_with_that_caution(
    material: ModuleType, narrow_hz: float, said: bool
) -> None:
    case = heard_case(material, [0, 0, 0, 18])
    narrow = tuple(
        replace(t, measurements={k: replace(one, bandwidth_hz=narrow_hz) for k, one in t.measurements.items()})
        if t.session == 4
        else t
        for t in case.tokens
    )
    gained = view(replace(case, tokens=narrow)).gained
    assert gained.gained == 18  # a caution, never a refusal
    assert any("not heard live" in one for one in gained.cautions) is said


def test_unlike_ways_of_having_the_words_are_said(material: ModuleType) -> None:
    found = view(heard_case(material, [0, 0, 0, 18], elicited={1: "picture", 2: "picture", 4: "repetition"}))
    assert any("picture in sessions 1, 2; repetition in session 4" in one for one in found.joins)
    assert any("unlike ways" in one for one in found.gained.cautions)
    alike = view(heard_case(material, [0, 0, 0, 18], elicited={1: "picture", 4: "picture"}))
    assert not alike.gained.cautions and not any("unlike ways" in one for one in alike.joins)


@pytest.mark.parametrize(("field", "stated"), [("device", "desk"), ("cue", "spontaneous")])
def test_not_stated_is_one_question_and_no_difference(material: ModuleType, field: str, stated: str) -> None:
    """One forgotten device made a year "cannot be judged"."""
    found = view(heard_case(material, [0, 0, 0, 0, 0], **{field: {1: "", 4: ""}}))
    assert all(one.joined for one in found.summaries)
    assert [change.verdict for change in found.changes_of(KEY)] == [WITHIN, WITHIN]
    asked = [one for one in found.questions if one.startswith(f"{field} not stated")]
    assert len(asked) == 1 and "sessions 1, 4" in asked[0] and stated in asked[0]


def test_a_stated_other_device_stays_apart_beside_one_not_stated(material: ModuleType) -> None:
    found = view(heard_case(material, [0, 0, 0, 0, 0], device={1: "", 5: "clip-on"}))
    assert [one.joined for one in found.summaries] == [True, True, True, True, False]
    assert "another device (clip-on, was desk)" in found.summaries[-1].apart[0]
