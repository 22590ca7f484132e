"""The verb ``compare``: reference values for a question, a user's own added, and tokens measured again beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from .. import ranges
from ..errors import UsageError
from ..files import make_folder, write_text
from ..methods import get_method
from ..ranges import Question, TokenValue
from ..ranges.rows import AnswerRow as AnswerRow
from ..ranges.rows import NormsRow as NormsRow
from ..ranges.rows import RangeRow as RangeRow
from ..ranges.rows import RefusedRow as RefusedRow
from ..terms import MEASURES, Measurement, Recording, Sound
from ..terms.reference import Comparison, Reason, ReferenceRange
from .caseload import OWN_RANGES, CaseloadHandle


@dataclass(frozen=True, slots=True)
class RangesRequest:
    """What is asked of the tables, as a person types it; what is empty is not asked."""

    measure: str = ""
    phone: str = "s"
    age: str = ""
    group: str = ""
    position: str = ""
    cluster: str = ""
    level: str = ""
    cue: str = ""
    method: str = ""
    bandwidth_hz: float | None = None
    dialect: str = ""
    own_baseline: bool = False
    orientation: bool = False


class RangesFound(NormsRow):
    """Reference values as they were asked for, one answer a measure."""

    question: dict[str, Any]
    none_fits: bool
    answers: list[AnswerRow]


def list_ranges(asked: RangesRequest, *, caseload: CaseloadHandle | None = None) -> RangesFound:
    """Reference values that fit a question, or why none does, one answer a measure.

    Parameters
    ----------
    asked : RangesAsked
        What was given; ages as ``7y4m`` or ``7;4``.
    caseload : CaseloadHandle, optional
        Folder with the user's own ranges.

    Raises
    ------
    UsageError
        When an age, group, phone or measure can't be understood.
    MethodError
        When no method has that name.
    RangeError
        When the user's own ranges are damaged.

    Examples
    --------
    >>> document = list_ranges(RangesRequest(measure="centroid_hz", age="7y4m", group="f"))
    >>> document["answers"][0]["none_fits"]
    True
    """
    held = {row.measure for row in ranges.all_ranges() if row.use in ("value", "orientation")}
    own = own_ranges(caseload)
    held |= {row.measure for row in own}
    if asked.measure and asked.measure not in MEASURES:
        raise UsageError(f"measure {asked.measure!r} is not known; values are held for: {', '.join(sorted(held))}")
    if asked.method:
        get_method(asked.method)
    wanted = [asked.measure] if asked.measure else [key for key in MEASURES if key in held]
    found = [ranges.find(_question(asked, key), own=own) for key in wanted]
    norms = ranges.describe_norms(found[0]) if found else None
    return {
        "question": _echo(asked),
        "none_fits": all(each.none_fits for each in found),
        "answers": [ranges.describe_answer(each) for each in found],
        "acquisition": norms["acquisition"] if norms is not None else [],
        "acquisition_note": norms["acquisition_note"] if norms is not None else "",
    }


def add_ranges(given: Path, caseload: CaseloadHandle) -> tuple[ReferenceRange, ...]:
    """Check a user's own ranges and keep them in a folder, after those already there; return those added.

    Raises
    ------
    RangeError
        When the file can't be read or a row is incomplete; nothing is then kept.
    OutputError
        When the folder can't be written.
    """
    fresh = ranges.read_own_ranges(given)
    already = caseload.ranges()
    added = tuple(row for row in dict.fromkeys(fresh) if row not in already)
    if added:
        write_text(make_folder(caseload.folder) / OWN_RANGES, ranges.own_ranges_csv((*already, *added)))
    return added


def describe_ranges(rows: Sequence[ReferenceRange]) -> list[RangeRow]:
    """Reference values as plain rows, each with its source."""
    return [ranges.describe_range(row) for row in rows]


def own_ranges(caseload: CaseloadHandle | None) -> tuple[ReferenceRange, ...]:
    """Return the user's own ranges kept with a caseload; none without one."""
    return caseload.ranges() if caseload is not None else ()


def compare_sounds(
    recording: Recording,
    sounds: Sequence[Sound],
    measurements: Sequence[Measurement],
    question: Question,
    *,
    own: Sequence[ReferenceRange] = (),
) -> tuple[Comparison, ...]:
    """Measure sounds again under each fitting range's own method, and set their mean beside it.

    Parameters
    ----------
    recording : Recording
        What the sounds were found in.
    sounds : sequence of Sound
        Sounds of one speaker; those of other voices, attempts that don't count and unsure ones are left aside.
    measurements : sequence of Measurement
        What was measured of them; it stands where no range fits or a range hangs on no method.
    question : Question
        What is asked; the effective bandwidth is taken from the sounds where it is not given.
    own : sequence of ReferenceRange, optional
        Ranges that the user entered.

    Returns
    -------
    tuple of Comparison
        One for each range that fits, or a single one that says why none does.
    """
    counted, aside = _counted(sounds)
    by_id = {sound.id: sound for sound in counted}
    measured = [(by_id[one.sound_id], one) for one in measurements if one.sound_id in by_id]
    asked = replace(question, bandwidth_hz=question.bandwidth_hz or _bandwidth(measured), listing=False)
    answer = ranges.find(replace(asked, method="", n_tokens=5), own=own)
    if answer.none_fits:
        made = ranges.comparisons(token_values(measured, question.measure), asked, own=own)
    else:
        made = tuple(ranges.beside(row, _again(recording, measured, row), asked) for row in answer.fits)
    return tuple(replace(each, why=(*each.why, *aside)) for each in made)


