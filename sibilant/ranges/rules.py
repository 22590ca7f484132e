"""The rules by which a reference value is refused, one function a rule, each answering with a reason or None."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..errors import MethodError
from ..methods import get_method, supports
from ..terms import Method
from ..terms.reference import ADULT_MONTHS, Reason, ReferenceRange
from .band import is_spectral, protocol_known

if TYPE_CHECKING:
    from .question import Question

FEWEST_TOKENS = 5  # own choice


def reasons_against(row: ReferenceRange, question: Question) -> Iterator[Reason]:
    """Every reason why a value does not fit a question, in a fixed order: person, sound, task, method, value."""
    for rule in (
        _minor,
        _age,
        _group,
        _dialect,
        _pooled,
        _position,
        _cluster,
        _level,
        _cue,
        *_METHOD,
        _spread,
        _tokens,
    ):
        reason = rule(row, question)
        if reason is not None:
            yield reason


def _minor(row: ReferenceRange, question: Question) -> Reason | None:
    if not row.population.adult:
        return None
    if question.age_months is None:
        return (
            None if question.listing else Reason("age_unknown", "the age is not given; an adult value needs an adult")
        )
    if question.age_months < ADULT_MONTHS:
        return Reason("minor", "adult speakers: never set beside a minor")
    return None


def _age(row: ReferenceRange, question: Question) -> Reason | None:
    low, high = row.population.age_low_y, row.population.age_high_y
    if row.population.adult:
        return None
    if question.age_months is None:
        return None if question.listing else Reason("age_unknown", "the age is not given; children's values need it")
    if low is None or high is None:
        return Reason("age", "the children's ages are not stated")
    if not 12 * low <= question.age_months < 12 * (high + 1):
        return Reason("age", f"the children were {low:g} to {high:g} years")
    return None


def _group(row: ReferenceRange, question: Question) -> Reason | None:
    sex = row.population.sex
    if question.group is None:
        if question.listing or sex == "both":
            return None
        return Reason("group_off", "no reference group was chosen (it is optional, and off by default)")
    if sex != question.group and sex != "both":
        return Reason(
            "group", f"the speakers were {'female' if sex == 'f' else 'male' if sex == 'm' else 'not stated'}"
        )
    return None


def _dialect(row: ReferenceRange, question: Question) -> Reason | None:
    theirs = row.population.dialect
    if not question.dialect or not theirs or question.dialect.lower() in theirs.lower():
        return None
    return Reason("dialect", f"the speakers' variety ({theirs}) is not the one asked for ({question.dialect})")


def _pooled(row: ReferenceRange, question: Question) -> Reason | None:
    return Reason("pooled", f"pools {row.phone.lower()}; kept apart here") if "/" in row.phone else None


def _position(row: ReferenceRange, question: Question) -> Reason | None:
    theirs = row.circumstances.position
    if question.listing and not question.position:
        return None
    if not theirs:
        return Reason("position", "the source does not state the position in the word")
    if not question.position:
        return Reason("position", f"the value is for {theirs} sounds; the position asked for is not given")
    if theirs not in (question.position, "any"):
        return Reason("position", f"the value is for {theirs} sounds, not {question.position} ones")
    return None


def _cluster(row: ReferenceRange, question: Question) -> Reason | None:
    theirs = row.circumstances.cluster
    if theirs in ("any", "") or (question.listing and not question.cluster):
        return None
    if theirs == "none" and question.cluster:
        return Reason("context", f"the value is for single consonants, not for the cluster {question.cluster}")
    if theirs != "none" and question.cluster != theirs:
        return Reason("context", f"the value is for the cluster {theirs}")
    return None


def _level(row: ReferenceRange, question: Question) -> Reason | None:
    return _task("level", row.circumstances.level, question.level, listing=question.listing)


def _cue(row: ReferenceRange, question: Question) -> Reason | None:
    if not row.circumstances.cue and not question.listing:
        return Reason("cue", "the source does not state whether the speakers had a model")
    return _task("cue", row.circumstances.cue, question.cue, listing=question.listing)


def _task(name: str, theirs: str, asked: str, *, listing: bool) -> Reason | None:
    if theirs in ("", "any", asked) or (listing and not asked):
        return None
    return Reason(name, f"{name} of the value: {theirs}; asked for: {asked or 'not given'}")


def _unknown(row: ReferenceRange, question: Question) -> Reason | None:
    if protocol_known(row):
        return None
    parts = row.unknown or ("no method here repeats it",)
    return Reason("protocol_unknown", f"not known well enough: {', '.join(parts)}")


def _protocol(row: ReferenceRange, question: Question) -> Reason | None:
    """The tokens asked about were measured under another method than the value's."""
    if not question.method or not is_spectral(row):
        return None
    asked = question.method.split("/")[0]
    if asked == row.method:
        return None
    wanted, given = _known(row.method), _known(asked)
    needs = f"needs {row.method}; measure the tokens again under it" if row.method else "no method here repeats it"
    if given is None:
        return Reason("protocol", f"{asked} is not a method known here; the value {needs}")
    theirs = wanted.band_hz if wanted else row.band_hz
    if theirs is not None and theirs != given.band_hz:
        bands = f"{theirs[0]:g}-{theirs[1]:g} Hz against {given.band_hz[0]:g}-{given.band_hz[1]:g} Hz"
        return Reason("band", f"another band ({bands}); the value {needs}")
    return Reason("protocol", f"another protocol; the value {needs}")


def _bandwidth(row: ReferenceRange, question: Question) -> Reason | None:
    """The recording does not reach the value's band."""
    wanted = _known(row.method)
    if question.bandwidth_hz is None or wanted is None:
        return None
    if supports(wanted, 2 * question.bandwidth_hz, question.bandwidth_hz):
        return None
    top = wanted.band_hz[1]
    return Reason("bandwidth", f"the recording reaches {question.bandwidth_hz:.0f} Hz, too little for {top:.0f} Hz")


def _spread(row: ReferenceRange, question: Question) -> Reason | None:
    if row.mean is None or row.sd is None:
        return Reason("no_spread", "no mean with a spread between speakers: no band can be made")
    return None


def _tokens(row: ReferenceRange, question: Question) -> Reason | None:
    if question.n_tokens is None:
        return None if question.listing else Reason("few_tokens", "the number of tokens is not given")
    if question.n_tokens < FEWEST_TOKENS:
        return Reason("few_tokens", f"{question.n_tokens} tokens; a comparison needs {FEWEST_TOKENS} of the same kind")
    return None


def _known(name: str) -> Method | None:
    if not name:
        return None
    try:
        return get_method(name)
    except MethodError:
        return None


_METHOD = (_unknown, _protocol, _bandwidth)
