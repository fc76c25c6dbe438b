"""A complete copy of the shop for an inspector: made whole beside its name, then given it."""

import shutil
import sqlite3
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from logbook import __version__, resources
from logbook.actions.finding import fact
from logbook.records import export
from logbook.records.audit import Act, Actor, record
from logbook.records.backup import Progress
from logbook.records.export import Copied
from logbook.records.manifest import Anchor
from logbook.records.opened import Shop
from logbook.records.snapshot import copy_database, reading_copy
from logbook.refusals import Refused

BESIDE = ("FORMAT.txt", "check_export.py")
"""What goes into every copy as it is shipped."""


@dataclass(frozen=True, slots=True)
class Exported:
    """A copy that is whole; ``fault`` names what was damaged in the shop's trail already."""

    folder: Path
    anchor: Anchor
    copied: Copied
    fault: str | None


def export_shop(shop: Shop, folder: Path, *, now: datetime, progress: Progress = lambda _part: None) -> Exported:
    """Write a complete copy into a missing or empty folder while people work; Refused with nothing left behind."""
    _check(folder, shop.settings.data)
    part, snapshot = folder.with_name(f"{folder.name}.part"), shop.store.temporary()
    try:
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        copy_database(shop.database, snapshot)
        with reading_copy(snapshot) as session:
            made = _written(session, shop, part, now, progress)
        part.replace(folder)
        return Exported(folder, *made)
    except (OSError, sqlite3.Error, DatabaseError) as error:
        words = getattr(error, "strerror", None) or str(getattr(error, "orig", error)).splitlines()[0]
        raise Refused(
            f"The copy could not be written to {folder}: {words}. Take another folder, or mend that."
        ) from None
    finally:
        shutil.rmtree(part, ignore_errors=True)
        snapshot.unlink(missing_ok=True)


def _check(folder: Path, data: Path) -> None:
    if data.resolve() in (folder.resolve(), *folder.resolve().parents):
        raise Refused("A copy inside the data folder would be kept with it; choose a folder elsewhere.", field="folder")
    if folder.is_symlink() or (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))):
        raise Refused(f"{folder} is not an empty folder; a copy never writes over anything.", field="folder")


def _written(
    session: Session, shop: Shop, folder: Path, now: datetime, progress: Progress
) -> tuple[Anchor, Copied, str | None]:
    anchor, fault = export.ends_of(session), export.first_fault(session)
    copied = export.copy_everything(session, shop.store, folder, progress=progress)
    shipped = resources.folder("templates") / "export"
    for name in BESIDE:
        shutil.copyfile(shipped / name, folder / name)
    page = Environment(loader=FileSystemLoader(shipped), autoescape=True, undefined=StrictUndefined)
    told = page.get_template("index.html").render(
        shop=fact(session, "shop name", "a workshop"), made_at=f"{now.astimezone():%Y-%m-%d %H:%M}",
        version=__version__, anchor=asdict(anchor), fault=fault, absent=copied.absent, kept=copied.kept,
        tables=copied.tables, orders=list(export.order_lines(session)),
    )  # fmt: skip
    (folder / "index.html").write_text(told, encoding="utf-8")
    export.write_manifest(session, folder, now, anchor)
    return anchor, copied, fault


def note_export(session: Session, by: Actor, *, made: Exported) -> None:
    """That a complete copy was handed out, and how far it reaches."""
    new = {"entries": made.anchor.entries, "head": made.anchor.head, "files": made.copied.kept}
    record(session, by, Act("complete copy made", ["shop:export"], new=new))
