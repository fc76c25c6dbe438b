"""Backups that somebody spoiled on purpose: none gets a byte out of the new folder, or anything into it.

Promise S11: file names and restore archives cannot escape.
"""

import os
import shutil
import sqlite3
import tarfile
import zipfile
from pathlib import Path

import pytest

from logbook.records import manifest
from logbook.records.backup_check import check_backup
from logbook.records.restore import restore_files
from logbook.refusals import Refused
from support.backups import forge_manifest, made_of, spoil_manifest
from support.small_shop import small_shop

OUTSIDE = "escaped"


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hostile")
    made = small_shop(folder / "data")
    made.order()
    backup = made_of(made.shop, folder / "stick").backup
    made.shop.database.close()
    return backup


@pytest.fixture
def backup(sound, tmp_path):
    shutil.copytree(sound.parent, tmp_path / "stick")
    return tmp_path / "stick" / sound.name


def _kept(backup: Path) -> Path:
    return min((backup.parent / manifest.SHARED).glob("*/*"))


def _rename(path):
    """The first kept file under another path."""
    return lambda backup: spoil_manifest(backup, lambda told: _kept_items(told)[0].update(path=path))


def _kept_items(told):
    return [item for item in told["files"] if item["path"].startswith("files/")]


def _twice(change):
    def spoil(told):
        item = dict(_kept_items(told)[0])
        told["files"].append({**item, "path": change(item["path"])})

    return lambda backup: spoil_manifest(backup, spoil)


def _instead(work):
    """Something else in the place of a kept file."""

    def spoil(backup):
        there = _kept(backup)
        content = there.read_bytes()
        there.unlink()
        work(there, content)

    return spoil


def _socket(path, _):
    import socket

    with socket.socket(socket.AF_UNIX) as one:
        here = Path.cwd()
        os.chdir(path.parent)
        one.bind(path.name[:40])
        os.chdir(here)
    (path.parent / path.name[:40]).rename(path)


def _link_out(path, content):
    outside = path.parents[3] / "outside"
    outside.write_bytes(content)
    path.symlink_to(outside)


def _linked_folder(backup):
    folder = _kept(backup).parent
    folder.rename(backup.parents[1] / "elsewhere")
    folder.symlink_to(backup.parents[1] / "elsewhere")


def _execute(words):
    def spoil(backup):
        connection = sqlite3.connect(backup / "logbook.sqlite")
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.executescript(words)
        connection.close()
        _measure_again(backup)

    return spoil


def _measure_again(backup):
    from logbook.records.files import hash_file

    def change(told):
        item = next(item for item in told["files"] if item["path"] == "logbook.sqlite")
        path = backup / "logbook.sqlite"
        item.update(size=path.stat().st_size, sha256=hash_file(path))

    spoil_manifest(backup, change)


def _an_archive(backup, make):
    shutil.rmtree(backup)
    make(backup)


def _tar(path):
    with tarfile.open(path, "w") as archive:
        member = tarfile.TarInfo(f"../../{OUTSIDE}")
        archive.addfile(member)


def _zip(path):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(f"../../{OUTSIDE}", "out")


def _other_database(backup):
    (backup / "logbook.sqlite").write_bytes(b"This was a database once." * 400)
    _measure_again(backup)


