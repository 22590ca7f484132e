"""A folder or a manifest comes in, the pieces of a run go out: one a recording, with prompts, speaker, channel."""

from __future__ import annotations

import contextlib
import math
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from .. import audio, prompts, tables
from ..errors import InputError, ListError, UsageError, WordError
from ..methods import HOUSE, get_method, supports
from ..prompts import prompts_of
from ..terms import Interval, Method, Prompt
from ..terms.vocabulary import CUES, LEVELS
from .request import CorpusRequest, Given, Piece, Plan

SOUND_ENDINGS = frozenset(
    {
        ".wav", ".wave", ".flac", ".aif", ".aiff", ".aifc", ".au", ".snd", ".caf", ".w64", ".rf64", ".ogg", ".oga",
        ".opus", ".mp3", ".m4a", ".mp4", ".mov", ".webm", ".mka", ".aac", ".amr",
    }
)  # fmt: skip
MANIFEST = "manifest.csv"
OWN = ("recording", "channel", "words", "prompts", "intervals", "onset_s", "offset_s")
"""Manifest columns that say what to measure; all others are carried through."""

LABELS = ("speaker", "session", "device")
ManifestRow = tuple[int, dict[str, str]]


def planned(order: CorpusRequest) -> Plan:
    """Read the folder or manifest of an order.

    Raises
    ------
    InputError
        When it is missing, holds no recordings, contradicts itself, or a method is unknown.
    """
    methods = tuple(get_method(name) for name in dict.fromkeys(order.method_names))
    source = order.source
    if not source.exists():
        raise ListError(f"{source.name}: no such folder or manifest; name a folder of recordings or a CSV file")
    if source.is_dir() and (source / MANIFEST).is_file():
        source = source / MANIFEST
    if source.is_dir():
        pieces, passed_over = _from_folder(source, order.words)
        carried: tuple[str, ...] = ()
    else:
        pieces, carried = _from_manifest(source, order.words)
        passed_over = []
    if not pieces:
        raise ListError(f"{source.name}: no recordings in it; sound files end in {', '.join(sorted(SOUND_ENDINGS))}")
    notes: tuple[str, ...] = ()
    if not methods:
        methods, notes = _usual_method(pieces)
    return Plan(tuple(sorted(pieces, key=lambda piece: piece.recording)), methods, carried, tuple(passed_over), notes)


def _usual_method(pieces: Sequence[Piece]) -> tuple[tuple[Method], tuple[str, ...]]:
    """The widest house method that the rates of most recordings hold, the narrowest where none does; and a note of it.

    What keeps the widest from a recording besides its rate shows only when it is measured.
    """
    rates = []
    for piece in pieces:
        with contextlib.suppress(InputError, OSError):
            rates.append(audio.sampling_rate_of(piece.path))
    counts = {method: sum(supports(method, rate) for rate in rates) for method in HOUSE}
    chosen = next((method for method, n in counts.items() if 2 * n >= len(rates)), HOUSE[-1])
    if counts[chosen] == len(rates) and chosen is HOUSE[0]:
        return (chosen,), ()
    held = f"{counts[chosen]} of {len(rates)} recordings"
    return (chosen,), (f"{chosen.label} is the widest house method for most rates ({held}); --method names another",)


def _from_folder(folder: Path, words: str) -> tuple[list[Piece], list[str]]:
    """Every sound file below a folder; those of the same stem beside it give words, marked stretches, or both."""
    pieces, passed_over = [], []
    for here, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = Path(here) / name
            if name.startswith(".") or path.suffix.lower() == ".csv":
                continue
            if path.suffix.lower() in SOUND_ENDINGS:
                line = _beside(path) or {"words": words}
                pieces.append(_piece(path.relative_to(folder).as_posix(), path, line, [], ()))
            elif not (path.suffix.lower() in tables.MARK_ENDINGS and _has_sound(path, names)):
                passed_over.append(path.relative_to(folder).as_posix())
    return pieces, passed_over


