"""How full the disk is, by class of file, and how long it lasts at the rate of the last weeks."""

import shutil
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.records.files import KeptFile
from logbook.records.opened import Shop

LEAST_FREE = 0.20
WEEKS = 8
CLASSES = {
    "record": "originals, papers, photographs: kept for good",
    "preview": "previews and proofs: small, made from originals",
    "interlaced": "interlaced files: may be dropped after shipping and made anew",
}


@dataclass(frozen=True, slots=True)
class DiskUse:
    """Bytes of each class of file, of the database, of the disk; ``weeks_left`` is None while nothing grows."""

    classes: dict[str, tuple[int, int]]
    """Class to number of files and bytes."""
    database: int
    total: int
    free: int
    per_week: float
    weeks_left: int | None

    @property
    def percent_free(self) -> int:
        """Whole percent of the disk that is free."""
        return int(100 * self.free / self.total) if self.total else 0

    @property
    def low(self) -> bool:
        """Whether less than a fifth is free."""
        return self.free < LEAST_FREE * self.total


def disk_use(session: Session, shop: Shop, now: datetime) -> DiskUse:
    """Measured from the rows of kept files; a file that stands in no row is swept at start-up."""
    standing = select(KeptFile.kind, func.count(KeptFile.id), func.sum(KeptFile.size)).where(
        KeptFile.dropped_at.is_(None)
    )
    classes = {kind: (count, int(size)) for kind, count, size in session.execute(standing.group_by(KeptFile.kind))}
    disk = shutil.disk_usage(shop.settings.data)
    grown = select(func.sum(KeptFile.size)).where(
        KeptFile.dropped_at.is_(None), KeptFile.kept_at > now - timedelta(weeks=WEEKS)
    )
    rate = (session.execute(grown).scalar_one() or 0) / _weeks_seen(session, now)
    return DiskUse(
        classes={kind: classes.get(kind, (0, 0)) for kind in CLASSES},
        database=shop.database.dialect.size(session, shop.database.place),
        total=disk.total,
        free=disk.free,
        per_week=rate,
        weeks_left=int(disk.free / rate) if rate else None,
    )


def _weeks_seen(session: Session, now: datetime) -> float:
    """How much of the last weeks the shop has been at work: a young shop's rate is not thinned out."""
    first = session.execute(select(KeptFile.kept_at).order_by(KeptFile.kept_at).limit(1)).scalar_one_or_none()
    seen = (now - first) / timedelta(weeks=1) if first else 1.0
    return min(max(seen, 1.0), WEEKS)


def disk_warning(shop: Shop) -> str | None:
    """What the today page says when less than a fifth of the disk is free."""
    disk = shutil.disk_usage(shop.settings.data)
    if disk.free >= LEAST_FREE * disk.total:
        return None
    return f"The disk is filling up: {disk.free / 1e9:.1f} GB of {disk.total / 1e9:.0f} GB are free"
