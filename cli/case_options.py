"""Options that the caseload's commands share."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sibilant.terms.vocabulary import Vocabulary

if TYPE_CHECKING:
    from sibilant.clinic.caseload import CaseloadHandle

Command = Callable[..., Any]


class Day(click.ParamType[dt.date]):
    """A day as 2026-01-31."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.date:
        """Read a day, or fail in one line."""
        if isinstance(value, dt.date):
            return value
        try:
            return dt.date.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is not a day; write it as 2026-01-31", param, ctx)


class Word(click.ParamType[str]):
    """One word of a vocabulary, in any spelling that its reader takes."""

    name = "word"

    def __init__(self, words: Vocabulary[Any]) -> None:
        self.words = words

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """Show the words as a choice."""
        return f"[{'|'.join(self.words)}]"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Read a word, or fail in one line."""
        try:
            return str(self.words.read(value))
        except ValueError as error:
            self.fail(str(error), param, ctx)


def folder_of(option: Path | None = None) -> Path:
    """The caseload's folder: as asked, or ``SIBILANT_CASELOAD``, or the user's data folder."""
    from sibilant.clinic.caseload import usual_folder

    return usual_folder(option)


def _handle(_ctx: click.Context, _param: click.Parameter, folder: Path | None) -> CaseloadHandle:
    """The handle of the caseload asked for, which a command hands on."""
    from sibilant.clinic.caseload import CaseloadHandle

    return CaseloadHandle(folder_of(folder))


caseload = click.option(
    "--caseload",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    callback=_handle,
    help="The store; also SIBILANT_CASELOAD.",
)
as_json = click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output, nothing else.")
client = click.argument("client", required=False)


def list_words(named: str) -> str:
    """The words of a list file's name, which is kept with the session; a built-in list has none."""
    from sibilant.clinic import private

    return private.file_words(named) if Path(named).suffix else ""


no_name = click.option("--no-name", is_flag=True, help="What looked like a name is none; keep it.")


def ask_about_names(no_name: bool, **texts: str | None) -> None:
    """Ask about what looks like a name in texts about to be kept, each by what it is."""
    from sibilant.clinic import private

    told = [(place.replace("_", " "), text) for place, text in texts.items() if text]
    private.ask_about_names(told, no_name=no_name)


rater = click.option(
    "--rater", default="", metavar="CODE", help="Who judges, by a code; default: the last used, or R1."
)


def client_first(arguments: tuple[str, ...]) -> tuple[str | None, tuple[str, ...]]:
    """The client named first, or None where the first argument is something else, and the rest."""
    if arguments and re.fullmatch(r"[cC]-\w{4}", arguments[0]):
        return arguments[0], arguments[1:]
    return None, arguments


def on(text: str) -> Callable[[Command], Command]:
    """``--on DATE`` with its help text."""
    return click.option("--on", type=Day(), metavar="DATE", help=text)