def _has_sound(path: Path, names: Sequence[str]) -> bool:
    """Whether a sound file of the same stem lies among the names of a folder."""
    return any(Path(name).stem == path.stem and Path(name).suffix.lower() in SOUND_ENDINGS for name in names)


def _beside(recording: Path) -> dict[str, str]:
    """What the files beside a recording give: words, marked stretches, or both; a CSV's columns say which."""
    line: dict[str, str] = {}
    for ending in sorted(tables.MARK_ENDINGS):
        path = recording.with_suffix(ending)
        if path.is_file():
            line["intervals" if ending != ".csv" or _marks(path) else "words"] = str(path)
    return line


def _marks(path: Path) -> bool:
    """Whether a CSV's first line names the edges of marked stretches."""
    with path.open(encoding="utf-8-sig", errors="replace") as stream:
        header = {cell.strip().lower() for cell in stream.readline().replace(";", ",").split(",")}
    return {"onset_s", "offset_s"} <= header


def _from_manifest(path: Path, words: str) -> tuple[list[Piece], tuple[str, ...]]:
    read = tables.read_rows(path, ["recording"])
    lines = [(number, _known_words(path.name, number, cells)) for number, cells in read]
    header = list(dict.fromkeys(name for _, cells in lines for name in cells))
    carried = tuple(name for name in header if name and name not in OWN)
    taken = {column.name for column in tables.token_columns()} - {*LABELS, "level", "cue", "label"}
    clash = [name for name in carried if name in taken]
    if clash:
        raise ListError(f"{path.name}: column {clash[0]} is one that the result itself has; rename it in the manifest")
    places = _places(path, lines)
    names = _names(path.parent, places)
    return [
        _from_lines(path, names[place], place, own, (words, *carried))
        for place, own in _by_place(places, lines).items()
    ], carried


def _known_words(name: str, number: int, cells: dict[str, str]) -> dict[str, str]:
    """Return a line with its level and cue, columns of the result, as the words that all tables use."""
    sets = {"level": LEVELS, "cue": CUES}
    try:
        return cells | {key: words.read_or_empty(cells[key]) for key, words in sets.items() if key in cells}
    except WordError as error:
        raise ListError(f"{name}: line {number}: {error}; or give your column another name") from error


def _names(own: Path, places: Sequence[Path]) -> dict[Path, str]:
    """What each recording is called: its path below the common root.

    Recordings that share no folder of their own are called after a number of their folder and their file: the path
    between would name disks and people.
    """
    root = _common_root(own, places)
    if root is not None and len(root.parts) > 2 and not Path.home().parent.is_relative_to(root):
        return {place: Path(os.path.relpath(place, root)).as_posix() for place in places}
    folders = sorted({place.parent for place in places})
    return {place: f"folder-{folders.index(place.parent) + 1}/{place.name}" for place in places}


def _places(path: Path, lines: Sequence[ManifestRow]) -> list[Path]:
    for number, cells in lines:
        if not cells.get("recording"):
            raise ListError(f"{path.name}: line {number} names no recording; fill it or take the line out")
    return [Path(os.path.normpath(path.parent.absolute() / cells["recording"])) for _, cells in lines]


def _by_place(places: Sequence[Path], lines: Sequence[ManifestRow]) -> dict[Path, list[ManifestRow]]:
    grouped: dict[Path, list[ManifestRow]] = {}
    for place, line in zip(places, lines, strict=True):
        grouped.setdefault(place, []).append(line)
    return grouped


def _common_root(own: Path, places: Sequence[Path]) -> Path | None:
    """Folder of the manifest where all recordings lie below it, else the folder they have in common, if any."""
    folder = Path(os.path.normpath(own.absolute()))
    if all(place.is_relative_to(folder) for place in places):
        return folder
    try:
        return Path(os.path.commonpath([place.parent for place in places]))
    except ValueError:  # on several drives
        return None


