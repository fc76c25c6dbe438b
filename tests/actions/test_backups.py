"""Backups: whole, incremental, restored elsewhere, and never at the cost of an earlier one."""

import errno
import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from logbook.actions import outputs
from logbook.records import backup as making
from logbook.records import manifest
from logbook.records.backup import BackupWish, back_up
from logbook.records.backup_check import check_backup
from logbook.records.floor import Run
from logbook.records.opened import open_shop
from logbook.refusals import Refused
from logbook.settings import Settings
from support.backups import made_of, people_at_work, restored_and_verified
from support.small_shop import job, new_shop, one

BACKUPS_UNDER_LOAD = 4
"""Fewer than a figure worth telling would need; each of them is restored and verified."""


def _files(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_backups_made_while_people_work_restore_elsewhere_and_verify(shop, tmp_path):
    shop.ready()
    with people_at_work(shop.shop) as entries:
        for number in range(BACKUPS_UNDER_LOAD):
            before = len(entries)
            backup = made_of(shop.shop, tmp_path / "stick").backup
            last_signed = max(entries[:before], default=0)
            told = restored_and_verified(backup, tmp_path / f"new-{number}")
            assert told["sound"], told["sentence"]
            assert told["anchor"].entries >= last_signed, "what was acknowledged before is in it"
    assert check_backup(backup).sound


def test_what_lies_there_already_is_not_copied_again(shop, tmp_path):
    shop.order()
    first = made_of(shop.shop, tmp_path / "stick")
    assert first.copied > 0
    lying = {path: path.stat().st_ino for path in (tmp_path / "stick" / manifest.SHARED).rglob("*")}
    shop.order(customer="Pellworm Kites")
    second = made_of(shop.shop, tmp_path / "stick")
    assert second.copied == 0, "the same pictures are kept once"
    assert {path: path.stat().st_ino for path in (tmp_path / "stick" / manifest.SHARED).rglob("*")} == lying
    assert check_backup(first.backup).sound
    assert check_backup(second.backup).sound


def test_interlaced_files_stay_out_unless_asked_for_and_are_made_anew_after_a_restore(shop, tmp_path):
    shop.ready()
    output = shop.read(lambda session: one(session, Run).output.sha256)
    without, whole = made_of(shop.shop, tmp_path / "a"), made_of(shop.shop, tmp_path / "b", with_interlaced=True)
    assert without.manifest.left_out == (output,)
    assert output in {item.sha256 for item in whole.manifest.items}
    assert restored_and_verified(whole.backup, tmp_path / "whole")["sound"]
    assert restored_and_verified(without.backup, tmp_path / "without")["sound"]
    again = open_shop(Settings(data=tmp_path / "without"))
    with again.database.writing() as session:
        run = one(session, Run)
        outputs.make_anew(session, making.audit.Actor(1, "Olga", "owner", datetime.now(UTC)), run=run)
    again.database.close()


def test_the_shops_own_safety_files_and_the_mark_of_a_demo_come_along(shop, tmp_path):
    settings = shop.shop.settings
    (settings.own_safety_path / "cards").mkdir()
    (settings.own_safety_path / "cards" / "own.md").write_text("wear gloves")
    (settings.data / "this-is-a-demo").touch()
    restored_and_verified(made_of(shop.shop, tmp_path / "stick").backup, tmp_path / "new")
    assert (tmp_path / "new/safety/cards/own.md").read_text() == "wear gloves"
    assert (tmp_path / "new/this-is-a-demo").exists()


def test_the_newest_stay_and_nothing_that_they_need_goes(shop, tmp_path):
    stick = tmp_path / "stick"
    backups = [made_of(shop.shop, stick, keep=3).backup for _ in range(5)]
    assert manifest.backups_in(stick) == backups[2:]
    assert all(check_backup(backup).sound for backup in backups[2:])


def test_a_clock_that_was_set_back_does_not_make_the_newest_the_oldest(shop, tmp_path):
    tmp_path.joinpath("stick").mkdir()
    wish, now = BackupWish(tmp_path / "stick", keep=2), datetime(2026, 5, 1, tzinfo=UTC)
    first, second, third = (back_up(shop.shop, wish, now=now - timedelta(days=days)) for days in (0, 3, 9))
    assert manifest.backups_in(tmp_path / "stick") == [second.backup, third.backup]
    assert first.backup.name in third.removed


@pytest.mark.parametrize("place", ["", "files", "safety", "files/../safety"])
def test_a_destination_inside_the_data_folder_is_refused(shop, place):
    with pytest.raises(Refused, match="inside the data folder"):
        back_up(shop.shop, BackupWish(shop.shop.settings.data / "safety" / ".." / place), now=datetime.now(UTC))


def test_a_link_into_the_data_folder_is_seen_through(shop, tmp_path):
    (tmp_path / "link").symlink_to(shop.shop.settings.files_path)
    with pytest.raises(Refused, match="inside the data folder"):
        made_of(shop.shop, tmp_path / "link")


def test_a_stick_that_is_not_in_is_one_sentence(shop, tmp_path):
    with pytest.raises(Refused, match="is not there; is the stick in"):
        back_up(shop.shop, BackupWish(tmp_path / "stick"), now=datetime.now(UTC))


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.ENODEV, errno.EROFS])
@pytest.mark.parametrize("moment", range(6))
def test_a_stick_that_fails_leaves_the_earlier_backup_untouched(shop, tmp_path, monkeypatch, number, moment):
    """Whichever file or folder it is that cannot be made to last."""
    shop.order()
    made_of(shop.shop, tmp_path / "stick")
    before = _files(tmp_path / "stick")
    shop.ready(customer="")
    count, real = -1, os.fsync

    def failing(handle):
        nonlocal count
        count += 1
        if count == moment:
            raise OSError(number, os.strerror(number))
        real(handle)

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(Refused, match="could not be written") as refused:
        made_of(shop.shop, tmp_path / "stick")
    monkeypatch.undo()
    assert len(str(refused.value).splitlines()) == 1
    assert before.items() <= _files(tmp_path / "stick").items()
    assert check_backup(manifest.newest_in(tmp_path / "stick")).sound
    made_of(shop.shop, tmp_path / "stick")
    assert check_backup(manifest.newest_in(tmp_path / "stick")).sound


