"""``python -m logbook`` is the command line."""

from logbook.command_line import program

program()
