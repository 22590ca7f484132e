"""Stretches that a person marked, from the open formats that labelling programs write.

CSV (``onset_s, offset_s``, optionally ``label`` or, without one, ``phone``, and ``recording``), WebVTT (W3C Candidate
Recommendation: cues with their text as label) and W3C Web Annotation in JSON-LD (W3C Recommendation 2017: a target with
a media fragment ``t=onset,offset``, the body's text as label).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import ListError
from ..files import from_json
from .read import number_of, read_rows, text_of

MARK_ENDINGS = frozenset({".csv", ".vtt", ".jsonld", ".json"})
_TIME = re.compile(r"(?:(\d+):)?([0-5]\d):([0-5]\d\.\d{3})")
_TAG = re.compile(r"<[^>]*>")
_FRAGMENT = re.compile(r"(?:^|[#&])t=(?:npt:)?([0-9.:]*)(?:,([0-9.:]+))?(?:&|$)")


@dataclass(frozen=True, slots=True)
class IntervalRow:
    """One stretch whose edges a person gave, with its label and the recording it lies in."""

    onset_s: float
    offset_s: float
    label: str = ""
    recording: str = ""


def read_intervals(path: Path) -> tuple[IntervalRow, ...]:
    """Read the stretches that a person marked, in the format that the file's ending names.

    Raises
    ------
    ListError
        When the file can't be read as one of its kind, or a stretch ends before it begins.
    """
    ending = path.suffix.lower()
    if ending == ".vtt":
        return tuple(_from_vtt(path))
    if ending in (".json", ".jsonld"):
        return tuple(_from_annotations(path))
    return tuple(_from_csv(path))


def _row(name: str, where: str, times: tuple[float | None, float | None], label: str, recording: str) -> IntervalRow:
    onset, offset = times
    if onset is None or offset is None or not 0 <= onset < offset < math.inf:
        raise ListError(f"{name}: {where}: onset_s and offset_s are needed, from 0 s on, onset first")
    return IntervalRow(onset, offset, " ".join(label.split()), recording)


def _from_csv(path: Path) -> Iterator[IntervalRow]:
    for line, cells in read_rows(path, ["onset_s", "offset_s"]):
        times = (number_of(path.name, line, cells, "onset_s"), number_of(path.name, line, cells, "offset_s"))
        label = cells.get("label", cells.get("phone", ""))
        yield _row(path.name, f"line {line}", times, label, cells.get("recording", ""))


def _from_vtt(path: Path) -> Iterator[IntervalRow]:
    """Cues of a WebVTT file; notes, styles and regions are passed over."""
    lines = text_of(path).split("\n")
    if not lines[0].startswith("WEBVTT"):
        raise ListError(f"{path.name}: not WebVTT, its first line is not WEBVTT")
    for number, line in enumerate(lines, start=1):
        if "-->" not in line:
            continue
        before, after = line.split("-->", 1)
        found = [_clock(part.strip().split(" ")[0]) for part in (before, after)]
        text = []
        for more in lines[number:]:
            if not more.strip():
                break
            text.append(_TAG.sub("", more))
        yield _row(path.name, f"line {number}", (found[0], found[1]), " ".join(text), "")


def _clock(text: str) -> float | None:
    """Seconds of a WebVTT time stamp."""
    found = _TIME.fullmatch(text)
    if found is None:
        return None
    hours, minutes, seconds = found.groups()
    return 3600.0 * int(hours or 0) + 60.0 * int(minutes) + float(seconds)


def _from_annotations(path: Path) -> Iterator[IntervalRow]:
    try:
        document = from_json(text_of(path))
    except ValueError as error:
        raise ListError(f"{path.name}: not JSON ({error}); save the annotations as JSON-LD") from error
    found = [each for each in _annotations(document) if isinstance(each, dict)]
    if not found:
        raise ListError(f"{path.name}: holds no annotation; a W3C Web Annotation, a page or a list of them is needed")
    for number, annotation in enumerate(found, start=1):
        for target in _each(annotation.get("target")):
            source, times = _target(target)
            if times is not None:
                recording = source.split("#")[0].rsplit("/", 1)[-1]
                yield _row(path.name, f"annotation {number}", times, _label(annotation), recording)


def _annotations(document: Any) -> Iterator[Any]:
    """Annotations of a document: one, a list, a page with ``items``, or a collection with its ``first`` page."""
    for one in _each(document):
        if isinstance(one, dict) and "target" not in one:
            yield from _annotations(one.get("items", one.get("first", [])))
        else:
            yield one


def _each(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [] if value is None else [value]


def _target(target: Any) -> tuple[str, tuple[float | None, float | None] | None]:
    """Source of a target and the times of its media fragment; None where it has none."""
    if isinstance(target, str):
        return target, _fragment(target)
    if not isinstance(target, dict):
        return "", None
    source = target.get("source", target.get("id", ""))
    source = source.get("id", "") if isinstance(source, dict) else str(source)
    for selector in _each(target.get("selector")):
        if isinstance(selector, dict) and (times := _fragment(str(selector.get("value", "")))) is not None:
            return source, times
    return source, _fragment(source)


def _fragment(text: str) -> tuple[float | None, float | None] | None:
    """Seconds of ``t=onset,offset`` (W3C Media Fragments, normal play time)."""
    found = _FRAGMENT.search(text)
    return (_play_time(found[1] or "0"), _play_time(found[2] or "")) if found is not None else None


def _play_time(text: str) -> float | None:
    try:
        parts = [float(part) for part in text.split(":")]
    except ValueError:
        return None
    return sum(part * 60.0**power for power, part in enumerate(reversed(parts)))


def _label(annotation: dict[str, Any]) -> str:
    """Texts of the bodies, with spaces between them."""
    bodies = [*_each(annotation.get("body")), *_each(annotation.get("bodyValue"))]
    texts = [body.get("value", body.get("label", "")) if isinstance(body, dict) else body for body in bodies]
    return " ".join(str(text) for text in texts)
