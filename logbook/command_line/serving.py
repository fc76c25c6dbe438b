"""The command that serves the shop's pages: ``logbook serve``."""

import logging
import os
import socket
import sys
import threading
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from logbook.command_line.shop import data_option, sound
from logbook.refusals import Refused
from logbook.settings import Settings

if TYPE_CHECKING:
    from logbook.records.opened import Shop

DEFAULT_PORT = 8420
FORM_BYTES = 2**20
"""Room for a form around its largest file."""
STILL_AT_WORK = timedelta(minutes=2)
"""A temporary file that was written to within this time may belong to a worker that runs beside the server."""
THREADS = 4
"""Of one process: one computes, the others wait for a database, a child or a slow line."""
MOST_PROCESSES = 4


@click.command()
@data_option
@click.option("--port", type=click.IntRange(0, 65535), default=DEFAULT_PORT, show_default=True,
              help="Port to listen on; 0 takes a free one.")  # fmt: skip
@click.option("--shop-network", is_flag=True, help="Serve tablets in the shop's network too, not only this machine.")
@click.option("--no-worker", is_flag=True, help="Without a worker of its own; run 'logbook worker' beside it.")
@click.option("--processes", type=click.IntRange(1, MOST_PROCESSES), envvar="LOGBOOK_PROCESSES",
              default=lambda: min(os.cpu_count() or 1, MOST_PROCESSES),
              show_default=f"one for each processor, {MOST_PROCESSES} at most",
              help="How many processes answer; each takes some 120 MB.")  # fmt: skip
def serve(data: Path, port: int, shop_network: bool, no_worker: bool, processes: int) -> None:
    """Start the logbook in the browser, with its background worker.

    On an empty folder the first page asks for the shop's owner. Ctrl+C ends it; everything that was answered is kept.
    """
    from logbook.background.supervise import Supervisor, program, worker_command
    from logbook.web.common import begun

    quieten()
    settings = Settings(data=data.absolute())
    shop = sound(settings)
    listener = listen("0.0.0.0" if shop_network else "127.0.0.1", port)  # noqa: S104 - asked for by name
    # only now: where the port is taken, another server works in this folder
    _tidy(shop)
    network = _network_address(listener.getsockname()[1]) if shop_network else None
    _say(shop, listener.getsockname()[1], network)
    beside = [] if no_worker else [Supervisor(worker_command(settings))]
    with begun() as common:
        pages = program("logbook.command_line.pages", settings.data, listener.fileno(), common.fileno(), network or "")
        beside += [Supervisor(pages, files=(listener.fileno(), common.fileno())) for _ in range(processes - 1)]
        for one in beside:
            one.start()
        try:
            answer(shop, listener, common.fileno(), network, checks=True)
        finally:
            for one in beside:
                one.stop()


def quieten() -> None:
    """One heap, seldom looked through, and a log of what matters."""
    from logbook.command_line.loose_objects import look_less_often
    from logbook.command_line.one_heap import use_one_heap

    look_less_often()
    use_one_heap()
    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(name)s: %(message)s")
    # a short queue is no trouble, and a browser's own rules in a paper's style sheet are none either
    for chatty in ("waitress.queue", "weasyprint"):
        logging.getLogger(chatty).setLevel(logging.ERROR)


def _say(shop: "Shop", port: int, network: str | None) -> None:
    click.echo(f"http://127.0.0.1:{port}/")
    click.echo(f"Data folder: {shop.settings.data}" + (" (demo: invented data)" if shop.is_demo else ""))
    if network:
        click.echo(
            f"Also at {network} for everybody in this network: they can reach the sign-in page, and what they "
            "type travels unencrypted. Use it only in a network whose people you know."
        )


def answer(shop: "Shop", listener: socket.socket, common: int, network: str | None, *, checks: bool) -> None:
    """Serve the shop's pages until somebody ends it.

    ``common`` is the descriptor of what all processes that answer know together. ``checks``: let SQLite look through
    the whole file meanwhile.
    """
    from logbook.background.bell import Bell
    from logbook.command_line.loose_objects import keep_what_is_loaded
    from logbook.web.app import create_app
    from logbook.web.common import Common
    from logbook.web.turns import Turns

    app = create_app(shop, ring=Bell(shop.settings).ring, network_address=network, common=Common(common))
    if checks:
        looking = threading.Thread(target=app.extensions["condition"].check, name="look through the database")
        looking.daemon = True
        looking.start()
    app.wsgi_app = Turns(app.wsgi_app)  # type: ignore[method-assign]
    keep_what_is_loaded()
    run_server(app, listener, threads=THREADS, max_request_body_size=shop.settings.upload_bytes + FORM_BYTES)


def _tidy(shop: "Shop") -> None:
    """What a crash left behind goes before anybody works; a folder that takes no writes is still shown."""
    from sqlalchemy.exc import OperationalError

    from logbook.actions.repairs import note_swept
    from logbook.background.compute import worker_actor
    from logbook.records.drawn import clear
    from logbook.records.files import sweep_orphans

    with suppress(OSError):
        clear(shop.store)
    temporary = shop.store.sweep(idle=STILL_AT_WORK)
    with shop.database.reading() as session:
        unknown = sweep_orphans(session, shop.store)
    if temporary or unknown:
        with suppress(OperationalError), shop.database.writing() as session:
            note_swept(session, worker_actor(), temporary=temporary, unknown=unknown)


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens there already; Refused where the port cannot be used."""
    try:
        with _bound(host, port) as alone:  # where somebody listens already, also one who would share the port
            port = int(alone.getsockname()[1])
        listener = _bound(host, port, shared=_SHARED)
        # from here on a browser is answered, if only after the rest has started
        listener.listen()
    except OSError as error:
        raise Refused(f"Port {port} cannot be used ({error.strerror}); give another with --port.") from None
    return listener


def listen_beside(listener: socket.socket) -> socket.socket:
    """A socket of its own at the address where another process listens.

    The system deals connections out evenly among such sockets. From one socket whoever wakes first takes them, and a
    browser keeps its connection: one process had forty of fifty people while the other had time. When this process
    ends, its socket goes with it, and the others get everybody.
    """
    if not _SHARED:
        return listener
    with listener:
        own = _bound(*listener.getsockname(), shared=True)
    own.listen()
    return own


_SHARED = sys.platform == "linux"
"""Elsewhere SO_REUSEPORT does not deal connections out."""


def _bound(host: str, port: int, *, shared: bool = False) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    if shared:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
    try:
        made.bind((host, port))
    except OSError:
        made.close()
        raise
    return made


def _network_address(port: int) -> str:
    """This machine's address as the shop's network sees it; no packet is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            host = probe.getsockname()[0]
        except OSError:
            host = socket.gethostname()
    return f"http://{host}:{port}/"


def run_server(app: object, listener: socket.socket, **how: object) -> None:
    """Serve pages until somebody ends it; ``how`` is in the server's own words."""
    import signal

    import waitress

    def end(*_: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, end)
    with suppress(KeyboardInterrupt):
        waitress.serve(app, sockets=[listener], ident=None, clear_untrusted_proxy_headers=True, **how)
