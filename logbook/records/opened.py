"""An opened shop: its settings, database and kept files, handed to every entry point."""

import time
from contextlib import AbstractContextManager
from dataclasses import dataclass

from logbook.records import belonging
from logbook.records.database import Database
from logbook.records.files import FileStore
from logbook.records.upgrade import upgrade
from logbook.settings import Settings

DEMO_MARK = "this-is-a-demo"
_AGAIN_SECONDS = 0.2


@dataclass(frozen=True, slots=True)
class Shop:
    """Everything one shop remembers, ready to use."""

    settings: Settings
    database: Database
    store: FileStore

    @property
    def is_demo(self) -> bool:
        """Whether this folder holds invented data; a real shop never shares it."""
        return (self.settings.data / DEMO_MARK).exists()

    def alone(self, name: str) -> AbstractContextManager[bool]:
        """Whether nobody else is at work of this name, in any process; whoever gets True has it until the end."""
        return self.database.dialect.alone(self.database.engine, self.settings.data, name)


def open_shop(settings: Settings) -> Shop:
    """Open or create the shop in its data folder, bringing its database to this version.

    Refused where folder and database do not belong together.
    """
    settings.data.mkdir(parents=True, exist_ok=True, mode=0o700)
    belonging.check_file(settings)
    shop = Shop(settings, Database(settings.place), FileStore(settings.files_path))
    try:
        if settings.database:
            _know_each_other(shop)
        settings.files_path.mkdir(exist_ok=True)
        settings.own_safety_path.mkdir(exist_ok=True)
        upgrade(shop.database)
    except BaseException:
        shop.database.close()
        raise
    return shop


def _know_each_other(shop: Shop) -> None:
    """Begin a new shop on a server, where others may be about to do the same."""
    while True:
        with shop.alone("beginning") as mine:
            if mine:
                if not belonging.is_known(shop.settings, shop.database):
                    upgrade(shop.database)
                    belonging.mark(shop.settings, shop.database)
                return
        time.sleep(_AGAIN_SECONDS)


def is_there(settings: Settings) -> bool:
    """Whether a shop was begun there."""
    return settings.mark_path.exists() if settings.database else settings.database_path.is_file()
