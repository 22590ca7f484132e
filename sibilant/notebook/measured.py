"""``measure``: one recording comes in; its sounds, table and pictures go out.

What it takes is what the command takes.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from .. import charts, tables
from ..errors import UsageError
from ..listening import measure as listening
from ..listening import pictures
from ..listening.measure import MeasureRequest
from ..pipeline import Analysis
from ..terms import Interval, Measurement, Recording, Sound, Suitability
from .picture import MOST_ROWS, Picture, short
from .sound import SoundLike, recording_of

if TYPE_CHECKING:
    import pandas as pd

Intervals = str | os.PathLike[str] | Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One recording measured: ``table``, ``sounds``, ``measurements``, ``suitability``, ``plot()``.

    ``table`` has a row for each sound and method and every column of TABLE.csv; ``first_look()`` the few that matter
    first, which a notebook shows. ``summary`` says what was measured, what was left out, and what would help most.

    Examples
    --------
    >>> import sibilant as sib
    >>> sib.measure(sib.reference_sounds() / "ktuberling-stick.ogg", say="stick").first_look()["prompt"].tolist()
    ['stick']
    """

    name: str
    recording: Recording
    table: pd.DataFrame = field(repr=False)
    summary: tuple[str, ...]
    _analysis: Analysis = field(repr=False)

    @property
    def sounds(self) -> tuple[Sound, ...]:
        """What was observed, once each, in the order of the prompts."""
        return self._analysis.sounds

    @property
    def measurements(self) -> tuple[Measurement, ...]:
        """One a sound and method."""
        return self._analysis.measurements

    @property
    def suitability(self) -> Suitability:
        """What the recording and each sound in it can and cannot support."""
        return self._analysis.suitability

    def first_look(self) -> pd.DataFrame:
        """Return some twenty columns, those that hold any value: what, where, moments, peak, lengths, cautions."""
        held = [dict(zip(self.table.columns, row, strict=True)) for row in _cells(self.table)]
        return self.table[list(tables.few(held))]

    def plot(self, *, most: int = 8) -> Picture:
        """Return a picture of the first sounds: each one's spectrogram, edges and spectrum.

        Raises
        ------
        UsageError
            When nothing was found to draw.
        """
        pages = pictures.strip_pages(self.recording, self.sounds, self.measurements, name=self.name, most=most)
        if not pages:
            raise UsageError(f"{self.name}: no sound was found, so there is nothing to draw")
        return Picture(pages[0], charts.alt_text(pages[0]))

    def __repr__(self) -> str:
        rows, columns = self.table.shape
        return f"Measured({self.summary[0]}; .table {rows} x {columns} .sounds .suitability .plot())"

    def _repr_html_(self) -> str:
        told = "".join(f"<p>{escape(line.strip())}</p>" for line in self.summary)
        return told + self.first_look().to_html(
            index=False, na_rep="", float_format=short, border=0, max_rows=MOST_ROWS
        )


def _cells(table: pd.DataFrame) -> list[list[object]]:
    plain = table.astype(object).where(table.notna(), None)
    rows: list[list[object]] = plain.to_numpy(dtype=object).tolist()
    return rows


def measure(
    sound: SoundLike,
    *,
    say: str = "",
    words: str | os.PathLike[str] = "",
    intervals: Intervals | None = None,
    method: str | Sequence[str] = (),
    sampling_rate_hz: int | None = None,
    channel: int | None = None,
) -> Measured:
    """Find and measure the sibilants of a recording.

    Parameters
    ----------
    sound : path, array or Recording
        A sound file; samples of one channel (n,) with ``sampling_rate_hz``; or what ``read_recording`` gave.
    say : str
        The prompts in the order spoken, with commas: ``"seal, bus, fossil"``.
    words : str or path
        The prompts as a list instead: LIST.csv or the name of a built-in one (see ``word_lists``). Without prompts
        every sibilant is reported.
    intervals : path or sequence of (float, float), optional
        Edges already marked, in seconds, as a file (CSV, WebVTT, Web Annotation) or as pairs; prompts then tell which
        sibilant each is.
    method : str or sequence of str
        One or more names (see ``list_methods``); without any, the widest house method that the recording holds.
    sampling_rate_hz : int, optional
        The rate of an array, in Hz.
    channel : int, optional
        Which channel of a file that has several, from 1.

    Returns
    -------
    Measured
        With ``table`` (a data frame), ``sounds``, ``measurements``, ``suitability``, ``plot()``.

    Raises
    ------
    UsageError
        When what is asked contradicts itself, or an array comes without its rate.
    InputError
        When the sound, the list, an interval or a method can't be used.

    Notes
    -----
    docs/measures.md holds the equation and source of every column, docs/boundaries.md the criterion of the edges.

    Examples
    --------
    >>> import sibilant as sib
    >>> found = sib.measure(sib.reference_sounds() / "ktuberling-stick.ogg", say="stick")
    >>> found.table["phone"].item(), found.table["finding"].item(), found.sounds[0].slot.cluster
    ('S', 'found', 'st')
    >>> found.table.attrs["units"]["centroid_hz"]
    'Hz'
    """
    recording = recording_of(sound, sampling_rate_hz, channel)
    request = MeasureRequest(
        words=os.fspath(words),
        say=say,
        method_names=(method,) if isinstance(method, str) else tuple(method),
        intervals=Path(intervals) if isinstance(intervals, str | os.PathLike) else None,
    )
    if say and words:
        raise UsageError("say and words both tell what was said; give one")
    pairs = None if intervals is None or isinstance(intervals, str | os.PathLike) else _pairs(intervals)
    found = listening.measure_recording(recording, request, intervals=pairs)
    assert found.analysis is not None  # a recording at hand was read
    table, summary = tables.as_frame(found.rows), tuple(listening.summary([found]))
    return Measured(found.name, recording, table, summary, found.analysis)


def _pairs(intervals: Sequence[tuple[float, float]]) -> list[Interval]:
    try:
        return [Interval(float(onset_s), float(offset_s)) for onset_s, offset_s in intervals]
    except (TypeError, ValueError) as error:
        raise UsageError("intervals are pairs of onset and offset in seconds, such as [(0.31, 0.42)]") from error
