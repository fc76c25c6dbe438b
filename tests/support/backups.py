"""Backups for tests: made of a small shop, spoiled by hand, tried under load."""

import hashlib
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from sqlalchemy import select

from logbook.actions import materials, verifying
from logbook.actions.restoring import begin_again
from logbook.records.audit import Act, Actor, record
from logbook.records.backup import BackupWish, Made, back_up
from logbook.records.files import keep
from logbook.records.materials import Lot
from logbook.records.opened import Shop, open_shop
from logbook.records.restore import restore_files
from logbook.settings import Settings

BY = Actor(1, "Olga", "owner", datetime(2026, 4, 1, tzinfo=UTC))


def made_of(shop: Shop, folder: Path, **wish: Any) -> Made:
    """A backup into a folder that is made where it is missing."""
    folder.mkdir(exist_ok=True)
    return back_up(shop, BackupWish(folder, **wish), now=datetime.now(UTC))


def restored_and_verified(backup: Path, folder: Path) -> dict[str, Any]:
    """Bring a backup back as the command does, and what ``verify`` says of it."""
    found = restore_files(backup, folder).manifest
    shop = open_shop(Settings(data=folder))
    with shop.database.writing() as session:
        begin_again(session, BY, found=found)
    told = verifying.verify(shop.database, shop.store)
    shop.database.close()
    return {**told, "anchor": found.anchor}


def spoil_manifest(backup: Path, change: Callable[[dict[str, Any]], Any]) -> None:
    """Change what a manifest says and give it a right check sum, as somebody with ill will would."""
    told = json.loads((backup / "manifest.json").read_bytes())
    change(told)
    forge_manifest(backup, json.dumps(told).encode())


def forge_manifest(backup: Path, content: bytes) -> None:
    """Any bytes as the manifest, with a right check sum."""
    (backup / "manifest.json").write_bytes(content)
    (backup / "manifest.sha256").write_text(f"{hashlib.sha256(content).hexdigest()}  manifest.json\n")


PAUSE_SECONDS = 0.05


@contextmanager
def people_at_work(shop: Shop) -> Iterator[list[int]]:
    """Two people who sign acts and keep files as fast as a shop of fifteen; gives the numbers of their entries.

    Without a pause a record would grow so fast that each backup takes longer than the one before.
    """
    done, entries = threading.Event(), []

    def work(who: int) -> None:
        number = 0
        while not done.wait(PAUSE_SECONDS):
            number += 1
            content = f"note {who}-{number}".encode() * 500
            sha256, size = shop.store.put(BytesIO(content))
            with shop.database.writing() as session:
                by = Actor(1, "Olga", "owner", datetime.now(UTC))
                keep(session, sha256=sha256, size=size, media_type="text/plain", kind="record", now=by.now)
                lot = session.execute(select(Lot).order_by(Lot.id)).scalars().first()
                materials.count_lot(session, by, lot=lot, now_there=number)
                entries.append(record(session, by, Act("note kept", ["shop:facts"], files=[sha256])).id)

    workers = [threading.Thread(target=work, args=(who,)) for who in range(2)]
    for worker in workers:
        worker.start()
    try:
        yield entries
    finally:
        done.set()
        for worker in workers:
            worker.join()
