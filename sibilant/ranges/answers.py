"""A question becomes the reference values that fit, or "none fits" with every reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..terms import MEASURES
from ..terms.reference import Reason, ReferenceRange
from .question import Question
from .rules import reasons_against
from .tables import all_ranges


@dataclass(frozen=True, slots=True)
class Refusal:
    """A reference value that does not fit, with every reason."""

    range: ReferenceRange
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What fits a question, what does not and why; ``acquisition`` and ``orientation`` stand beside, never a band."""

    question: Question
    fits: tuple[ReferenceRange, ...]
    refused: tuple[Refusal, ...]
    reasons: tuple[Reason, ...] = ()
    orientation: tuple[ReferenceRange, ...] = ()
    acquisition: tuple[ReferenceRange, ...] = ()

    @property
    def none_fits(self) -> bool:
        """Whether no value fits."""
        return not self.fits

    @property
    def why(self) -> tuple[Reason, ...]:
        """Every reason once, those for the question as a whole first."""
        every = [*self.reasons, *(reason for refusal in self.refused for reason in refusal.reasons)]
        return tuple({reason.text: reason for reason in every}.values())


def find(question: Question, *, own: Sequence[ReferenceRange] = ()) -> Answer:
    """Return the reference values that fit a question, or none, with every reason.

    Parameters
    ----------
    question : Question
        What is asked.
    own : sequence of ReferenceRange, optional
        Values that the user entered; they come first.

    Examples
    --------
    >>> answer = find(Question("centroid_hz", age_months=88, group="f", position="initial"))
    >>> answer.none_fits, answer.why[0].code
    (True, 'no_child_range')
    """
    candidates = [row for row in (*own, *all_ranges()) if _is_asked_for(row, question)]
    general = _general(question, candidates)
    fits: list[ReferenceRange] = []
    refused: list[Refusal] = []
    for row in candidates:
        if row.use != "value":
            continue
        reasons = tuple(reasons_against(row, question))
        if question.own_baseline:
            reasons = (OWN_BASELINE, *reasons)
        if reasons:
            refused.append(Refusal(row, reasons))
        else:
            fits.append(row)
    strip = tuple(row for row in candidates if row.use == "orientation" and _orients(row, question))
    norms = acquisition(question.phone) if question.minor else ()
    return Answer(question, tuple(fits), tuple(refused), general, strip, norms)


OWN_BASELINE = Reason(
    "own_baseline",
    "own-baseline mode: no range is shown; the values are compared with the client's own earlier ones",
)
_NO_CHILD_RANGE = Reason(
    "no_child_range",
    "no published spectral range for English-speaking children with a known method could be had;"
    " the child's own baseline is the yardstick",
)


def acquisition(phone: str) -> tuple[ReferenceRange, ...]:
    """Return the ages at which studies found a sound acquired; they differ, so all are returned, each with its note.

    Examples
    --------
    >>> sorted({row.basis.citation_key for row in acquisition("S")})
    ['crowe2020', 'smit1990']
    """
    return tuple(row for row in all_ranges() if row.use == "acquisition" and row.phone == phone)


def _is_asked_for(row: ReferenceRange, question: Question) -> bool:
    """Same measure, and the phone asked for, alone or pooled with others."""
    phones = row.phone.split("/") if "/" in row.phone else [row.phone]
    return row.measure == question.measure and question.phone in phones


def _general(question: Question, candidates: Sequence[ReferenceRange]) -> tuple[Reason, ...]:
    found: list[Reason] = []
    if question.own_baseline:
        found.append(OWN_BASELINE)
    measure = MEASURES.get(question.measure)
    theirs = any(row.basis.obtained == "yours" and not row.population.adult for row in candidates)
    if question.minor and (measure is None or measure.spectral) and not theirs:
        found.append(_NO_CHILD_RANGE)
    if not any(row.use == "value" for row in candidates):
        found.append(Reason("nothing_held", f"no value of {question.measure} for /{question.phone.lower()}/ is held"))
    strips = any(row.use == "orientation" for row in candidates)
    if strips and not question.orientation and question.age_months is not None and _strip_age(question.age_months):
        found.append(
            Reason("orientation_off", "an 'orientation only' strip (1 to 7.5 kHz) exists for 6 to 13 years; off")
        )
    return tuple(found)


def _strip_age(months: int) -> bool:
    return 6 * 12 <= months < 14 * 12


def _orients(row: ReferenceRange, question: Question) -> bool:
    """Whether a row of the orientation strip is asked for and meets age, group and position."""
    if not question.orientation or question.own_baseline or question.age_months is None:
        return False
    low, high = row.population.age_low_y or 0, row.population.age_high_y or 0
    fits_age = _strip_age(question.age_months) and 12 * low <= question.age_months < 12 * (high + 1)
    fits_group = question.group == row.population.sex
    fits_position = row.circumstances.position in ("any", question.position)
    plain = question.method.split("/")[0]
    return fits_age and fits_group and fits_position and (not plain or plain == row.method or not row.method)
