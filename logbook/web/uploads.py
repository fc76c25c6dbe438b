"""Files from a form: received before any transaction opens, opened in a limited process only."""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import IO

from flask import Flask, current_app
from werkzeug.datastructures import FileStorage

from logbook.actions.pictures import Intake, SortedOut, clean_name, received, sorted_out
from logbook.actions.shop import largest_picture
from logbook.background.opening import PictureOpener
from logbook.refusals import Refused
from logbook.web.acting import reading
from logbook.web.condition import FULL, NO_WRITES, unavailable
from logbook.web.gate import the_shop
from logbook.web.turns import waiting

_CHANGING = threading.Lock()


def prepare(app: Flask) -> None:
    """Give the app what opens pictures; its process starts with the first file."""
    app.extensions["pictures"] = PictureOpener()


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
    """Every file that was really sent; Refused names each that will not do, and nothing is left behind."""
    with _no_room_said(), received(the_shop().store, _sent(files), opening=waiting(opener().look)) as taken:
        yield taken


def _sent(files: Sequence[FileStorage] | None) -> list[tuple[str, IO[bytes]]]:
    # a part without a name comes as words, which are no file
    whole = [file for file in files or () if isinstance(file, FileStorage) and file.filename]
    return [(file.filename or "", file.stream) for file in whole]


@dataclass(frozen=True, slots=True)
class Held:
    """A picture that came with a form that was not accepted, and is held for its next try."""

    value: str
    """What the form sends back for it."""
    name: str
    width_px: int
    height_px: int


@contextmanager
def sorted_with_held(files: Sequence[FileStorage] | None, held: Sequence[str]) -> Iterator[SortedOut]:
    """The pictures that an earlier try of this form left here, then those that were sent; see ``sorted_out``."""
    earlier = [(clean_name(name), word) for word, _, name in (value.partition(" ") for value in held)]
    look = waiting(opener().look)
    with _no_room_said(), sorted_out(the_shop().store, [*earlier, *_sent(files)], opening=look) as found:
        yield found


def hold(found: SortedOut) -> list[Held]:
    """Hold the good pictures of a form that was not accepted; they are swept when it never comes again."""
    store = the_shop().store
    return [
        Held(f"{store.hold(one.waiting)} {one.name}", one.name, one.width_px, one.height_px) for one in found.good
    ]


@contextmanager
def _no_room_said() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno not in FULL:
            raise
        unavailable()
        raise Refused(NO_WRITES, field="pictures") from None
