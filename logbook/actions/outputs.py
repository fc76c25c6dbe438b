"""Interlaced files after the run: their names, the way to the printer, dropped after shipping and made anew."""

import json
import shutil
from fractions import Fraction
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.standing import refuse_withdrawn
from logbook.lengths import INCH_IN_MM
from logbook.manner import Manner
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore, hash_file
from logbook.records.floor import Print, Run, Sheet
from logbook.refusals import Refused


def label(run: Run) -> str:
    """What the file is named after: its serial or serials, before they begin the job."""
    serials = [piece.serial for sheet in run.sheets for piece in sheet.prints if piece.stage != "scrapped"]
    if not serials:
        return run.pieces[0].job.number
    return serials[0] if len(serials) == 1 else f"{serials[0]}_to_{serials[-1]}"


def file_name(run: Run, label: str) -> str:
    """A name that tells the printer's operator what it is: serial or sheet, size, dots per inch, pitch."""
    made = json.loads(run.recipe)
    across, down = made["dpi"]
    dpi = across if across == down else f"{across}x{down}"
    safe = "".join(letter if letter.isalnum() or letter in "-." else "_" for letter in label)
    return f"{safe}_{made['width']}x{made['height']}_{dpi.replace('/', 'over')}dpi_{made['lpi']}lpi.tif"


def whole_size(run: Run, manner: Manner) -> str:
    """The size that a printer's preview shows of the whole file, wider than the print by its marks; empty before it."""
    told = json.loads(run.result or "{}")
    pairs = zip(told.get("dots", ()), told.get("dpi", ()), strict=True)
    sides = [Fraction(dots) / Fraction(dpi) * INCH_IN_MM for dots, dpi in pairs]
    marks = " with its marks" if json.loads(run.recipe).get("waste") else ""
    return f"{manner.on_paper(*sides)}{marks}" if sides else ""


def hand_over(session: Session, by: Actor, store: FileStore, run: Run, folder: Path, label: str) -> Path:
    """Copy the output into the folder that the printer's computer reads, whole or not at all."""
    if run.output is None:
        raise Refused("There is no file to hand over yet; wait until it is interlaced.")
    if run.output.dropped_at is not None:
        raise Refused("The file was let go after its prints had left; make it anew first.")
    if not folder.is_dir():
        raise Refused(f"The hand-over folder {folder} is not there; check it on the shop's page.")
    refuse_withdrawn(session, run)
    target = folder / file_name(run, label)
    _copy_whole(store.path(run.output.sha256), target, run.output.sha256)
    record(session, by, Act("file handed over", [ref(run)], new={"name": target.name}, files=[run.output.sha256]))
    return target


def _copy_whole(source: Path, target: Path, sha256: str) -> None:
    waiting = target.with_suffix(".part")
    try:
        shutil.copyfile(source, waiting)
        if hash_file(waiting) != sha256:
            raise Refused("The copy in the hand-over folder differs from the file; try again.")
        waiting.replace(target)
    except OSError as error:
        raise Refused(
            f"The file could not be written to {target.parent}: {error.strerror}. Look at that folder, then "
            "hand over again."
        ) from None
    finally:
        waiting.unlink(missing_ok=True)


def drop(session: Session, by: Actor, *, run: Run) -> str:
    """Let the large file go once every print of the run has left; recipe, versions and hashes stay.

    Returns the SHA-256 whose bytes the caller deletes after the transaction.
    """
    if run.output is None or run.output.dropped_at is not None:
        raise Refused("There is no file left to drop.")
    if run.output.kind != "interlaced":
        raise Refused("These very bytes were handed in as a picture too; an original is kept.")
    if not run.sheets or _still_here(session, run):
        raise Refused("A print of this run is still in the shop; its file is kept until the last one has left.")
    run.output.dropped_at = by.now
    record(session, by, Act("interlaced file dropped", [ref(run)], files=[run.output.sha256]))
    return run.output.sha256


def _still_here(session: Session, run: Run) -> bool:
    here = select(Print.id).join(Sheet, Print.sheet_id == Sheet.id).where(Sheet.run_id == run.id)
    return session.execute(here.where(Print.stage.not_in(("gone", "scrapped"))).limit(1)).first() is not None


def make_anew(session: Session, by: Actor, *, run: Run) -> None:
    """Compute a dropped file again from its recipe; the worker compares its dots with those that were printed."""
    if run.output is None or run.output.dropped_at is None:
        raise Refused("This file is still here; there is nothing to make anew.")
    if any(piece.job.pictures_erased_at for piece in run.pieces):
        raise Refused("Its pictures were erased; it cannot be made anew.")
    if run.state in ("waiting", "running"):
        raise Refused("It is being made anew already.")
    run.state, run.attempts, run.cancel_wanted, run.trouble, run.progress = "waiting", 0, False, None, 0
    record(session, by, Act("interlaced file to be made anew", [ref(run)], files=[run.output.sha256]))
