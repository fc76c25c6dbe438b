"""A shop that outgrew its file moves to a PostgreSQL server: every row or none, and the file takes no more entries."""

import sqlite3
from contextlib import suppress
from dataclasses import replace

from sqlalchemy import text
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from logbook.records import belonging
from logbook.records.audit import Act, Actor, record
from logbook.records.copying import CopiedShop, Progress, copy_shop, is_empty
from logbook.records.database import Database
from logbook.records.dialects import is_address
from logbook.records.opened import open_shop
from logbook.records.troubles import MOVED_AWAY
from logbook.refusals import Refused
from logbook.settings import Settings, without_secrets

_CLOSED = (
    "CREATE TRIGGER audit_entry_moved BEFORE INSERT ON audit_entry "
    f"BEGIN SELECT RAISE(ABORT, '{MOVED_AWAY}'); END"
)  # fmt: skip


def move_to_server(
    settings: Settings, address: str, by: Actor, *, progress: Progress = lambda _part: None
) -> CopiedShop:
    """Copy the shop in a folder's file into the empty database at ``address`` and check it there.

    The kept files stay where they are. Nobody writes meanwhile; afterwards the file refuses every act, also of a
    logbook that still runs on it. Refused with everything as it was when anything is wrong.
    """
    if not is_address(address):
        raise Refused("Say where to: logbook move-to postgresql://name@machine/database.")
    shop = open_shop(replace(settings, database=""))
    target = Database(address)
    try:
        copied = _moved(shop.database, target, by, progress)
    except (DatabaseError, sqlite3.Error) as error:
        words = str(getattr(error, "orig", error)).splitlines()[0]
        raise Refused(f"The shop could not be moved: {words}. It is where it was.") from None
    else:
        belonging.mark(settings, target)
        return copied
    finally:
        shop.database.close()
        target.close()


def _moved(source: Database, target: Database, by: Actor, progress: Progress) -> CopiedShop:
    # a writer's connection to the file, so that nobody else writes from the first row to the last
    with source.engine.connect() as old, old.begin(), target.engine.connect() as new:
        with target.dialect.upgrading(new):
            if not is_empty(new):
                place = without_secrets(str(target.place))
                raise Refused(f"The database {place} holds a shop already; name one that is empty.")
            copied = copy_shop(old, new, progress)
            session = Session(new)
            told = {"rows": sum(copied.rows.values()), "entries": copied.head.seq, "head": copied.head.hash}
            record(session, by, Act("shop moved to a server", ["shop:database"], new=told))
        with suppress(DatabaseError):  # the server plans by what it counted; it would count by itself later
            new.execution_options(isolation_level="AUTOCOMMIT", reading=True).exec_driver_sql("ANALYZE")
        old.execute(text(_CLOSED))
    return copied