Measured = tuple[Sound, Measurement | None]


def token_values(measured: Iterable[Measured], measure: str) -> list[TokenValue]:
    """Values of one measure with what decides whether they may be compared; a missing value stays, as NaN."""
    found = []
    for sound, one in measured:
        slot, spoken = sound.slot, sound.utterance
        if slot is None:
            continue
        prompt = spoken.prompt if spoken is not None else None
        value = one.value(measure) if one is not None else None
        found.append(
            TokenValue(
                value if value is not None else float("nan"),
                slot.phone,
                slot.position,
                slot.cluster,
                prompt.level if prompt is not None else "",
                prompt.cue if prompt is not None else "",
                one.method.label if one is not None else "",
                one.flags if one is not None else sound.flags,
            )
        )
    return found


def _again(
    recording: Recording, measured: Sequence[tuple[Sound, Measurement]], row: ReferenceRange
) -> list[TokenValue]:
    from ..pipeline import measure_again

    if not row.method:
        return token_values(measured, row.measure)
    sounds = list(dict.fromkeys(sound for sound, _ in measured))
    return token_values(zip(sounds, measure_again(recording, sounds, get_method(row.method)), strict=True), row.measure)


def _counted(sounds: Sequence[Sound]) -> tuple[list[Sound], tuple[Reason, ...]]:
    """Sounds that enter the figures, and why others do not, with counts."""
    kept: list[Sound] = []
    left: dict[str, int] = {}
    for sound in sounds:
        reason = _aside(sound)
        if reason:
            left[reason] = left.get(reason, 0) + 1
        else:
            kept.append(sound)
    return kept, tuple(Reason("left_out", f"{count} left out: {reason}") for reason, count in left.items())


def _aside(sound: Sound) -> str:
    spoken = sound.utterance
    if sound.finding != "found" or spoken is None:
        return sound.finding.replace("_", " ")
    if spoken.voice != "client":
        return "another voice" if spoken.voice == "other" else "whose voice it is has not been confirmed"
    return "" if spoken.counts else "not the attempt that counts"


def _bandwidth(measured: Sequence[tuple[Sound, Measurement]]) -> float | None:
    """Return the lower middle of the sounds' effective bandwidths, None where none is known."""
    known = sorted(one.bandwidth_hz for _, one in measured if one.bandwidth_hz is not None)
    return known[(len(known) - 1) // 2] if known else None


def _question(asked: RangesRequest, measure: str) -> Question:
    if asked.group not in ("", "f", "m"):
        raise UsageError(f"group {asked.group!r}: the reference group is f or m, or left out")
    if asked.position not in ("", "initial", "medial", "final"):
        raise UsageError(f"position {asked.position!r} is not initial, medial or final")
    return Question(
        measure,
        asked.phone,
        ranges.read_age(asked.age) if asked.age else None,
        ranges.read_group(asked.group),
        asked.position,
        asked.cluster,
        asked.level,
        asked.cue,
        asked.method,
        asked.bandwidth_hz,
        None,
        asked.dialect,
        asked.own_baseline,
        asked.orientation,
        listing=True,
    )


def _echo(asked: RangesRequest) -> dict[str, Any]:
    return {name: getattr(asked, name) for name in asked.__slots__ if getattr(asked, name) not in ("", None, False)}


def short_answer(document: RangesFound) -> list[str]:
    """What fits in two or three lines, or that none does, why, and what would make one fit.

    Parameters
    ----------
    document : dict
        From :func:`list_ranges`.
    """
    fitting = [(answer, row) for answer in document["answers"] for row in answer["fits"]]
    n_refused = sum(len(answer["refused"]) for answer in document["answers"])
    more = f"{n_refused} more don't fit; --all lists them with reasons" if n_refused else "--all shows them in full"
    if fitting:
        keys = list(dict.fromkeys(answer["measure"] for answer, _ in fitting))
        answer, row = next((one for one in fitting if one[0]["measure"] == "centroid_hz"), fitting[0])
        of = "; ".join((row["population"], row["method_words"], row["source"], row["label"]))
        first = f"{answer['measure']} {row['figures']} ({of})"
        rest = ", ".join(key for key in keys if key != answer["measure"])
        others = f"; and for {rest}" if rest else ""
        chance = 100 * ranges.outside_one_of(len(keys))
        several = (
            f" With {len(keys)} measures shown a typical speaker falls outside at least one in up to {chance:.0f} %."
            if len(keys) > 1
            else ""
        )
        return [f"fits: {first}{others}", f"{answer['sentence']}{several}", more]
    reasons = [reason["text"] for answer in document["answers"] for reason in answer["reasons"]]
    nearest = "" if "own_baseline" in document["question"] else _nearest(document)
    lines = [f"none fits: {reasons[0]}" if reasons else "none fits"]
    return [*lines, *([nearest] if nearest else []), more]


def _nearest(document: RangesFound) -> str:
    """What would make one fit: the value with the fewest reasons against it, its figures left out."""
    refused = [row for answer in document["answers"] for row in answer["refused"]]
    open_to = [row for row in refused if row["figures"] != "not shown" and row["reasons"]]
    if not open_to:
        return "a range of your own fits: sibilant ranges build TABLE.csv --speaker COLUMN, or ranges add FILE.csv"
    least = min(open_to, key=lambda row: len(row["reasons"]))
    why = "; ".join(reason["text"] for reason in least["reasons"])
    return f"nearest: {least['source']} would fit but for: {why}"
