"""Tokens go to text and come back the same, whatever they hold; client codes notice slips."""

from __future__ import annotations

from types import ModuleType

from hypothesis import given, settings
from hypothesis import strategies as st

from sibilant.store.encode import (
    load,
    measured_text,
    method_from,
    method_text,
    observed_text,
    prompt_from,
    prompt_text,
    token_from,
)
from sibilant.terms import (
    Edge,
    Interval,
    Measures,
    Method,
    Prompt,
    SibilantInterval,
    SibilantSlot,
    Token,
    Utterance,
    Window,
    Word,
)
from sibilant.terms.clinic import CODE_LETTERS, check_letter, is_client_code
from sibilant.terms.vocabulary import CUES, LEVELS

NUMBER = st.floats(allow_nan=False, allow_infinity=False, width=64)
TEXT = st.text(st.characters(blacklist_categories=("Cs",)), max_size=12)
VALUES = st.dictionaries(st.sampled_from(["centroid_hz", "sd_hz", "duration_ms", "x"]), NUMBER, max_size=4)
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
def tokens(draw: st.DrawFn) -> Token:
    prompt, slot = draw(PROMPTS), draw(st.none() | SLOTS)
    voice = draw(st.sampled_from(["client", "other", "unsure"]))
    index = draw(st.integers(1, 99))
    sure, counts, attempt = draw(st.booleans()), draw(st.booleans()), draw(st.integers(1, 5))
    spoken = Utterance(prompt, index, attempt, draw(intervals()), draw(NUMBER), voice, sure, counts)
    sound = SibilantInterval(
        slot, draw(intervals()), draw(intervals()), draw(EDGES), draw(EDGES), draw(NUMBER), draw(FLAGS)
    )
    return Token(
        "k", spoken, "found", slot, draw(st.none() | st.just(sound)), draw(st.none() | MEASURED), draw(METHODS),
        draw(TEXT), index, draw(st.none() | NUMBER), draw(st.none() | NUMBER), draw(FLAGS),
    )  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(tokens())
def test_a_token_comes_back_the_same(token: Token) -> None:
    assert token.utterance is not None and token.utterance.prompt is not None and token.method is not None
    prompt = prompt_from(prompt_text(token.utterance.prompt))
    method = method_from(method_text(token.method))
    row = {"key": "k", "finding": "found", "prompt_index": token.prompt_index}
    assert token_from(row, load(observed_text(token)), prompt, measured_text(token), method) == token


def test_a_value_that_is_no_number_is_left_out(material: ModuleType) -> None:
    token = material.token(0, {"centroid_hz": float("nan"), "sd_hz": 900.0})
    assert load(measured_text(token))["measures"]["values"] == {"sd_hz": 900.0}


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
