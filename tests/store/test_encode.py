"""Tokens go to text and come back the same, whatever they hold; client codes notice slips."""

from __future__ import annotations

from collections.abc import Mapping
from types import ModuleType

from hypothesis import given, settings
from hypothesis import strategies as st

from sibilant.store.encode import (
    kept_number,
    measured_text,
    method_from,
    method_text,
    observed_text,
    prompt_from,
    prompt_text,
    read_measured,
    sound_from,
)
from sibilant.terms import (
    MEASURES,
    NOT_MEASURED,
    Edge,
    Interval,
    Measurement,
    Measures,
    Method,
    Prompt,
    SibilantInterval,
    SibilantSlot,
    Sound,
    Utterance,
    Window,
    Word,
)
from sibilant.terms.codes import CODE_LETTERS, check_letter, is_client_code
from sibilant.terms.vocabulary import CUES, FINDINGS, LEVELS

NUMBER = st.floats(allow_nan=False, allow_infinity=False, width=64)
TEXT = st.text(st.characters(blacklist_categories=("Cs",)), max_size=12)
VALUES = st.dictionaries(st.sampled_from(["centroid_hz", "sd_hz", "duration_ms", "skewness"]), NUMBER, max_size=4)
FLAGS = st.lists(TEXT, max_size=3).map(tuple)


@st.composite
def intervals(draw: st.DrawFn) -> Interval:
    first, second = sorted([draw(st.floats(0, 1e4)), draw(st.floats(0, 1e4))])
    return Interval(first, second)


SLOTS = st.builds(
    SibilantSlot, st.sampled_from(["S", "Z", "SH"]), st.integers(1, 9), st.sampled_from(["initial", "medial", "final"]),
    TEXT, st.integers(0, 9), st.integers(0, 99), TEXT, TEXT, TEXT, st.booleans(), TEXT, TEXT,
)  # fmt: skip
EDGES = st.builds(Edge, NUMBER, st.sampled_from(["silence", "voiced"]), NUMBER, NUMBER, st.booleans())
PROMPTS = st.builds(
    Prompt, TEXT, st.lists(st.builds(Word, TEXT, FLAGS), max_size=3).map(tuple), st.lists(SLOTS, max_size=3).map(tuple),
    st.sampled_from(["", *LEVELS]), st.sampled_from(["", *CUES]), TEXT, st.none() | st.booleans(), TEXT,
)  # fmt: skip
METHODS = st.builds(
    Method, TEXT, st.integers(1, 9), st.just((1000.0, 15000.0)),
    st.just((Window("share", share=0.5), Window("onset", 5.0, 20.0))), unknown=FLAGS,
)  # fmt: skip
MEASURED = st.builds(
    Measures, VALUES, VALUES, VALUES, VALUES, FLAGS, st.none() | intervals(), st.integers(0, 99),
    st.none() | st.just((1.0, 2.0)), st.integers(0, 96000),
)  # fmt: skip


@st.composite
def sounds(draw: st.DrawFn) -> Sound:
    prompt, slot = draw(PROMPTS), draw(st.none() | SLOTS)
    voice = draw(st.sampled_from(["client", "other", "unsure"]))
    index = draw(st.integers(1, 99))
    sure, counts, attempt = draw(st.booleans()), draw(st.booleans()), draw(st.integers(1, 5))
    spoken = Utterance(prompt, index, attempt, draw(intervals()), draw(NUMBER), voice, sure, counts)
    edges = SibilantInterval(
        slot, draw(intervals()), draw(intervals()), draw(EDGES), draw(EDGES), draw(NUMBER), draw(FLAGS)
    )
    place = draw(st.none() | intervals())
    probability = draw(st.floats(0, 1)) if place is not None else None
    return Sound(
        "k", draw(st.sampled_from(list(FINDINGS))), spoken, slot, draw(st.none() | st.just(edges)), place, probability,
        draw(TEXT), index,
    )  # fmt: skip


MEASUREMENTS = st.builds(
    Measurement, st.just("k"), METHODS, st.just(NOT_MEASURED) | MEASURED, st.none() | NUMBER, st.none() | NUMBER, FLAGS
)


@settings(max_examples=100, deadline=None)
@given(sounds())
def test_a_sound_comes_back_the_same(sound: Sound) -> None:
    assert sound.utterance is not None and sound.utterance.prompt is not None
    prompt = prompt_from(prompt_text(sound.utterance.prompt))
    row = {"key": "k", "finding": sound.finding, "prompt_index": sound.prompt_index, "observed": observed_text(sound)}
    assert sound_from(row, prompt) == sound


def printed_alike(kept: Mapping[str, float], was: Mapping[str, float]) -> bool:
    """Whether figures are the same as tables print them, and two digits beyond."""
    for key, value in was.items():
        decimals = MEASURES[key].decimals
        same = round(kept[key], decimals) == round(value, decimals)
        if not same or abs(kept[key] - value) > max(10.0 ** -(decimals + 2), abs(value) * 1e-15):
            return False
    return kept.keys() == was.keys()


@settings(max_examples=100, deadline=None)
@given(MEASUREMENTS)
def test_a_measurement_comes_back_as_it_is_printed(measured: Measurement) -> None:
    method = method_from(method_text(measured.method))
    back = Measurement("k", method, *read_measured(measured_text(measured)))
    for part in ("values", "low", "high", "boundary"):
        assert printed_alike(getattr(back.measures, part), getattr(measured.measures, part))
    one, was = back.measures, measured.measures
    assert (one.flags, one.n_frames, one.band_hz) == (was.flags, was.n_frames, was.band_hz)
    assert (back.method, back.bandwidth_hz, back.flags) == (method, measured.bandwidth_hz, measured.flags)
    again = Measurement("k", method, *read_measured(measured_text(back)))
    assert again == back, "what is kept is kept the same again"


@settings(max_examples=200, deadline=None)
@given(st.floats(-1e5, 1e5), st.integers(0, 3))
def test_no_printed_digit_moves_by_what_is_kept(value: float, decimals: int) -> None:
    kept = kept_number(value, decimals)
    assert f"{kept:.{decimals}f}".lstrip("-") == f"{value:.{decimals}f}".lstrip("-")
    assert abs(kept - value) <= 1.01 * 10.0 ** -(decimals + 2)


def test_a_value_that_is_no_number_is_left_out(material: ModuleType) -> None:
    (measured,) = material.token(0, {"centroid_hz": float("nan"), "sd_hz": 900.0}).measurements.values()
    assert read_measured(measured_text(measured))[0].values == {"sd_hz": 900.0}


@given(st.text(CODE_LETTERS, min_size=3, max_size=3), st.integers(0, 3), st.sampled_from(CODE_LETTERS))
def test_every_single_slip_in_a_code_is_noticed(three: str, place: int, letter: str) -> None:
    """By arithmetic: weights differ, none is 0 or 36 modulo 37."""
    last = check_letter(three)
    if last is None:
        return
    body = three + last
    assert is_client_code(f"C-{body}")
    slipped = body[:place] + letter + body[place + 1 :]
    assert slipped == body or not is_client_code(f"C-{slipped}")
    if place < 3 and body[place] != body[place + 1]:
        swapped = body[:place] + body[place + 1] + body[place] + body[place + 2 :]
        assert not is_client_code(f"C-{swapped}")
