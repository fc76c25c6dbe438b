"""Command line: ``logbook --help``.

Entry points only: read the words, open the transaction where one is needed,
call one function of a lower room, print. Engine commands import neither the
web nor the records. A refusal is one sentence on standard error and exit code
2; ``--json`` prints one JSON object on standard output and nothing else.
"""

import importlib
import logging
import os
import sys

import click

from logbook import __version__
from logbook.command_line.loose_objects import look_less_often
from logbook.refusals import Refused

# what people come for -> the commands that do it, in the order in which --help lists them
_PURPOSES = {
    "Pictures and pitches, without any shop": ("pitch", "interlace", "view"),
    "The shop's logbook": ("serve", "worker", "proofs", "autostart", "new-password"),
    "What is on record": ("trace", "verify", "travellers"),
    "Keeping it safe": ("backup", "verify-backup", "restore", "export", "move-to"),
}
_CLOSING = (
    ("Begin with", ("logbook serve", "and open the address that it prints; it asks for the shop's owner.")),
    ("Exit codes", (
        "0 done; 1 stopped before it was done, or what was checked is wrong;",
        "2 refused: one sentence on standard error says why.",
    )),
    ("For scripts", (
        "--json prints one JSON object on standard output and nothing else;",
        "progress goes to standard error, and only where somebody watches.",
    )),
    ("More", ("logbook COMMAND --help",)),
)  # fmt: skip
# command name -> module of this room that defines it under the same name
# (dashes become underscores); imported only when that command is called.
_COMMANDS = {
    "pitch": "pitch",
    "interlace": "interlace",
    "view": "view",
    "trace": "shop",
    "serve": "serving",
    "worker": "shop",
    "proofs": "proofs",
    "travellers": "paper",
    "verify": "shop",
    "backup": "backup",
    "verify-backup": "backup",
    "restore": "backup",
    "export": "backup",
    "move-to": "moving",
    "new-password": "shop",
    "autostart": "shop",
}


class _Commands(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """By purpose, each with its first sentence."""
        named = {name: self.get_command(ctx, name) for name in _COMMANDS}
        known = {name: command.get_short_help_str(limit=140) for name, command in named.items() if command}
        for purpose, names in _PURPOSES.items():
            with formatter.section(purpose):
                formatter.write_dl([(name, known[name]) for name in names])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Where to begin, how it ends."""
        for title, lines in _CLOSING:
            with formatter.section(title):
                for line in lines:
                    formatter.write(f"{'':{formatter.current_indent}}{line}\n")

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f"{__name__}.{_COMMANDS[cmd_name]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="logbook")
def _root() -> None:
    """Lens Bench Logbook: from the order to the door of a lenticular print workshop."""


def main() -> None:
    """Run the command line; a refusal prints its sentence and exits with 2."""
    look_less_often()
    # what a library remarks about a broken file would stand beside the command's own sentence
    logging.getLogger("tifffile").addHandler(logging.NullHandler())
    try:
        _root.main(prog_name="logbook", standalone_mode=False)
    except click.exceptions.Exit as leave:
        sys.exit(leave.exit_code)
    except click.Abort:
        sys.exit("logbook: stopped.")
    except click.ClickException as error:
        print(f"logbook: {error.format_message()}", file=sys.stderr)
        sys.exit(2)
    except Refused as refusal:
        print(f"logbook: {refusal.sentence}", file=sys.stderr)
        sys.exit(2)


def program() -> None:
    """The command line as a process of its own: it ends at once where nothing is open any more.

    To take the interpreter apart would cost a tenth of a print.
    """
    main()
    if sys.argv[1:2] == ["interlace"]:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(0)
