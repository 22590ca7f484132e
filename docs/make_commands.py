"""Make docs/commands.md from the commands themselves: python docs/make_commands.py."""

from __future__ import annotations

from pathlib import Path

import click
from sibilant_cli.main import COMMANDS, group

PAGE = Path(__file__).with_name("commands.md")
HEAD = """# Commands

Made from the commands by `python docs/make_commands.py`; don't edit it here.

Exit codes: 0 done (what could not be measured is in the table with its reason), 2 the command line is wrong, 3 an input
can't be used or was refused (one line on standard error says which, why and the way out), 1 a fault of the program.
"""


def help_of(name: str, command: click.Command, parent: click.Context) -> list[str]:
    """Return the help of a command and of those below it."""
    command._help_option = None  # whoever ran the command by itself before left that way's help option behind
    context = click.Context(command, info_name=name, parent=parent, max_content_width=100, terminal_width=100)
    parts = [f"## {context.command_path}\n\n```text\n{command.get_help(context)}\n```\n"]
    if isinstance(command, click.Group):
        for below in command.list_commands(context):
            inner = command.get_command(context, below)
            assert inner is not None
            parts += help_of(below, inner, context)
    return parts


def page() -> str:
    """Return the whole page."""
    top = click.Context(group, info_name="sibilant", max_content_width=100, terminal_width=100)
    parts = [HEAD]
    for name in COMMANDS:
        command = group.get_command(top, name)
        assert command is not None, f"{name} is listed but has no command"
        parts += help_of(name, command, top)
    return "\n".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
