"""Numbers and plain sentences that pictures and reports share, so that both say the same."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ..terms import MEASURES, Measure, Method
from ..terms.case_view import CaseView
from ..terms.change import LARGER, UNJUDGED, WITHIN, Change, MeasurementError
from ..terms.clinic import Client
from ..terms.summaries import MeasureSummary, SessionSummary
from .style import INVENTED

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
THIN = "\u2009"
MINUS = "\u2212"
_SUBJECTS = {
    "centroid_hz": "The energy of /s/ sits {word}",
    "peak_hz": "The peak of /s/ lies {word}",
    "mid_peak_hz": "The mid-band peak of /s/ lies {word}",
    "duration_ms": "/s/ lasts {word}",
    "core_duration_ms": "The strong part of /s/ lasts {word}",
}


@dataclass(frozen=True, slots=True)
class Caption:
    """What every picture says beneath: whose code, what with which method and band, how many, ranges from where."""

    who: str
    method: str = ""
    counted: str = ""
    source: str = ""
    more: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The parts joined as the note prints them, one paragraph each for ``more``."""
        head = " · ".join(part for part in (self.who, self.method, self.counted, self.source) if part)
        return "\n".join((head, *self.more))


def who(client: Client) -> str:
    """Return the client's code, marked where the data are invented."""
    return f"{INVENTED} · {client.code}" if client.invented else client.code


def measure_of(key: str) -> Measure:
    """Return a measure's declaration.

    Raises
    ------
    ValueError
        For a key that is not in ``MEASURES``.
    """
    if key not in MEASURES:
        raise ValueError(f"no measure is called {key!r}")
    return MEASURES[key]


def method_text(method: Method) -> str:
    """Name, band, weighting and estimator of a method in one phrase.

    Examples
    --------
    >>> from sibilant.terms import Window
    >>> method_text(Method("house-15k", 1, (1000.0, 15000.0), (Window("share", share=0.5),), frame_ms=20.0))
    'house-15k/1: multitaper, middle half, 1–15 kHz, power-weighted'
    """
    low, high = (f"{edge / 1000:g}" for edge in method.band_hz)
    where = ", middle half" if any(window.share == 0.5 for window in method.windows) else ""
    taper = "multitaper" if method.taper == "dpss" else f"{method.taper} window"
    response = f", microphone response {method.response} divided out" if method.response else ""
    return f"{method.label}: {taper}{where}, {low}–{high} kHz, {method.weighting}-weighted{response}"


def method_short(method: Method) -> str:
    """Name, band and weighting, where the whole method stands elsewhere on the page."""
    low, high = (f"{edge / 1000:g}" for edge in method.band_hz)
    return f"{method.label}, {low}–{high} kHz, {method.weighting}-weighted"


def scale_of(measure: Measure) -> tuple[float, str]:
    """Factor and unit on an axis: hertz are drawn in kHz."""
    return (0.001, "kHz") if measure.unit == "Hz" else (1.0, measure.unit)


def axis_label(measure: Measure, method: Method | None = None) -> str:
    """Axis label with unit and, for a spectral measure, band and weighting."""
    unit = scale_of(measure)[1]
    name = f"{measure.name} ({unit})" if unit else measure.name
    if not measure.spectral or method is None:
        return name
    low, high = (f"{edge / 1000:g}" for edge in method.band_hz)
    return f"{name}, {low}–{high} kHz, {method.weighting}-weighted"


def step_for(half_width: float, decimals: int) -> float:
    """Rounding step that an interval deserves: two figures of its half-width, never finer than the measure's own.

    Examples
    --------
    >>> step_for(312.0, 0), step_for(0.043, 2)
    (10.0, 0.01)
    """
    own = 10.0**-decimals
    if not math.isfinite(half_width) or half_width <= 0:
        return own
    return max(own, 10.0 ** (math.floor(math.log10(half_width)) - 1))


def number(value: float, step: float = 1.0) -> str:
    """A number at a rounding step, with a real minus; a dash where there is none.

    Examples
    --------
    >>> number(-0.2478, 0.01), number(7312.4, 10.0), number(float("nan"))
    ('−0.25', '7310', '–')
    """
    if not math.isfinite(value):
        return "–"
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    rounded = round(value / step) * step
    text = f"{rounded:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def with_unit(text: str, unit: str) -> str:
    """A number and its unit after a thin space."""
    return f"{text}{THIN}{unit}" if unit else text


def quantity(measure: Measure, value: float, half_width: float = math.nan) -> str:
    """A value of a measure with the decimals that its interval deserves."""
    if not math.isfinite(value):
        return "–"
    return with_unit(number(value, step_for(half_width, measure.decimals)), measure.unit)


