"""`python -m pipeline.cli`: the command, without being installed."""

from pipeline.cli import command

command()
