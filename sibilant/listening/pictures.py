"""Token strips of measured recordings, written as pictures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from .. import charts, files, lexicon, pipeline
from ..terms import Interval, Method, Recording, Token
from .measure import Measured

BEFORE_AND_AFTER_S = 0.15
LONGEST_S = 1.2
if TYPE_CHECKING:
    from ..charts import Figure

INVENTED = "Invented data – not a person"


def write(results: Sequence[Measured], folder: Path) -> list[Path]:
    """Draw the token strips of each recording into a folder; return the files written."""
    files.make_folder(folder)
    written = []
    for result in results:
        if result.analysis is None or result.recording is None:
            continue
        pages = strip_pages(result.recording, result.analysis.tokens, name=result.name)
        for number, figure in enumerate(pages, start=1):
            path = folder / f"{files.safe_name(Path(result.name).stem)}-{number}.png"
            files.write_bytes(path, charts.render(figure, "png"))
            written.append(path)
    return written


def strip_pages(
    recording: Recording, tokens: Sequence[Token], *, name: str, invented: bool = False, most: int | None = None
) -> tuple[Figure, ...]:
    """Return the pages of strips for the tokens of a recording, under the first method they were measured with.

    ``most`` limits them to the first few tokens.
    """
    method = next((token.method for token in tokens if token.method is not None), None)
    shown = [t for t in tokens if t.utterance is not None or t.sibilant is not None]
    shown = [t for t in shown if t.method is None or method is None or t.method.label == method.label]
    if not shown or method is None:
        return ()
    top_hz = min(method.band_hz[1], 0.5 * recording.sampling_rate_hz)
    everything = sum(token.sibilant is not None for token in shown)
    bounded = sum(token.sibilant is not None for token in shown[:most])
    counted = "1 sibilant" if bounded == 1 else f"{bounded} sibilants"
    if bounded < everything:
        counted = f"The first {bounded} of {everything} sibilants"
    title = f"{counted}: where the energy of the hiss sits, and how long it lasts"
    note = f"{INVENTED if invented else name} · {method_note(method)}"
    return charts.token_strip_pages(
        [_panel(recording, token, method, top_hz) for token in shown[:most]], title=title, note=note, top_hz=top_hz
    )


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


def _panel(recording: Recording, token: Token, method: Method, top_hz: float) -> charts.StripPanel:
    view = _view(recording, token)
    word = token.prompt_text or f"{view.onset_s:.2f} s"
    sound = token.sibilant
    interval = sound.interval if sound is not None else None
    values = pipeline.strip_values(recording, view, interval, method, top_hz=top_hz)
    where = (values.time_s, values.frequency_hz, values.level_db)
    if sound is None:
        remark = (
            "no frication found: please listen" if token.finding == "no_frication" else token.finding.replace("_", " ")
        )
        return charts.StripPanel(word, *where, bold=_bold(token), remark=remark)
    return charts.StripPanel(
        word,
        *where,
        bold=_bold(token),
        ribbons=(
            charts.Ribbon(
                sound.interval.onset_s,
                sound.interval.offset_s,
                sound.onset.uncertainty_ms,
                sound.offset.uncertainty_ms,
                reviewed=sound.boundary == "reviewed",
                phone=token.slot.phone if token.slot is not None else "S",
            ),
        ),
        spectrum_hz=values.spectrum_hz,
        spectrum_db=values.spectrum_db,
        centroid=_tick(token, "centroid_hz"),
        peak=_tick(token, "peak_hz"),
        duration_text=f"{sound.interval.duration_ms:.0f} ms",
        remark=_remark(token),
    )


def _remark(token: Token) -> str:
    words = ["not expected here: please listen"] if token.finding == "extra" and token.prompt_text else []
    if token.utterance is not None and token.utterance.attempt > 1:
        words.append(f"attempt {token.utterance.attempt}")
    if token.finding == "unsure":
        words.append("not sure that this is the word")
    return ", ".join(words)


def _view(recording: Recording, token: Token) -> Interval:
    """Stretch to show: the word, or the sibilant's surroundings where the word is unknown or long."""
    sound = token.sibilant.interval if token.sibilant is not None else None
    spoken = token.utterance.interval if token.utterance is not None else None
    if spoken is None or (sound is not None and spoken.duration_s > LONGEST_S):
        around = sound or spoken
        assert around is not None  # a shown token has one of the two
        middle = 0.5 * (around.onset_s + around.offset_s)
        spoken = Interval(max(0.0, middle - 0.5 * LONGEST_S), middle + 0.5 * LONGEST_S)
    return Interval(
        max(0.0, spoken.onset_s - BEFORE_AND_AFTER_S),
        min(recording.duration_s, spoken.offset_s + BEFORE_AND_AFTER_S),
    )


def _bold(token: Token) -> tuple[tuple[int, int], ...]:
    if token.slot is None or token.utterance is None or token.utterance.prompt is None:
        return ()
    place = lexicon.sibilant_letters(token.utterance.prompt)[token.slot.index - 1]
    return (place,) if place[1] > place[0] else ()


def _tick(token: Token, key: str) -> charts.Tick | None:
    measures = token.measures
    if measures is None or key not in measures.values:
        return None
    return charts.Tick(measures.values[key], measures.low.get(key), measures.high.get(key))
