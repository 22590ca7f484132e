"""What a study answers: every analysis of a table in one noun, from which tables, figures and paragraph are written.

Nothing is computed anew on the way out, so that all of them say the same.
"""

from __future__ import annotations

from dataclasses import dataclass

from .beside import Beside
from .discriminate import Evaluation
from .effects import Effect
from .frame import Prepared
from .missing import Bound, Missing
from .mixed import Model
from .normalise import Normalised
from .question import Question
from .recorded import Recorded
from .sensitivity import Sensitivity


@dataclass(frozen=True, slots=True)
class Study:
    """All that a study found; ``notes`` say what was not done and why."""

    question: Question
    prepared: Prepared
    effects: tuple[Effect, ...]
    models: tuple[Model, ...]
    analyses: tuple[Beside, ...]
    evaluations: tuple[Evaluation, ...]
    normalised: tuple[Normalised, ...]
    sensitivity: tuple[Sensitivity, ...]
    recorded: Recorded
    missing: tuple[Missing, ...]
    bounds: tuple[Bound, ...]
    notes: tuple[str, ...] = ()
