"""Measured recordings come in, pages of token strips go out, as figures or written into a folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from .. import charts, files, lexicon
from ..terms import Interval, Measurement, Measures, Method, Recording, Sound
from .measure import MeasuredFile

BEFORE_AND_AFTER_S = 0.15  # shown on either side of a sound
LONGEST_S = 1.2  # a longer word is cut about its sound
if TYPE_CHECKING:
    from ..charts import Figure

INVENTED = "Invented data – not a person"


def write(results: Sequence[MeasuredFile], folder: Path) -> list[Path]:
    """Draw the token strips of each recording into a folder; return the files written."""
    files.make_folder(folder)
    written = []
    for result in results:
        if result.analysis is None or result.recording is None:
            continue
        pages = strip_pages(result.recording, result.analysis.sounds, result.analysis.measurements, name=result.name)
        for number, figure in enumerate(pages, start=1):
            path = folder / f"{files.safe_name(Path(result.name).stem)}-{number}.png"
            files.write_bytes(path, charts.render(figure, "png"))
            written.append(path)
    return written


def strip_pages(
    recording: Recording,
    sounds: Sequence[Sound],
    measurements: Sequence[Measurement],
    *,
    name: str,
    invented: bool = False,
    most: int | None = None,
) -> tuple[Figure, ...]:
    """Return the pages of strips for the sounds of a recording, under the first method they were measured with.

    ``most`` limits them to the first few sounds.
    """
    shown = [sound for sound in sounds if sound.utterance is not None or sound.edges is not None]
    if not shown or not measurements:
        return ()
    method = measurements[0].method
    under = {one.sound_id: one.measures for one in measurements if one.method.label == method.label}
    top_hz = min(method.band_hz[1], 0.5 * recording.sampling_rate_hz)
    everything = sum(sound.edges is not None for sound in shown)
    bounded = sum(sound.edges is not None for sound in shown[:most])
    counted = "1 sibilant" if bounded == 1 else f"{bounded} sibilants"
    if bounded < everything:
        counted = f"The first {bounded} of {everything} sibilants"
    title = f"{counted}: where the energy of the hiss sits, and how long it lasts"
    note = f"{INVENTED if invented else name} · {method_note(method)}"
    panels = [_panel(recording, sound, under[sound.id], method, top_hz) for sound in shown[:most]]
    return charts.token_strip_pages(panels, title=title, note=note, top_hz=top_hz)


def method_note(method: Method) -> str:
    """Say in a line how a spectrum was taken.

    Examples
    --------
    >>> from sibilant.methods import HOUSE_15K
    >>> method_note(HOUSE_15K)
    'house-15k/2: 1–15 kHz, power, middle half'
    """
    low, high = (f"{edge / 1000:g}" for edge in method.band_hz)
    where = "middle half" if method.windows[0].anchor == "share" else "windows of the published protocol"
    return f"{method.label}: {low}–{high} kHz, {method.weighting}, {where}"


def _panel(recording: Recording, sound: Sound, measures: Measures, method: Method, top_hz: float) -> charts.StripPanel:
    view = _view(recording, sound)
    word = sound.prompt_text or f"{view.onset_s:.2f} s"
    edges = sound.edges
    interval = edges.interval if edges is not None else None
    from ..pipeline import strip_values

    values = strip_values(recording, view, interval, method, top_hz=top_hz)
    where = (values.time_s, values.frequency_hz, values.level_db)
    if edges is None:
        remark = (
            "no frication found: please listen" if sound.finding == "no_frication" else sound.finding.replace("_", " ")
        )
        return charts.StripPanel(word, *where, bold=_bold(sound), remark=remark)
    return charts.StripPanel(
        word,
        *where,
        bold=_bold(sound),
        ribbons=(
            charts.Ribbon(
                edges.interval.onset_s,
                edges.interval.offset_s,
                edges.onset.uncertainty_ms,
                edges.offset.uncertainty_ms,
                reviewed=edges.boundary == "reviewed",
                phone=sound.slot.phone if sound.slot is not None else "S",
            ),
        ),
        spectrum_hz=values.spectrum_hz,
        spectrum_db=values.spectrum_db,
        centroid=_tick(measures, "centroid_hz"),
        peak=_tick(measures, "peak_hz"),
        duration_text=f"{edges.interval.duration_ms:.0f} ms",
        remark=_remark(sound),
    )


def _remark(sound: Sound) -> str:
    words = ["not expected here: please listen"] if sound.finding == "extra" and sound.prompt_text else []
    if sound.utterance is not None and sound.utterance.attempt > 1:
        words.append(f"attempt {sound.utterance.attempt}")
    if sound.finding == "unsure":
        words.append("not sure that this is the word")
    return ", ".join(words)


def _view(recording: Recording, sound: Sound) -> Interval:
    """Stretch to show: the word, or the sibilant's surroundings where the word is unknown or long."""
    hiss = sound.edges.interval if sound.edges is not None else None
    spoken = sound.utterance.interval if sound.utterance is not None else None
    if spoken is None or (hiss is not None and spoken.duration_s > LONGEST_S):
        around = hiss or spoken
        assert around is not None  # a shown sound has one of the two
        middle = 0.5 * (around.onset_s + around.offset_s)
        spoken = Interval(max(0.0, middle - 0.5 * LONGEST_S), middle + 0.5 * LONGEST_S)
    return Interval(
        max(0.0, spoken.onset_s - BEFORE_AND_AFTER_S),
        min(recording.duration_s, spoken.offset_s + BEFORE_AND_AFTER_S),
    )


def _bold(sound: Sound) -> tuple[tuple[int, int], ...]:
    if sound.slot is None or sound.utterance is None or sound.utterance.prompt is None:
        return ()
    place = lexicon.sibilant_letters(sound.utterance.prompt)[sound.slot.index - 1]
    return (place,) if place[1] > place[0] else ()


def _tick(measures: Measures, key: str) -> charts.Tick | None:
    if key not in measures.values:
        return None
    return charts.Tick(measures.values[key], measures.low.get(key), measures.high.get(key))
