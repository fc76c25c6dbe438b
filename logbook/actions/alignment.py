"""Laying a job's pictures over each other: each is moved by dots of the print until its key points match."""

from collections.abc import Callable
from functools import partial

from PIL import Image
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.machines import dots_per_inch
from logbook.engine import proofing
from logbook.engine.plan import NO_SHIFT, Shift
from logbook.lengths import INCH_IN_MM
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore
from logbook.records.machines import PrinterMode
from logbook.records.orders import Picture, PictureShift
from logbook.refusals import Refused

MOST_DOTS = 20_000


def move(session: Session, by: Actor, *, picture: Picture, mode: PrinterMode, dx: int, dy: int) -> PictureShift:
    """A picture lies ``dx`` dots further right and ``dy`` further down than its fit alone would put it."""
    if picture.replaced_at is not None:
        raise Refused("That picture was replaced already; open the page again.")
    if picture.job.ended_at is not None:
        raise Refused(f"Everything of {picture.job.number} has gone out: place a reorder to print it laid anew.")
    for name, dots in (("dx", dx), ("dy", dy)):
        if abs(dots) > MOST_DOTS:
            raise Refused(
                f"A picture is moved by at most {MOST_DOTS} dots; cut it anew where it is further off.", field=name
            )
    old = newest(picture)
    made = PictureShift(
        picture=picture,
        dx=dx,
        dy=dy,
        dpi_across=mode.dpi_across,
        dpi_down=mode.dpi_down,
        at=by.now,
        person_id=by.person_id,
    )
    session.add(made)
    session.flush()
    was = {"dx": old.dx, "dy": old.dy} if old else {}
    dpi = f"{mode.dpi_across} x {mode.dpi_down}"
    now = {"picture": picture.code, "dx": dx, "dy": dy, "dots per inch": dpi}
    record(session, by, Act("picture moved", [ref(picture.job), ref(picture)], old=was, new=now))
    return made


def newest(picture: Picture) -> PictureShift | None:
    """The shift that counts; None where the picture was never moved."""
    return picture.shifts[-1] if picture.shifts else None


def shift_in(picture: Picture) -> Shift:
    """How a picture is moved in inches of the print, exact."""
    kept = newest(picture)
    if kept is None:
        return NO_SHIFT
    return kept.dx / dots_per_inch(kept.dpi_across), kept.dy / dots_per_inch(kept.dpi_down)


def shift_mm(picture: Picture) -> Shift:
    """The same in millimetres, for views."""
    right, down = shift_in(picture)
    return right * INCH_IN_MM, down * INCH_IN_MM


def shift_dots(picture: Picture, mode: PrinterMode) -> Shift:
    """The same in dots of a printer's mode; parts of a dot where it is not the mode it was laid in."""
    right, down = shift_in(picture)
    return right * dots_per_inch(mode.dpi_across), down * dots_per_inch(mode.dpi_down)


def on_piece(
    picture: Picture, store: FileStore, *, long_side: int, fit: str | None = None, shift: Shift | None = None
) -> Callable[[], Image.Image]:
    """What draws a picture as it will stand on the finished piece, by its own fit and shift where none is given.

    Called when the database is closed: drawing takes its time, and a reader keeps writers waiting.
    """
    job = picture.job
    return partial(
        proofing.framed,
        store.path(picture.preview.sha256),
        width=job.width.mm,
        height=job.height.mm,
        bleed=job.bleed.mm,
        fit=fit or job.fit,
        long_side=long_side,
        shift=shift_mm(picture) if shift is None else shift,
    )


def is_moved(picture: Picture) -> bool:
    """Whether a picture lies elsewhere than its fit alone would put it."""
    return shift_in(picture) != NO_SHIFT
