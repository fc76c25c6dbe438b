"""Commands of the shop: worker, trace, verify, autostart, new-password."""

import json
import logging
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from logbook.refusals import Refused
from logbook.settings import Settings, default_data_folder

if TYPE_CHECKING:
    from sqlalchemy.exc import DBAPIError

    from logbook.records.opened import Shop

data_option = click.option(
    "--data",
    type=click.Path(path_type=Path),
    envvar="LOGBOOK_DATA",
    default=default_data_folder,
    show_default="the user's data folder",
    help="The shop's data folder.",
)


def _opened(settings: Settings) -> "Shop":
    """The shop, or a sentence that says why it cannot be opened; a damaged database raises DatabaseError."""
    from sqlalchemy.exc import DatabaseError, OperationalError

    from logbook.records.opened import open_shop
    from logbook.records.troubles import Trouble, trouble_of

    try:
        return open_shop(settings)
    except OSError as error:
        raise Refused(
            f"The data folder {settings.data} cannot be used: {error.strerror}. Mend that, or name another with --data."
        ) from None
    except OperationalError as error:
        raise _not_just_now(settings, error) from None
    except DatabaseError as error:
        # a server says no in many ways, and seldom because of damage
        if settings.database and trouble_of(error) is not Trouble.DAMAGED:
            raise _not_just_now(settings, error) from None
        raise


def _not_just_now(settings: Settings, error: "DBAPIError") -> Refused:
    when = "mend that, or look at LOGBOOK_DATABASE" if settings.database else "try again when nothing else works on it"
    words = str(error.orig).splitlines()[0].rstrip(".")
    return Refused(f"The database {settings.place_in_words} cannot be used just now: {words}; {when}.")


def sound(settings: Settings) -> "Shop":
    """The opened shop; Refused where its database is damaged or cannot be used."""
    from sqlalchemy.exc import DatabaseError

    try:
        return _opened(settings)
    except (DatabaseError, UnicodeDecodeError):
        raise Refused(f"The database {settings.place_in_words} is damaged; 'logbook verify' says where.") from None


@click.command()
@data_option
@click.option("--with-parent", is_flag=True, hidden=True, help="End when standard input closes.")
def worker(data: Path, with_parent: bool) -> None:
    """Do the long work: interlacing, backups, travellers; 'logbook serve' starts a worker by itself.

    It may be ended at any time: what it was at is begun again, or told as broken off, by the next one.
    """
    from logbook.background.worker import run_worker

    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(name)s: %(message)s")
    run_worker(Settings(data=data.absolute()), with_parent=with_parent)


@click.command()
@click.argument("file_or_serial")
@data_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def trace(file_or_serial: str, data: Path, as_json: bool) -> None:
    """Which pitch produced which print.

    FILE_OR_SERIAL is a print's serial, a sheet, pitch, test, run or lot (code or
    label), a job or order, a customer's name, a SHA-256 or its first six
    characters or more, or a file such as an interlaced TIFF found on a stick.
    """
    from logbook.actions import trace as tracing

    settings = Settings(data=data.absolute())
    if not settings.database and not settings.database_path.is_file() and Path(file_or_serial).is_file():
        found = _without_a_shop(Path(file_or_serial))
    else:
        with existing(data).database.reading() as session:
            found = tracing.find(session, file_or_serial)
    click.echo(json.dumps(found, ensure_ascii=False) if as_json else "\n".join(_told(found)))


def _without_a_shop(path: Path) -> dict[str, object]:
    """What the file says of itself, where no logbook is at hand to ask."""
    from logbook.actions.trace import what_a_file_tells
    from logbook.records.files import hash_file

    told = what_a_file_tells(path)
    if not told:
        raise Refused(
            f"{path.name} tells nothing of itself, and there is no logbook here to ask; name its folder with --data."
        )
    return {"file": {"sha256": hash_file(path), "on_record": None}, "told_by_the_file": told}


def _told(value: object, indent: int = 0) -> list[str]:
    """A trace as indented lines for reading."""
    pad = "  " * indent
    if isinstance(value, dict):
        return [
            line
            for key, part in value.items()
            if part not in (None, "", [], {})
            for line in _entry(pad, key, part, indent)
        ]
    if isinstance(value, list):
        return [line for part in value for line in _item(pad, part, indent)]
    return [f"{pad}{value}"]


def _entry(pad: str, key: str, part: object, indent: int) -> list[str]:
    name = str(key).replace("_", " ")
    return [f"{pad}{name}:", *_told(part, indent + 1)] if isinstance(part, dict | list) else [f"{pad}{name}: {part}"]


def _item(pad: str, part: object, indent: int) -> list[str]:
    if isinstance(part, dict):
        plain = [
            f"{key.replace('_', ' ')} {value}"
            for key, value in part.items()
            if value not in (None, "") and not isinstance(value, dict | list)
        ]
        deeper = {key: value for key, value in part.items() if isinstance(value, dict | list) and value}
        return [f"{pad}- {', '.join(plain)}", *_told(deeper, indent + 1)]
    return [f"{pad}- {part}"]


def existing(data: Path) -> "Shop":
    """The shop in a folder that holds one; Refused otherwise."""
    return sound(_of_a_shop(data))


def _of_a_shop(data: Path) -> Settings:
    from logbook.records.opened import is_there

    settings = Settings(data=data.absolute())
    if not is_there(settings):
        raise Refused(f"There is no logbook {settings.place_in_words}; name its folder with --data.")
    return settings


def existing_file(data: Path) -> Settings:
    """A folder that holds a shop in a file, whatever the environment says of a server; Refused otherwise."""
    settings = replace(Settings(data=data.absolute()), database="")
    if not settings.database_path.is_file():
        raise Refused(f"There is no logbook {settings.place_in_words}; name its folder with --data.")
    return settings


@click.command()
@data_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
def verify(data: Path, as_json: bool) -> None:
    """Recompute the audit trail and every kept file; names the first that is wrong and exits with 1."""
    from sqlalchemy.exc import DatabaseError

    from logbook.actions import verifying
    from logbook.command_line.telling import shown
    from logbook.records.troubles import passes

    settings = _of_a_shop(data)
    try:
        shop = _opened(settings)
        found = verifying.verify(shop.database, shop.store, progress=shown("Checking"))
    except (DatabaseError, UnicodeDecodeError) as error:  # too damaged even to be opened
        if isinstance(error, DatabaseError) and passes(error):
            raise _not_just_now(settings, error) from None
        found = verifying.damaged(error)
    click.echo(json.dumps(found) if as_json else found["sentence"])
    if not found["sound"]:
        raise SystemExit(1)


@click.command("new-password")
@click.argument("name")
@data_option
def new_password(name: str, data: Path) -> None:
    """Give a person a new password, for when the owner's is lost. Only whoever holds this machine can do it."""
    from logbook.actions import people
    from logbook.records.audit import Actor

    password = click.prompt("New password", hide_input=True, confirmation_prompt=True)
    with existing(data).database.writing() as session:
        person = people.person_named(session, name)
        by = Actor(person_id=None, name="command line", role="owner", now=datetime.now(UTC))
        people.change_password(session, by, person=person, password=password)
    click.echo(f"{person.name} signs in with the new password from now on.")


@click.command()
@click.argument("system", type=click.Choice(["systemd", "launchd"]))
@data_option
def autostart(system: str, data: Path) -> None:
    """Print the text that starts the logbook with the machine, and where it goes."""
    from logbook.command_line.autostart_texts import text

    click.echo(text(system, data.absolute(), on_server=bool(Settings(data=data).database)))
