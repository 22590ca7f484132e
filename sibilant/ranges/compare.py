"""A mean over tokens beside a range: only like with like, only with enough, and never a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..terms.reference import Comparison, Placement, Reason, ReferenceRange
from ..terms.vocabulary import CUES
from .ages import age_words
from .answers import Answer, find
from .band import band_of, is_spectral, knows_sounds
from .quantiles import t_quantile
from .question import Question
from .rules import FEWEST_TOKENS
from .wording import bounds_words, number, statement

LEFT_OUT = "left_out"
MICROPHONE = (
    "Neither microphone's response is taken out: a loss of 1 dB per kHz above 5 kHz lowers the spectral mean of a"
    " woman's /s/ by 860 Hz, of a man's by 540 (docs/method_effects.md)."
)


@dataclass(frozen=True, slots=True)
class TokenValue:
    """One token's value of the measure asked for, with what decides whether it may be compared.

    ``cluster`` is empty for a single consonant; ``method`` is the label it was measured under; ``flags`` are the
    token's own (``voiced`` keeps it out).
    """

    value: float
    phone: str = "S"
    position: str = ""
    cluster: str = ""
    level: str = ""
    cue: str = ""
    method: str = ""
    flags: tuple[str, ...] = ()


def compare(values: Sequence[TokenValue], question: Question, *, own: Sequence[ReferenceRange] = ()) -> Comparison:
    """Set the mean of a speaker's tokens beside the first range that fits the question.

    Only tokens of the range's phone, position, context and cue, measured under its method, are taken, five or more.
    The user's own ranges come first, then those shipped.

    Parameters
    ----------
    values : sequence of TokenValue
        The tokens of one speaker and session.
    question : Question
        What is asked; its ``n_tokens`` and ``method`` are taken from the values.
    own : sequence of ReferenceRange, optional
        Ranges that the user entered.

    Returns
    -------
    Comparison
        ``below``, ``within``, ``above``, or ``not comparable`` with every reason.

    Examples
    --------
    >>> tokens = [TokenValue(8000.0 + 100 * i, "S", "initial", "", "word", "model", "open-adult/1") for i in range(6)]
    >>> asked = Question("centroid_hz", age_months=408, group="f", position="initial", level="word", cue="model")
    >>> compare(tokens, asked).placement
    'within'
    """
    made = comparisons(values, question, own=own)
    placed = [each for each in made if each.placement != "not comparable"]
    return placed[0] if placed else made[0]


def comparisons(
    values: Sequence[TokenValue], question: Question, *, own: Sequence[ReferenceRange] = ()
) -> tuple[Comparison, ...]:
    """One comparison for each range that fits the question, or a single one that says why none does."""
    asked = replace(question, n_tokens=None, method="", listing=False)
    answer = find(replace(asked, n_tokens=FEWEST_TOKENS), own=own)
    if answer.none_fits:
        return (_none(answer, values),)
    return tuple(beside(row, values, asked) for row in answer.fits)


def usable(values: Sequence[TokenValue], row: ReferenceRange) -> tuple[list[TokenValue], tuple[Reason, ...]]:
    """Tokens that may be set beside a range, and why others may not, with counts."""
    kept: list[TokenValue] = []
    left: dict[str, int] = {}
    for token in values:
        reason = _unlike(token, row)
        if reason:
            left[reason] = left.get(reason, 0) + 1
        else:
            kept.append(token)
    return kept, tuple(Reason(LEFT_OUT, f"{count} left out: {reason}") for reason, count in left.items())


def _unlike(token: TokenValue, row: ReferenceRange) -> str:
    where = row.circumstances
    if not math.isfinite(token.value):
        return "no value"
    if token.phone != row.phone:
        return f"another sound than /{row.phone.lower()}/"
    if "voiced" in token.flags and row.phone in ("S", "SH"):
        return "voiced"
    if where.position not in ("any", token.position):
        return f"not {where.position}"
    if where.cluster == "none" and token.cluster:
        return "in a cluster"
    if where.cluster not in ("none", "any", "") and token.cluster != where.cluster:
        return f"not in the cluster {where.cluster}"
    if where.level not in ("", "any") and token.level != where.level:
        return f"level {token.level or 'not known'}, not {where.level}"
    if where.cue not in ("", "any") and CUES.find(token.cue) != where.cue:
        return f"cue {token.cue or 'not known'}, not {where.cue}"
    if is_spectral(row) and token.method.split("/")[0] != row.method:
        return f"measured under {token.method or 'no named method'}, not {row.method}"
    return ""


def _none(answer: Answer, values: Sequence[TokenValue]) -> Comparison:
    why = answer.why or (Reason("nothing_held", "no value is held for this question"),)
    return Comparison("not comparable", why, n_tokens=len(values), statement=f"No range fits: {why[0].text}.")


def beside(row: ReferenceRange, values: Sequence[TokenValue], question: Question) -> Comparison:
    """Set the mean of like tokens beside one range that fits; see ``compare``."""
    kept, left = usable(values, row)
    mean = math.fsum(token.value for token in kept) / len(kept) if kept else None
    band = band_of(row, n_sounds=len(kept) or None)
    reasons: list[Reason] = []
    if band is None:
        known = row.population.n_speakers or 0
        reasons.append(Reason("few_speakers", f"{known} speakers: their points are shown, no band and no placement"))
    if len(kept) < FEWEST_TOKENS:
        reasons.append(Reason("few_tokens", f"{len(kept)} like tokens; a comparison needs {FEWEST_TOKENS}"))
    needs = row.method if any(r"measured under" in reason.text for reason in left) else ""
    if reasons or band is None or mean is None:
        text = f"Not comparable: {'; '.join(reason.text for reason in (*reasons, *left))}."
        return Comparison("not comparable", (*reasons, *left), row, mean, len(kept), None, needs, text)
    placement: Placement = "below" if mean < band[0] else "above" if mean > band[1] else "within"
    return Comparison(
        placement,
        left,
        row,
        mean,
        len(kept),
        band,
        needs,
        statement(row, placement, mean, len(kept), band),
        tuple(_cautions(row, kept, mean, band, question)),
    )


def _cautions(
    row: ReferenceRange, kept: Sequence[TokenValue], mean: float, band: tuple[float, float], question: Question
) -> list[str]:
    found: list[str] = []
    people = row.population
    if people.age_low_y is not None and question.age_months is not None and people.adult:
        high = people.age_high_y if people.age_high_y is not None else people.age_low_y
        if not 12 * people.age_low_y <= question.age_months < 12 * (high + 1):
            ages = f"{people.age_low_y:g} to {high:g} years"
            found.append(f"The speakers were {ages}; this person is {age_words(question.age_months)}.")
    if people.dialect and not question.dialect:
        found.append(f"The speakers' variety was {people.dialect}; this person's was not given.")
    if is_spectral(row):
        found.append(MICROPHONE)
    if not knows_sounds(row):
        found.append(
            f"This mean rests on {len(kept)} sounds; how many the source's speakers gave is not known, and with fewer"
            " sounds than theirs a mean falls outside more often."
        )
    if not is_spectral(row):
        found.append("Boundaries were set by hand there, and by this program's stated criterion here.")
    reach = _reach(kept, mean)
    near = [edge for edge in band if abs(edge - mean) <= reach]
    if near:
        edge = number(near[0], row)
        found.append(f"The edge at {edge} lies within the token error of this mean ({bounds_words(mean, reach, row)}).")
    return found


def _reach(kept: Sequence[TokenValue], mean: float) -> float:
    """Half-width of the 95 % t interval of the mean over tokens."""
    n_tokens = len(kept)
    spread = math.sqrt(math.fsum((token.value - mean) ** 2 for token in kept) / (n_tokens - 1))
    return t_quantile(n_tokens - 1) * spread / math.sqrt(n_tokens)
