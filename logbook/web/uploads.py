"""Files from a form: received before any transaction opens, opened in a limited process only."""

import atexit
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from flask import Flask, current_app
from werkzeug.datastructures import FileStorage

from logbook.actions.pictures import Intake, received
from logbook.actions.shop import largest_picture
from logbook.background.opening import PictureOpener
from logbook.refusals import Refused
from logbook.web.acting import reading
from logbook.web.condition import FULL, NO_WRITES, unavailable
from logbook.web.gate import the_shop

_CHANGING = threading.Lock()


def prepare(app: Flask) -> None:
    """Give the app what opens pictures; its process starts with the first file."""
    app.extensions["pictures"] = PictureOpener()
    atexit.register(lambda: app.extensions["pictures"].close())


def opener() -> PictureOpener:
    """What opens pictures, as large as the owner lets in."""
    with reading() as session:
        pixels = largest_picture(session)
    with _CHANGING:
        held: PictureOpener = current_app.extensions["pictures"]
        if held.pixels != pixels:
            held.close()
            held = current_app.extensions["pictures"] = PictureOpener(pixels=pixels)
    return held


@contextmanager
def taken_in(files: Sequence[FileStorage] | None) -> Iterator[list[Intake]]:
    """Every file that was really sent; Refused names the first that will not do, and nothing is left behind."""
    sent = [(file.filename, file.stream) for file in files or () if file and file.filename]
    try:
        with received(the_shop().store, sent, opening=opener().look) as taken:
            yield taken
    except OSError as error:
        if error.errno not in FULL:
            raise
        unavailable()
        raise Refused(NO_WRITES, field="pictures") from None
