"""The month in pictures: what a clinician does from the first probe to a report, place by place."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from ..clinic import clients
from .asking import caseload_of, client_of
from .places import Answer
from .showing import shown


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the month: the picture's name, what is done, and the place where it is done."""

    picture: str
    title: str
    words: str
    place: str
    alt: str


STEPS = (
    Step(
        "clients", "Add a client under a code",
        "A code is drawn; names stay where you keep them. Consent is given by a role. Say when therapy starts: three"
        " probes on different days come before it, or a later change can’t be told from chance.",
        "", "The clients’ place: codes, ages, sessions, and what to see to.",
    ),
    Step(
        "capture", "Record a probe, or bring one in",
        "Word by word from the microphone, or a recording already made. The list, the level and the help stay the same"
        " all year. No figure is shown.",
        "capture", "The capture place: list, level, cue, device, and the check of the microphone.",
    ),
    Step(
        "judge", "Judge by ear, before any figure",
        "One sound after the other, a letter for what was heard. Nothing is chosen beforehand, and the set is judged"
        " whole before a figure of it is seen.",
        "judge", "The judge place: one word, and a key for each mark.",
    ),
    Step(
        "review", "Look at what is unsure",
        "Words that ask for a look come first. Edges are moved by mouse, touch or arrow keys; the machine’s stay beside"
        " yours.",
        "review", "The review place: a word’s picture with its edges.",
    ),
    Step(
        "goals", "Write goals and visits down, once",
        "What is worked towards, at which level and help, by which criterion. Reports print it with where it stands.",
        "goals", "The goals’ place: a goal with its criterion, and visits.",
    ),
    Step(
        "practise", "Practise, apart from the probes",
        "A long sound with a ribbon, runs with a key for each mark, sheets for home. What was practised is never"
        " counted as a probe.",
        "practise", "The practice place: a long sound, a run of words, a sheet for home.",
    ),
    Step(
        "progress", "See whether a change is larger than error",
        "Sentences with their days first, then the chart and the table; how it was worked out is folded away. A point"
        " of the chart leads to the sounds behind it.",
        "progress", "The progress place: sentences, and the chart over months.",
    ),
    Step(
        "listen", "Hear then and now",
        "The same word early and late, one after the other, equally loud.",
        "listen", "The listening place: two sounds to choose.",
    ),
    Step(
        "report", "Write the report that its reader can use",
        "A month, a quarter, a school, a payer, a family, your own session note. Read it on the page, fill in what only"
        " you know, sign it by hand.",
        "reports", "A family’s page: how many words had a clear s, and what to practise.",
    ),
)  # fmt: skip


def place(request: Request) -> Response:
    """Show the month, step by step."""
    code = client_of(request)
    who = clients.show_client(caseload_of(request), code) if code else None
    return shown(request, "help.html.j2", who=who, steps=STEPS)


PAGES: dict[str, Answer] = {"/help": place}
