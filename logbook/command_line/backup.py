"""``logbook backup``, ``verify-backup``, ``restore`` and ``export``: nothing of the shop is lost with one disk."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import click

from logbook.actions import backups, exporting
from logbook.actions.restoring import bring_back
from logbook.command_line.shop import data_option, existing
from logbook.command_line.telling import shown
from logbook.manner import counted
from logbook.records.audit import Actor
from logbook.records.backup import KEEP, BackupWish, Made, back_up
from logbook.records.backup_check import STAGES, check_backup
from logbook.records.manifest import newest_in
from logbook.records.opened import Shop
from logbook.refusals import Refused
from logbook.settings import Settings

json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.command()
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@data_option
@click.option("--keep", type=click.IntRange(1, 1000),
              help="How many backups stay in the folder; older ones go once the new one is whole. "
                   f"Usually what the shop's status page says, otherwise {KEEP}.")
@click.option("--with-interlaced", is_flag=True, help="Take interlaced files along, which could be made anew.")
@json_option
def backup(folder: Path | None, data: Path, keep: int | None, with_interlaced: bool, as_json: bool) -> None:
    """Back the shop up into FOLDER (a stick, another disk) while it works; without one, where the owner set it up.

    Files that lie there already are not copied again. Exits with 1 when it was
    made but the shop itself had lost a kept file.
    """
    shop = existing(data)
    wish = _wish(shop, folder, keep, with_interlaced=with_interlaced)
    made = back_up(shop, wish, now=datetime.now(UTC), progress=shown("Backing up"))
    with shop.database.writing() as session:
        backups.note_made(session, at_the_machine(), made=made)
    click.echo(json.dumps(as_json_object(made)) if as_json else sentence(made))
    if made.manifest.absent:
        raise SystemExit(1)


def _wish(shop: Shop, folder: Path | None, keep: int | None, *, with_interlaced: bool) -> BackupWish:
    """What was said here; for the rest, what the owner set up."""
    with shop.database.reading() as session:
        known = backups.setup(session)
    where = folder or known.folder
    if where is None:
        raise Refused("Say into which folder: 'logbook backup FOLDER'; or set one up on the shop's status page.")
    if folder is None and not where.is_dir():  # a stick that is not in its place must not become a folder of the disk
        raise Refused(f"The folder for backups, {where}, is not there; put the stick in, or say another one.")
    with_interlaced = with_interlaced or (folder is None and known.with_interlaced)
    return replace(known.wish(where.absolute()), keep=keep or known.keep, with_interlaced=with_interlaced)


def at_the_machine() -> Actor:
    """Whoever types commands at the logbook's own machine."""
    return Actor(person_id=None, name="command line", role="owner", now=datetime.now(UTC))


def as_json_object(made: Made) -> dict[str, object]:
    """A finished backup for programs."""
    found = made.manifest
    return {
        "backup": str(made.backup), "entries": found.anchor.entries, "head": found.anchor.head,
        "files": len(found.items), "bytes": made.size, "copied": made.copied, "copied_bytes": made.copied_bytes,
        "left_out": len(found.left_out), "absent": list(found.absent), "removed": list(made.removed),
        "same_disk": made.same_disk,
    }  # fmt: skip


def sentence(made: Made) -> str:
    """A finished backup in words."""
    found = made.manifest
    lines = [
        f"{made.backup}: {counted(len(found.items), 'file')}, {made.size / 1e6:.1f} MB; "
        f"{made.copied_bytes / 1e6:.1f} MB of it are new. "
        f"{counted(found.anchor.entries, 'entry')}, head {found.anchor.head}"
    ]
    if found.left_out:
        lines.append(f"{len(found.left_out)} interlaced files were left out; they can be made anew.")
    if made.same_disk:
        lines.append("This folder is on the same disk as the shop's data: it helps against mistakes, not a dead disk.")
    if found.absent:
        lines.append(f"The shop itself has lost {len(found.absent)} of its files; the first is {found.absent[0]}.")
    return "\n".join(lines)


@click.command("verify-backup")
@click.argument("folder", type=click.Path(path_type=Path))
@json_option
def verify_backup(folder: Path, as_json: bool) -> None:
    """Check a backup, or the newest in FOLDER; names the first bad thing and exits with 1.

    Four stages: its manifest, exactly its files, each file's SHA-256, the trail and the database.
    """
    checked = check_backup(newest_in(folder), progress=shown("Checking"))
    entries = checked.manifest.anchor.entries if checked.manifest else 0
    words = checked.fault or f"{checked.backup.name} is whole and unchanged; its trail has {entries} entries."
    stage = STAGES[checked.stage - 1]
    told = {"sound": checked.sound, "sentence": words, "stage": stage, "backup": str(checked.backup)}
    click.echo(json.dumps(told) if as_json else words)
    if not checked.sound:
        raise SystemExit(1)


@click.command()
@click.argument("backup_folder", metavar="BACKUP", type=click.Path(path_type=Path))
@click.argument("new_folder", type=click.Path(path_type=Path))
@json_option
def restore(backup_folder: Path, new_folder: Path, as_json: bool) -> None:
    """Bring BACKUP (or the newest in that folder) back into NEW_FOLDER, which must be empty or missing."""
    folder, by = new_folder.absolute(), at_the_machine()
    _, found, to_make = bring_back(newest_in(backup_folder), folder, by, progress=shown("Restoring"))
    told = {"folder": str(folder), "entries": found.anchor.entries, "to_make_anew": to_make,
            "absent": list(found.absent)}  # fmt: skip
    words = f"{folder} holds the shop as it was on {found.made_at.astimezone():%Y-%m-%d %H:%M}; start it with --data."
    if Settings(data=folder).database:
        words += " Its database is a file; 'logbook move-to' brings it to a server."
    click.echo(json.dumps(told) if as_json else words)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@data_option
@json_option
def export(folder: Path, data: Path, as_json: bool) -> None:
    """Write a complete copy for an inspector into FOLDER, which must be empty or missing.

    Tables, the audit trail, kept files, a page to begin with, a description of the format, and a program that checks
    the copy with nothing but Python. Exits with 1 when the shop's own record was damaged already.
    """
    shop = existing(data)
    made = exporting.export_shop(shop, folder.absolute(), now=datetime.now(UTC), progress=shown("Copying"))
    with shop.database.writing() as session:
        exporting.note_export(session, at_the_machine(), made=made)
    told = {"folder": str(made.folder), "entries": made.anchor.entries, "head": made.anchor.head,
            "files": made.copied.kept, "absent": list(made.copied.absent), "fault": made.fault}  # fmt: skip
    words = f"{made.folder}: {made.anchor.entries} entries and {made.copied.kept} files; begin with index.html."
    trouble = made.fault or (f"{len(made.copied.absent)} kept files were lost already." if made.copied.absent else "")
    click.echo(json.dumps(told) if as_json else f"{words} {trouble}".strip())
    if trouble:
        raise SystemExit(1)