@pytest.mark.parametrize("moment", [1, 3])  # earlier, and the whole of it lands there: that is a backup
def test_a_stick_that_is_pulled_out_leaves_no_half_backup_in_its_empty_place(shop, tmp_path, monkeypatch, moment):
    """What was open is still written to, somewhere else; every later name lands where the stick was mounted."""
    shop.ready(customer="")
    made_of(shop.shop, tmp_path / "stick")
    shop.order(customer="")
    count, real = -1, os.fsync

    def pulled(handle):
        nonlocal count
        count += 1
        if count == moment:
            (tmp_path / "stick").rename(tmp_path / "in a pocket")
            (tmp_path / "stick").mkdir()
        real(handle)

    monkeypatch.setattr(os, "fsync", pulled)
    with pytest.raises(Refused, match=r"was the stick taken out|could not be written"):
        made_of(shop.shop, tmp_path / "stick")
    assert not list((tmp_path / "stick").glob(f"*/{manifest.NAME}"))
    assert check_backup(manifest.newest_in(tmp_path / "in a pocket")).sound


def test_a_full_stick_is_noticed_before_anything_is_written(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(making.shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(9, 9, 1000))
    with pytest.raises(Refused, match=r"has room for 0\.0 MB, and this backup needs"):
        made_of(shop.shop, tmp_path / "stick")
    assert _files(tmp_path / "stick") == {}


DYING = """
import os, signal, sys
from datetime import UTC, datetime
from pathlib import Path
from logbook.records.backup import BackupWish, back_up
from logbook.records.opened import open_shop
from logbook.settings import Settings
count, real = 0, os.fsync
def dying(handle):
    global count
    count += 1
    if count == int(sys.argv[3]):
        os.kill(os.getpid(), signal.SIGKILL)
    real(handle)
os.fsync = dying
back_up(open_shop(Settings(data=Path(sys.argv[1]))), BackupWish(Path(sys.argv[2])), now=datetime.now(UTC))
"""


@pytest.mark.parametrize("moment", [1, 3, 6, 9])
def test_a_backup_that_is_killed_is_not_there_and_the_next_one_is_whole(shop, tmp_path, moment):
    shop.order()
    made_of(shop.shop, tmp_path / "stick")
    shop.ready(customer="")
    command = [sys.executable, "-c", DYING, shop.shop.settings.data, tmp_path / "stick", str(moment)]
    assert subprocess.run(command, check=False, capture_output=True).returncode == -9
    assert len(manifest.backups_in(tmp_path / "stick")) == 1
    assert check_backup(manifest.newest_in(tmp_path / "stick")).sound
    made = made_of(shop.shop, tmp_path / "stick")
    assert check_backup(made.backup).sound
    assert not (tmp_path / "stick" / manifest.UNFINISHED).exists()


def test_a_file_that_the_shop_lost_is_named_and_the_rest_is_saved(shop, tmp_path):
    shop.order()
    lost, changed = sorted(shop.shop.store.hashes())[:2]
    shop.shop.store.drop(lost)
    shop.shop.store.path(changed).write_bytes(b"another")
    made = made_of(shop.shop, tmp_path / "stick")
    assert {line.partition(":")[0] for line in made.manifest.absent} == {lost, changed}
    assert check_backup(made.backup).sound


def test_a_good_copy_that_lies_there_heals_a_file_that_the_shop_lost(shop, tmp_path):
    shop.order()
    made_of(shop.shop, tmp_path / "stick")
    shop.shop.store.drop(min(shop.shop.store.hashes()))
    assert restored_and_verified(made_of(shop.shop, tmp_path / "stick").backup, tmp_path / "new")["sound"]


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE audit_entry SET body = replace(body, 'Otto', 'Ottö') WHERE id = 2",
        "DELETE FROM audit_object WHERE entry_id > 2; DELETE FROM audit_entry WHERE id > 2",
    ],
)
def test_a_damaged_history_pushes_no_sound_backup_out(shop, tmp_path, damage):
    stick = tmp_path / "stick"
    good = made_of(shop.shop, stick, keep=1).backup
    shop.order()
    connection = sqlite3.connect(shop.shop.settings.database_path)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    connection.executescript(damage)
    connection.close()
    with pytest.raises(Refused, match="No backup was made, so that the sound ones stay"):
        made_of(shop.shop, stick, keep=1)
    assert manifest.backups_in(stick) == [good]
    assert check_backup(good).sound


