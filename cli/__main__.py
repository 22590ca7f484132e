"""Run the command with ``python -m sibilant_cli``."""

from .main import main

main()
