"""A data folder and a server's database that belong together: neither is ever opened with another one's half.

Kept files that no row knows are swept at start-up, so a wrong address would cost a shop its pictures. Such a database
has a random name of its own, and a file in the folder remembers it.
"""

from logbook.records.database import Database
from logbook.refusals import Refused
from logbook.settings import DATABASE_VARIABLE, Settings


def check_file(settings: Settings) -> None:
    """Refused where the file of a folder is asked for whose database is a server's."""
    if not settings.database and settings.mark_path.exists():
        raise Refused(
            f"The database of {settings.data} is a PostgreSQL server's; say which one with {DATABASE_VARIABLE}. To "
            "work with a file again, restore a backup into a new folder."
        )


def is_known(settings: Settings, database: Database) -> bool:
    """Whether this database is remembered in the folder; False where both are new, Refused otherwise."""
    name, marked = database.dialect.own_name(database.engine), _marked(settings)
    if marked:
        if marked != name:
            raise Refused(
                f"The database {settings.place_in_words} is not that of {settings.data}. Look at {DATABASE_VARIABLE} "
                "and --data."
            )
        return True
    if settings.database_path.exists():
        raise Refused(
            f"{settings.data} holds a shop in a file; bring it to the server first: logbook move-to, with "
            f"{DATABASE_VARIABLE} as it is now."
        )
    if name or any(settings.files_path.glob("[0-9a-f][0-9a-f]/*")):
        raise Refused(
            f"{settings.data} and the database {settings.place_in_words} do not belong together; name the folder that "
            "the database was begun with."
        )
    return False


def mark(settings: Settings, database: Database) -> None:
    """Remember the database in the folder."""
    settings.mark_path.write_text(f"{database.dialect.own_name(database.engine)}\n", encoding="ascii")


def _marked(settings: Settings) -> str:
    path = settings.mark_path
    return path.read_text(encoding="ascii").strip() if path.exists() else ""
