"""How likely each thing that may happen in a recording is before anything is heard."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Priors:
    """Log weights of what may happen in a recording; own choice, tuned on seeded lists (``docs/words.md``).

    ``word`` is paid for each prompt of the list: where much goes wrong, a word that goes right says more. ``before`` is
    paid once: how likely such a recording is before anything is heard.
    """

    stray: float = -1.5
    repeat: float = -4.0
    broken: float = -3.0
    missing: float = -5.0
    unfinished: float = -3.0
    other: float = -5.0
    word: float = -0.16
    before: float = 0.0


# Chosen on invented probes (docs/words.md), where no other origin is named.
EVENTFUL = Priors(before=-2.2)  # a list with repeats, models and breaks, against which a regular one is weighed
REGULAR = Priors(stray=-6.0, repeat=-9.0, broken=-9.0, missing=-10.0, unfinished=-3.0, other=-9.0, word=0.0)
"""A list said as it stands (log odds of each kind of event)."""
