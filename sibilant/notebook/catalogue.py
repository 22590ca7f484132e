"""What there is to choose from goes out as data frames: methods, word lists, published values that fit a question."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, TypedDict, Unpack

from .. import lexicon, methods
from ..clinic import compare
from ..tables import Column, Row, as_frame

if TYPE_CHECKING:
    import pandas as pd

    from ..clinic.caseload import CaseloadHandle

METHODS = (
    Column("method", "string", "Name and version, as tables carry it"),
    Column("name", "string", "What `method` takes"),
    Column("band_low_hz", "number", "Where the band begins", "Hz", 0),
    Column("band_high_hz", "number", "Where the band ends", "Hz", 0),
    Column("weighting", "string", "What the moments are weighted by"),
    Column("average", "string", "Whether spectra or moments of several windows are averaged"),
    Column("taper", "string", "Taper of each window"),
    Column("noise", "string", "Whether the noise of the pauses is taken out"),
    Column("published", "string", "yes for a protocol of the literature"),
    Column("citation", "string", "Where it comes from"),
)
LISTS = (
    Column("list", "string", "What `words` takes"),
    Column("prompt_index", "integer", "Place in the list, from 1"),
    Column("prompt", "string", "What is said"),
    Column("level", "string", "Practice level"),
    Column("target", "string", "Phone that the list is for"),
    Column("phones", "string", "Phones expected, in ARPABET"),
    Column("sibilants", "string", "Sibilants expected among them"),
    Column("note", "string", "What the list is for"),
)
RANGES = (
    Column("measure", "string", "Key of the measure"),
    Column("fits", "string", "yes where the value may be set beside what was asked"),
    Column("figures", "string", "The value in words"),
    Column("mean", "number", "Mean, in the measure's unit"),
    Column("sd_between_speakers", "number", "SD between speakers, in the measure's unit"),
    Column("lowest", "number", "Lowest speaker, or the lower edge the source gives"),
    Column("highest", "number", "Highest speaker, or the upper edge the source gives"),
    Column("unit", "string", "Unit of the figures"),
    Column("phone", "string", "Sound"),
    Column("population", "string", "Who was measured"),
    Column("n_speakers", "integer", "How many speakers"),
    Column("circumstances", "string", "Place in the word, level, cue"),
    Column("method_words", "string", "How it was measured"),
    Column("source", "string", "Citation"),
    Column("label", "string", "How the value was had: read, computed, from memory"),
    Column("why_not", "string", "Reasons why it does not fit"),
)


class RangesAsked(TypedDict, total=False):
    """What may be asked of published values beside the measure; all as a person types it."""

    phone: str
    age: str
    group: str
    position: str
    cluster: str
    level: str
    cue: str
    method: str
    bandwidth_hz: float
    dialect: str
    own_baseline: bool
    orientation: bool


def list_methods() -> pd.DataFrame:
    """House methods and published protocols, one row each.

    Returns
    -------
    DataFrame
        ``name`` is what ``method`` takes elsewhere.

    Notes
    -----
    docs/methods.md tells each with its equations and its source, which ``citation`` names.

    Examples
    --------
    >>> list_methods().query("name == 'house-15k'")["band_high_hz"].item()
    15000.0
    """
    rows: list[Row] = []
    for name in methods.method_names():
        one = methods.get_method(name)
        rows.append(
            {
                "method": one.label,
                "name": one.name,
                "band_low_hz": one.band_hz[0],
                "band_high_hz": one.band_hz[1],
                "weighting": one.weighting,
                "average": one.average,
                "taper": one.taper,
                "noise": one.noise,
                "published": "yes" if one.published else "no",
                "citation": one.citation,
            }
        )
    return as_frame(rows, METHODS)


def word_lists() -> pd.DataFrame:
    """Prompts of all built-in lists, one row each.

    Returns
    -------
    DataFrame
        ``list`` is what ``words`` takes elsewhere.

    Notes
    -----
    docs/words_expected.md tells what each list is for.

    Examples
    --------
    >>> listed = word_lists()
    >>> listed[listed["list"] == "core-a"]["prompt"].iloc[0]
    'seal'
    """
    return as_frame([row for name in lexicon.list_names() for row in _prompts(name)], LISTS)


def _prompts(name: str) -> list[Row]:
    return [
        {
            "list": name,
            "prompt_index": place,
            "prompt": prompt.text,
            "level": prompt.level,
            "target": prompt.target,
            "phones": " ".join(prompt.phones),
            "sibilants": " ".join(slot.phone for slot in prompt.slots),
            "note": lexicon.list_note(name),
        }
        for place, prompt in enumerate(lexicon.builtin_list(name), start=1)
    ]


def find_ranges(
    measure: str = "", *, caseload: CaseloadHandle | None = None, **asked: Unpack[RangesAsked]
) -> pd.DataFrame:
    """Published values that fit a question, and those that don't with the reasons.

    Parameters
    ----------
    measure : str
        Key of ``MEASURES``; every measure that values are held for without it.
    caseload : CaseloadHandle, optional
        Where the user's own ranges are kept, to be asked too.
    **asked : RangesAsked
        Of whom and how: ``phone`` (``"s"`` without it), ``age`` (``"7y4m"``), ``group`` (``"f"`` or ``"m"``),
        ``position``, ``cluster``, ``level``, ``cue``, ``method``, ``bandwidth_hz`` (Hz), ``dialect``.

    Returns
    -------
    DataFrame
        One row a value, those that fit first; figures of adults are never given for a child. A range is what was
        measured of others, never a verdict.

    Raises
    ------
    UsageError
        When an age, group, phone or measure can't be understood.

    Notes
    -----
    docs/ranges.md holds every value with its source and how it was had; ``source`` and ``label`` are its columns.

    Examples
    --------
    >>> found = find_ranges("centroid_hz", age="7y4m", group="f")
    >>> set(found["fits"]), found["why_not"].ne("").all()
    ({'no'}, np.True_)
    """
    document = compare.list_ranges(compare.RangesRequest(measure=measure, **asked), caseload=caseload)
    fitting = [_cells(row, "yes", "") for answer in document["answers"] for row in answer["fits"]]
    refused = [
        _cells(row, "no", "; ".join(reason["text"] for reason in row["reasons"]))
        for answer in document["answers"]
        for row in answer["refused"]
    ]
    found = as_frame([*fitting, *refused], RANGES)
    found.attrs["sentences"] = [answer["sentence"] for answer in document["answers"]]
    return found


def _cells(row: Mapping[str, object], fits: str, why_not: str) -> Row:
    """Cells of a reference value's row, whether it fits, and why not."""
    plain = {name: value for name, value in row.items() if value is None or isinstance(value, str | int | float)}
    return {**plain, "fits": fits, "why_not": why_not}