def _from_lines(path: Path, name: str, place: Path, lines: Sequence[ManifestRow], columns: Sequence[str]) -> Piece:
    """One recording's lines: one, or several that each mark a stretch."""
    words, *carried = columns
    marked = [(number, cells) for number, cells in lines if cells.get("onset_s") or cells.get("offset_s")]
    if len(lines) > 1 and len(marked) < len(lines):
        raise ListError(
            f"{path.name}: line {lines[1][0]} names {place.name} again; one line a recording, or onset_s and offset_s"
            " on each line"
        )
    given = [_marked(path.name, number, cells, carried) for number, cells in marked]
    first = lines[0][1]
    line = {key: first.get(key, "") for key in ("words", "prompts", "intervals")}
    if not given and not any(line.values()):
        line["words"] = words
    for key in ("words", "intervals"):
        if line[key] and (path.parent / line[key]).is_file():
            line[key] = str(path.parent / line[key])
    channel = _channel(path.name, lines)
    return replace(_piece(name, place, line, given, [(key, first.get(key, "")) for key in carried]), channel=channel)


def _channel(name: str, lines: Sequence[ManifestRow]) -> int | None:
    """Channel of one recording's lines, counted from 1; None where none is named."""
    number, cells = lines[0]
    written = cells.get("channel", "").strip()
    others = [n for n, each in lines if each.get("channel", "").strip() != written]
    if others:
        raise ListError(f"{name}: line {others[0]} names another channel of its recording than line {number}; use one")
    if not written:
        return None
    if not written.isdecimal() or int(written) < 1:
        raise ListError(
            f"{name}: line {number}: channel {written!r}; give its number, counted from 1, or leave it empty"
        )
    return int(written)


def _marked(name: str, number: int, cells: Mapping[str, str], carried: Sequence[str]) -> Given:
    try:
        onset, offset = float(cells.get("onset_s", "")), float(cells.get("offset_s", ""))
    except ValueError:
        onset = offset = math.nan
    if not 0 <= onset < offset < math.inf:
        raise ListError(f"{name}: line {number}: onset_s and offset_s are needed, from 0 s on, onset first")
    own = tuple((key, cells.get(key, "")) for key in carried)
    return Given(Interval(onset, offset), cells.get("label", ""), own)


def _piece(
    name: str, path: Path, line: Mapping[str, str], given: Sequence[Given], carried: Iterable[tuple[str, str]]
) -> Piece:
    """Resolve what was said or marked; what can't be resolved is this piece's problem, not the run's end."""
    own = tuple(carried)
    try:
        if line.get("intervals"):
            given = _stretches(line["intervals"], path.name, path.stem)
        prompts = _prompts(line.get("words", ""), line.get("prompts", ""), path.name, path.stem)
    except InputError as error:
        return Piece(name, str(path), carried=own, problem=str(error))
    marked = bool(given) or bool(line.get("intervals"))
    return Piece(name, str(path), prompts, tuple(given), marked, own)


def _stretches(path: str, name: str, stem: str) -> list[Given]:
    rows = tables.read_intervals(Path(path))
    return [Given(Interval(r.onset_s, r.offset_s), r.label) for r in rows if r.recording in ("", name, stem)]


def _prompts(words: str, said: str, name: str, stem: str) -> tuple[Prompt, ...]:
    if words and said:
        raise ListError(f"{name}: columns words and prompts both give its prompts; fill one of them")
    if said:
        return _said(said)
    if not words:
        return ()
    own = prompts_of(_listed(words), Path(name))
    if not own:
        raise ListError(f"{name}: the list names no prompt for this recording; fill its column recording")
    return own


@lru_cache(maxsize=256)
def _said(text: str) -> tuple[Prompt, ...]:
    try:
        return prompts.said(text, where="column prompts", guess=True)
    except UsageError as error:
        raise ListError(str(error)) from error


@lru_cache(maxsize=256)
def _listed(words: str) -> tuple[Prompt, ...]:
    return prompts.listed(words, guess=True)
