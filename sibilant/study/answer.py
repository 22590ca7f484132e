"""All that a study found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from .question import Question

if TYPE_CHECKING:
    from .discriminate import Evaluation
    from .effects import Effect
    from .frame import Prepared
    from .mixed import Model
    from .normalise import Normalised
    from .sensitivity import Sensitivity


@dataclass(frozen=True, slots=True)
class Study:
    """All that a study found; ``notes`` say what was not done and why."""

    question: Question
    prepared: Prepared
    effects: tuple[Effect, ...]
    models: tuple[Model, ...]
    evaluations: tuple[Evaluation, ...]
    normalised: tuple[Normalised, ...]
    sensitivity: tuple[Sensitivity, ...]
    notes: tuple[str, ...] = ()
