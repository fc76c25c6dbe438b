"""An opened shop: its settings, database and kept files, handed to every entry point."""

from dataclasses import dataclass

from logbook.records.database import Database
from logbook.records.files import FileStore
from logbook.records.upgrade import upgrade
from logbook.settings import Settings

DEMO_MARK = "this-is-a-demo"


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


def open_shop(settings: Settings) -> Shop:
    """Open or create the shop in its data folder, bringing its database to this version."""
    settings.data.mkdir(parents=True, exist_ok=True, mode=0o700)
    settings.files_path.mkdir(exist_ok=True)
    settings.own_safety_path.mkdir(exist_ok=True)
    database = Database(settings.database_path)
    upgrade(database)
    return Shop(settings, database, FileStore(settings.files_path))
