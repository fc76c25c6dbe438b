"""The command that lets customers look at their proofs, where the owner wants that."""

import logging
from pathlib import Path

import click

from logbook.command_line.serving import listen, run_server
from logbook.command_line.shop import data_option, existing
from logbook.refusals import Refused

DEFAULT_PORT = 8421
REQUEST_BYTES = 2**16
THREADS = 4
OFF = (
    "Links to proofs are off: the owner turns them on at 'What the shop knows of itself' by writing down the public "
    "address that customers open."
)


@click.command()
@data_option
@click.option("--port", type=click.IntRange(0, 65535), default=DEFAULT_PORT, show_default=True,
              help="Port to listen on; 0 takes a free one.")  # fmt: skip
@click.option("--listen", "host", default="127.0.0.1", show_default=True,
              help="Address to listen on; another only where HTTPS runs on another machine.")  # fmt: skip
def proofs(data: Path, port: int, host: str) -> None:
    """Show proofs to customers by their links, on a port of its own; off until the owner turns it on.

    It knows the proofs' addresses and nothing else of the shop, and is meant to
    stand behind the owner's HTTPS, which tells it the visitor's address
    (X-Forwarded-For) and leaves addresses that begin with /p/ out of its log.
    """
    from logbook.actions import prooflinks
    from logbook.web.proofsite import create_proof_app

    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(name)s: %(message)s")
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    shop = existing(data)
    with shop.database.reading() as session:
        public = prooflinks.public_address(session)
    if not public:
        raise Refused(OFF)
    listener = listen(host, port)
    click.echo(f"http://{host}:{listener.getsockname()[1]}/")
    click.echo(f"For customers, through HTTPS: {public}")
    # only what stands on this machine may say for whom it asks
    run_server(create_proof_app(shop), listener, threads=THREADS, max_request_body_size=REQUEST_BYTES,
               trusted_proxy="127.0.0.1", trusted_proxy_headers={"x-forwarded-for"})  # fmt: skip
