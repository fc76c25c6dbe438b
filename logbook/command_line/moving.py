"""``logbook move-to``: a shop that outgrew one machine moves to a PostgreSQL server."""

import json
from pathlib import Path

import click

from logbook.actions.moving import move_to_server
from logbook.command_line.backup import at_the_machine, json_option
from logbook.command_line.shop import data_option, existing_file
from logbook.command_line.telling import shown
from logbook.settings import DATABASE_VARIABLE, without_secrets


@click.command("move-to")
@click.argument("address", envvar=DATABASE_VARIABLE, default="", metavar="[ADDRESS]")
@data_option
@json_option
def move_to(address: str, data: Path, as_json: bool) -> None:
    """Move the shop's database to a PostgreSQL server: every row, counted there, the audit trail recomputed there.

    ADDRESS is that of an empty database, postgresql://name@machine/database; without one, what LOGBOOK_DATABASE says.
    A password belongs into the server's own password file (.pgpass) rather than here. The kept files stay in the data
    folder. From then on every command finds the shop by LOGBOOK_DATABASE, and the old file takes no entry any more.
    """
    settings = existing_file(data)
    copied = move_to_server(settings, address, at_the_machine(), progress=shown("Moving"))
    place, rows = without_secrets(address), sum(copied.rows.values())
    told = {"database": place, "rows": rows, "tables": len(copied.rows), "entries": copied.head.seq,
            "head": copied.head.hash, "data": str(settings.data)}  # fmt: skip
    words = (
        f"{place} holds the shop: {rows} rows in {len(copied.rows)} tables, {copied.head.seq} entries, head "
        f"{copied.head.hash}. Start it with {DATABASE_VARIABLE} set to that address; its files stay in {settings.data}."
    )
    click.echo(json.dumps(told) if as_json else words)
