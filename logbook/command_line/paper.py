"""``logbook travellers``: every open job's traveller in one PDF."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import click

from logbook.command_line.shop import data_option, existing
from logbook.command_line.telling import shown
from logbook.refusals import Refused


@click.command()
@click.argument("out", type=click.Path(path_type=Path))
@data_option
@click.option("--page", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
@click.option("--address", default="http://127.0.0.1:8420/", show_default=True, help="What the QR codes open.")
def travellers(out: Path, data: Path, page: str, address: str) -> None:
    """Write the travellers of all open jobs into OUT, one after the other.

    They show the shop as it stands and are no revision on record; the page 'Travellers of all open jobs' keeps each as
    one. An address with 127.0.0.1 opens on this machine only, never on a phone.
    """
    from logbook.actions import papers, people
    from logbook.paper.traveller import traveller_html
    from logbook.paper.writer import PdfWriter, pdf_of_many
    from logbook.records.audit import Actor

    shop, by = existing(data), Actor(None, "command line", "owner", datetime.now(UTC))
    with shop.database.reading() as session:
        own, manner = shop.settings.own_safety_path, people.manner_of_shop(session)
        gathered = [
            papers.traveller(session, by, job=job, store=shop.store, own_safety=own, address=address, manner=manner)
            for job in papers.open_jobs(session)
        ]
    if not gathered:
        raise Refused("No job is open; there is no traveller to write.")
    written = [(traveller_html(one.view, page=page), one.assets()) for one in gathered]
    with PdfWriter() as writer:
        out.write_bytes(pdf_of_many(written, writer=writer, progress=_counted(shown("Writing travellers"))))
    click.echo(f"{len(written)} {'traveller' if len(written) == 1 else 'travellers'} in {out}")


def _counted(show: Callable[[float], None]) -> Callable[[int, int], None]:
    return lambda done, of: show(done / of)