def test_another_shops_backups_are_not_mixed_with_these(shop, tmp_path):
    made_of(shop.shop, tmp_path / "stick")
    other = new_shop(tmp_path / "other")
    with pytest.raises(Refused, match="another shop"):
        made_of(other.shop, tmp_path / "stick")
    other.shop.database.close()


def test_two_backups_at_once_are_one(shop, tmp_path):
    with shop.shop.alone("backup"), pytest.raises(Refused, match="just now"):
        made_of(shop.shop, tmp_path / "stick")


def test_what_was_erased_lies_nowhere_in_a_new_backup(shop, tmp_path):
    name = "Quillon & Daughters"
    code = shop.order(customer=name)
    shop.act(lambda session, _by: setattr(job(session, code).order.customer, "name", None))
    made = made_of(shop.shop, tmp_path / "stick")
    assert name.encode() not in (made.backup / manifest.DATABASE).read_bytes()


def test_a_single_bit_that_flips_in_a_backup_is_found(shop, tmp_path):
    shop.order()
    backup, stick = made_of(shop.shop, tmp_path / "stick").backup, tmp_path / "stick"
    chance = random.Random(7)
    paths = sorted(path for path in stick.rglob("*") if path.is_file() and path.stat().st_size)
    for _ in range(40):
        path = chance.choice(paths)
        place, bit = chance.randrange(path.stat().st_size), chance.randrange(8)
        whole = path.read_bytes()
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1 << bit]) + whole[place + 1 :])
        checked = check_backup(backup)
        assert not checked.sound, (path, place, bit)
        assert path.name.partition(".")[0] in str(checked.fault), checked.fault
        path.write_bytes(whole)
    assert check_backup(backup).sound


def test_the_check_names_the_stage_in_which_it_found_something(shop, tmp_path):
    shop.order()
    backup, stick = made_of(shop.shop, tmp_path / "stick").backup, tmp_path / "stick"
    kept = next(stick.joinpath(manifest.SHARED).glob("*/*"))

    def stage_of(work):
        shutil.copytree(stick, tmp_path / "copy")
        work(tmp_path / "copy")
        stage = check_backup(tmp_path / "copy" / backup.name).stage
        shutil.rmtree(tmp_path / "copy")
        return stage

    there = kept.relative_to(stick)
    assert stage_of(lambda copy: (copy / backup.name / "manifest.json").write_text("{}")) == 1
    assert stage_of(lambda copy: (copy / there).unlink()) == 2
    assert stage_of(lambda copy: (copy / there).write_bytes(bytes(kept.stat().st_size))) == 3
    assert json.loads((backup / "manifest.json").read_bytes())["format"] == manifest.FORMAT
