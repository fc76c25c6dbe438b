"""A shop that was brought back from a backup: what did not come along is said, and the trail goes on."""

from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.records.audit import Act, Actor, record
from logbook.records.backup import Progress
from logbook.records.files import KeptFile
from logbook.records.floor import Run
from logbook.records.manifest import Manifest
from logbook.records.opened import Shop, open_shop
from logbook.records.restore import restore_files
from logbook.settings import Settings


def bring_back(
    backup: Path, folder: Path, by: Actor, *, progress: Progress = lambda _part: None
) -> tuple[Shop, Manifest, int]:
    """Restore a backup into an empty folder and open the shop there; also how many files are to be made anew."""
    found = restore_files(backup, folder, progress=progress).manifest
    # a backup is a file's, whatever server the environment names
    shop = open_shop(Settings(data=folder, database=""))
    with shop.database.writing() as session:
        return shop, found, begin_again(session, by, found=found)


def begin_again(session: Session, by: Actor, *, found: Manifest) -> int:
    """Mark the interlaced files that the backup left out as dropped, so that they can be made anew; returns how many.

    Runs that were waiting or at work when the backup was made start again by themselves.
    """
    rows = session.execute(
        select(KeptFile, Run)
        .outerjoin(Run, Run.output_id == KeptFile.id)
        .where(KeptFile.kind == "interlaced", KeptFile.dropped_at.is_(None), KeptFile.sha256.in_(found.left_out))
        .order_by(KeptFile.id)
    ).all()
    for kept, _ in rows:
        kept.dropped_at = by.now
    told = {"backup of": found.made_at, "entries": found.anchor.entries, "head": found.anchor.head}
    touched = ["shop:restore", *(ref(run) for _, run in rows if run is not None)]
    record(session, by, Act("shop restored from a backup", touched, new=told, files=[kept.sha256 for kept, _ in rows]))
    return len({kept.id for kept, _ in rows})