def interval_text(measure: Measure, value: float, low: float, high: float) -> str:
    """A value with its 95 % interval, such as ``7310 Hz (7090 to 7520)``."""
    if not math.isfinite(value):
        return "–"
    step = step_for((high - low) / 2, measure.decimals)
    shown = with_unit(number(value, step), measure.unit)
    if not (math.isfinite(low) and math.isfinite(high)):
        return shown
    return f"{shown} ({number(low, step)} to {number(high, step)})"


def percent(share: float) -> str:
    """A share as a whole percentage after a thin space."""
    return "–" if not math.isfinite(share) else f"{100 * share:.0f}{THIN}%"


def month_text(month: float) -> str:
    """Months since the first baseline, whole where they nearly are."""
    return f"{month:.0f}" if abs(month - round(month)) < 0.15 else f"{month:.1f}"


def day_text(day: dt.date) -> str:
    """A day in words, such as ``12 January 2026``, whatever the machine's language."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def capital(text: str) -> str:
    """First letter upper, the rest as it is."""
    return text[:1].upper() + text[1:]


def spelled(reason: str) -> str:
    """A reason in words, without the name of a word list: a clinic's own may hold anything, a person's name too.

    Examples
    --------
    >>> spelled("not_measured"), spelled("another list form (my list, was core-a)")
    ('not measured', 'another list form')
    """
    return re.sub(r"(another list form) \([^)]*\)", r"\1", reason.replace("_", " "))


def brief(reasons: Sequence[str], most: int = 2) -> str:
    """The first reasons, each once, and how many more there are.

    Examples
    --------
    >>> brief(["too_short", "too_short", "weak", "voiced"])
    'too short; weak; and 1 more'
    """
    once = list(dict.fromkeys(spelled(reason) for reason in reasons))
    more = [f"and {len(once) - most} more"] if len(once) > most else []
    return "; ".join([*once[:most], *more])


def summary_of(view: CaseView, key: str) -> tuple[tuple[SessionSummary, MeasureSummary], ...]:
    """Sessions whose figures may be shown, with their summary of one measure."""
    return tuple((s, s.measures[key]) for s in view.summaries if s.shown and key in s.measures)


def reference_words(view: CaseView) -> str:
    """What later probes are compared with: ``baseline`` only where it is one.

    Where therapy was under way before the first probe, or nobody said when it started, it is never called so.
    """
    if view.reference == "baseline":
        return "baseline"
    return "reference under treatment" if view.reference == "reference under treatment" else "first three probes"


def limit_text(error: MeasurementError) -> str:
    """The limit that gives the verdicts, with that from the fourth look on where it is another."""
    measure = measure_of(error.key)
    first = quantity(measure, error.limit, error.limit)
    if not math.isfinite(error.later_limit) or error.later_limit == error.limit:
        return first
    return f"{first} (from the fourth look on {quantity(measure, error.later_limit, error.later_limit)})"


def more_clients(error: MeasurementError) -> str:
    """Whose day-to-day spread is taken in beside the client's own; empty where it is the client's own alone."""
    return f" and the spread of {error.lent.n_clients} more of the clinic's clients" if error.lent is not None else ""


def change_sentence(view: CaseView, key: str) -> str:
    """Return the one plain sentence that a chart of change supports: higher, lower, longer or shorter, never more."""
    measure = measure_of(key)
    days = {s.number: s.on for s in view.summaries}
    changes = [change for change in view.changes_of(key) if change.session in days]
    if not changes:
        return f"{capital(measure.plain_name)}: no probe after the {reference_words(view)} yet"
    last = changes[-1]
    if last.verdict == UNJUDGED:
        return f"{capital(measure.plain_name)}: a change cannot be judged yet"
    if last.verdict == WITHIN:
        return f"{capital(measure.plain_name)}: within measurement error of the {reference_words(view)}"
    subject = _subject(measure, last.word)
    error = "by more than measurement error"
    then = "at baseline" if view.reference == "baseline" else f"in the {reference_words(view)}"
    if last.awaits or since(view, key) is last:
        return f"{subject} than {then} on {day_text(days[last.session])}, {error}; the next probe must agree"
    return f"{subject} than {then} since {since_day(view, key)}, {error}"


def since(view: CaseView, key: str) -> Change | None:
    """Return the first of the last unbroken run of changes larger than error in one direction; None without one."""
    first: Change | None = None
    for change in reversed(view.changes_of(key)):
        if change.verdict != LARGER or (first is not None and change.word != first.word):
            break
        first = change
    return first


def since_day(view: CaseView, key: str) -> str:
    """Return the day of ``since`` in words; empty without a change larger than error."""
    first = since(view, key)
    days = {summary.number: summary.on for summary in view.summaries}
    return day_text(days[first.session]) if first is not None and first.session in days else ""


def _subject(measure: Measure, word: str) -> str:
    template = _SUBJECTS.get(measure.key)
    return template.format(word=word) if template else f"{capital(measure.plain_name)}: {word}"
