"""Ages as the trade writes them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sibilant.errors import UsageError
from sibilant.ranges import age_words, read_age


@pytest.mark.parametrize(
    ("text", "months"),
    [("7y4m", 88), ("7;4", 88), ("7;0", 84), ("7y", 84), ("7", 84), ("88m", 88), (" 7Y4M ", 88), ("34y", 408),
     ("7;11", 95), ("0;9", 9), ("17y11m", 215), ("7y4", 88)],
)  # fmt: skip
def test_ages(text: str, months: int) -> None:
    assert read_age(text) == months


@pytest.mark.parametrize("text", ["", "x", "7;12", "7y13m", "-3", "7.5", "7,4", "seven", ";4", "999y", "7;4;2", "m"])
def test_what_is_no_age(text: str) -> None:
    with pytest.raises(UsageError, match="7y4m"):
        read_age(text)


@given(st.integers(0, 1400))
def test_round_trip(months: int) -> None:
    assert read_age(age_words(months)) == months