HOSTILE = {
    "absolute": _rename(f"/{OUTSIDE}"),
    "up": _rename(f"../{OUTSIDE}"),
    "up and down": _rename(f"files/../../{OUTSIDE}"),
    "up inside safety": _rename(f"safety/../../{OUTSIDE}"),
    "dot": _rename("safety/./a"),
    "empty part": _rename("safety//a"),
    "backslash": _rename(f"safety\\..\\{OUTSIDE}"),
    "drive": _rename(f"c:{OUTSIDE}"),
    "zero byte": _rename("safety/a\0b"),
    "line break": _rename("safety/a\nb"),
    "long name": _rename("safety/" + "a" * 300),
    "deep": _rename("safety/" + "a/" * 40 + "a"),
    "unknown place": _rename("form-key"),
    "another hash": _rename("files/aa/" + "a" * 64),
    "no text": _rename(7),
    "twice": _twice(lambda path: path),
    "twice in capitals": lambda backup: spoil_manifest(
        backup, lambda told: told["files"].append({**told["files"][0], "path": "LOGBOOK.sqlite"})),
    "key twice": lambda backup: forge_manifest(backup, b'{"format": 1, "format": 2}'),
    "no database": lambda backup: spoil_manifest(backup, lambda told: told["files"].pop(0)),
    "deep json": lambda backup: forge_manifest(backup, b"[" * 200_000),
    "no json": lambda backup: forge_manifest(backup, b"\xff\xfe"),
    "another format": lambda backup: spoil_manifest(backup, lambda told: told.update(format="x/9")),
    "negative size": lambda backup: spoil_manifest(backup, lambda told: told["files"][0].update(size=-1)),
    "oversize": _instead(lambda path, content: path.write_bytes(content + b"more")),
    "undersize": _instead(lambda path, content: path.write_bytes(content[:-1])),
    "symlink": _instead(_link_out),
    "linked folder": _linked_folder,
    "pipe": _instead(lambda path, _content: os.mkfifo(path)),
    "socket": _instead(_socket),
    "folder": _instead(lambda path, _content: path.mkdir()),
    "stranger": lambda backup: (backup / "safety-cards.txt").write_text("trust me"),
    "stranger among kept files": lambda backup: (_kept(backup).parent / "stranger").write_text("x"),
    "linked manifest": lambda backup: (backup / "manifest.json").rename(backup.parents[1] / "m") and
        (backup / "manifest.json").symlink_to(backup.parents[1] / "m"),
    "no check sum": lambda backup: (backup / "manifest.sha256").unlink(),
    "cut trail": _execute("DELETE FROM audit_object WHERE entry_id > 4; DELETE FROM audit_entry WHERE id > 4"),
    "changed trail": _execute("UPDATE audit_entry SET action = 'x' WHERE id = 3"),
    "other database": _other_database,
    "left out what is no output": lambda backup: spoil_manifest(
        backup, lambda told: told["left_out"].append(told["files"].pop()["sha256"])),
    "tar": lambda backup: _an_archive(backup, _tar),
    "zip": lambda backup: _an_archive(backup, _zip),
}  # fmt: skip


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_backup_is_refused_and_leaves_nothing(backup, tmp_path, kind):
    HOSTILE[kind](backup)
    before = set(tmp_path.rglob("*"))
    with pytest.raises(Refused) as refused:
        restore_files(manifest.newest_in(backup), tmp_path / "deep" / "new")
    assert len(str(refused.value).splitlines()) == 1
    assert set(tmp_path.rglob("*")) == before
    assert not list(tmp_path.parents[1].rglob(OUTSIDE))


def test_an_untouched_one_is_restored(backup, tmp_path):
    """The twin of the test above: it is the spoiling that is refused."""
    assert check_backup(backup).sound
    restore_files(backup, tmp_path / "new")
    assert (tmp_path / "new/logbook.sqlite").is_file()


@pytest.mark.parametrize(
    "make", [lambda path: path.write_text("x"), lambda path: (path / "a").mkdir(parents=True)], ids=["file", "full"]
)
def test_nothing_is_ever_written_over(backup, tmp_path, make):
    make(tmp_path / "new")
    with pytest.raises(Refused, match="not an empty folder"):
        restore_files(backup, tmp_path / "new")


def test_a_file_that_changes_while_it_is_read_leaves_nothing(backup, tmp_path, monkeypatch):
    from logbook.records import restore

    real, there = restore.check_backup, _kept(backup)

    def then_changed(*words, **more):
        found = real(*words, **more)
        there.write_bytes(bytes(there.stat().st_size))
        return found

    monkeypatch.setattr(restore, "check_backup", then_changed)
    with pytest.raises(Refused, match="changed while it was read"):
        restore_files(backup, tmp_path / "new")
    assert not (tmp_path / "new").exists()
