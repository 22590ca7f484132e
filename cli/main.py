"""The command group, loaded lazily, and the one place where errors become exit codes."""

from __future__ import annotations

import sys
from importlib import import_module

import click

COMMANDS: dict[str, str] = {
    "demo": "the whole job on invented clients, offline",
    "check": "what a recording can and cannot support",
    "measure": "find and measure the sibilants of a recording",
    "corpus": "every sibilant of many recordings, one row each",
    "study": "groups of speakers compared",
    "expect": "the sibilants expected in words or phrases",
    "lists": "the built-in word lists",
    "ranges": "published values that fit, or why none does",
    "caseload": "the caseload itself: whole, encrypted, backed up, restored",
    "client": "pseudonymous clients: add, list, show, change, hold, remove, restore",
    "event": "something dated that may bear on the figures",
    "goal": "what is worked towards, with its criterion",
    "visit": "appointments: attended or called off",
    "device": "registered microphones and places",
    "probe": "measure a probe and keep it as a session",
    "session": "kept sessions: list, show, change, move, remove, restore",
    "judge": "a person's judgements by ear",
    "review": "boundaries, voices and attempts corrected by a person",
    "agree": "agreement of raters",
    "page": "the page on this machine: capture, judge, review, progress",
    "progress": "one client's sessions, change and accuracy",
    "report": "a report of one client, to edit and sign",
    "practice": "a home practice sheet, large print",
    "plan": "how many words and probes a wanted change needs",
    "export": "one client in open formats, without sound unless asked",
    "import": "a client from an export, or an earlier hand-made table",
}


MODULES = {"import": "import_"}


class LazyGroup(click.Group):
    """A group that imports a command's module only when that command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f".{MODULES.get(cmd_name, cmd_name)}", __package__).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="sibilant")
def group() -> None:
    """Measure sibilants in recorded practice words, as supporting evidence for a clinician's judgement.

    Example: sibilant measure probe.wav --words core-a --to probe.csv
    """


def main(arguments: list[str] | None = None) -> None:
    """Run the command line; exit 0 done, 2 wrong command line, 3 an input can't be used, 1 a fault of the program."""
    sys.exit(run(arguments))


def run(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    from sibilant.errors import SibilantError, UsageError

    try:
        left = group.main(args=arguments, prog_name="sibilant", standalone_mode=False)
    except click.exceptions.Exit as leave:
        return leave.exit_code
    except click.ClickException as wrong:
        wrong.show()
        return 2
    except click.Abort:
        click.echo("stopped", err=True)
        return 1
    except UsageError as wrong:
        click.echo(f"sibilant: {wrong}", err=True)
        return 2
    except SibilantError as refused:
        click.echo(f"sibilant: {refused}", err=True)
        return 3
    except BrokenPipeError:
        return 0
    return left if isinstance(left, int) else 0
