"""What the owner sets up for backups, what is due when, and what the today page says of it."""

import os
from datetime import UTC, datetime, time
from pathlib import Path

import pytest

from logbook.actions import backups, diskuse, verifying
from logbook.actions.restoring import bring_back
from logbook.background import keeping
from logbook.background.keeping import keep_safe
from logbook.records.audit import newest
from logbook.records.backup import BackupWish, back_up, mount_of
from logbook.records.keeping import KeepingRun
from logbook.records.manifest import backups_in
from logbook.refusals import Refused


@pytest.fixture
def stick(tmp_path):
    (tmp_path / "stick").mkdir()
    return tmp_path / "stick"


def _set_up(shop, folder, **more):
    wanted = backups.Setup(folder, **more)
    shop.act(lambda session, by: backups.set_up(session, by, data=shop.shop.settings.data, wanted=wanted))


def _done(shop, kind="backup", state="done"):
    """A run of that kind, as the worker would leave it, at the shop's time."""

    def work(session, by):
        run = KeepingRun(kind=kind, state="running", folder="stick", asked_at=by.now)
        session.add(run)
        session.flush()
        if state == "done":
            backups.end(session, by, run.id, size=1, entries=1, sentence="")
        else:
            backups.fail(session, by, run.id, "The stick is not in.")

    shop.act(work)


def _due(shop):
    return shop.read(lambda session: backups.due(session, shop.now))


def _at(shop, day, hour):
    """The shop's clock, in the shop's own zone."""
    shop.now = datetime(2026, 6, day, hour).astimezone()


def test_what_was_set_up_is_read_again(shop, stick):
    _set_up(shop, stick, closing=time(18, 30), keep=5, limit_days=2, with_interlaced=True)
    assert shop.read(backups.setup) == backups.Setup(stick, time(18, 30), 5, 2, True, mount_of(stick))


def test_what_stood_on_a_stick_is_never_written_into_its_empty_place(shop, stick, monkeypatch):
    mounted = {"/", str(stick)}
    monkeypatch.setattr(os.path, "ismount", lambda place: str(place) in mounted)
    (stick / "logbook").mkdir()
    _set_up(shop, stick / "logbook")
    mounted.discard(str(stick))
    _set_up(shop, stick / "logbook", keep=3)  # another number, while the stick is out, makes it no folder of the disk
    wish = shop.read(backups.setup).wish(stick / "logbook")
    with pytest.raises(Refused, match="put the stick in"):
        back_up(shop.shop, wish, now=datetime.now(UTC))
    assert list((stick / "logbook").iterdir()) == []
    mounted.add(str(stick))
    assert back_up(shop.shop, wish, now=datetime.now(UTC)).backup.is_dir()


def test_a_stick_that_goes_before_the_first_byte_leaves_no_backup(shop, stick, monkeypatch):
    from logbook.records import backup

    monkeypatch.setattr(os.path, "ismount", lambda place: str(place) in mounted)
    for taken_out_at in ("_readable", "_finish"):  # before anything is written, and when all of it is
        mounted, real = {"/", str(stick)}, getattr(backup, taken_out_at)

        def taken_out(*told, gone=mounted, real=real):
            gone.discard(str(stick))
            return real(*told)

        monkeypatch.setattr(backup, taken_out_at, taken_out)
        with pytest.raises(Refused, match="put the stick in"):
            back_up(shop.shop, BackupWish(stick, mount=stick), now=datetime.now(UTC))
        assert backups_in(stick) == []


@pytest.mark.parametrize("folder", ["nowhere/at/all", "data", "data/files"])
def test_a_folder_that_is_not_there_or_would_be_lost_too_is_refused(shop, tmp_path, folder):
    with pytest.raises(Refused) as refused:
        _set_up(shop, tmp_path / folder)
    assert refused.value.field == "folder"
    with pytest.raises(Refused):
        _set_up(shop, Path("stick"))
    assert shop.read(backups.setup) == backups.Setup()


def test_nothing_is_due_before_somebody_set_it_up(shop, stick):
    assert _due(shop) is None
    _set_up(shop, stick)
    assert _due(shop) is None


def test_a_backup_is_due_each_day_after_closing_time_and_once(shop, stick):
    _set_up(shop, stick, closing=time(18, 0))
    _at(shop, 2, 19)
    assert _due(shop) == "backup"
    _done(shop)
    for kind in ("trial", "check"):
        assert _due(shop) == kind
        _done(shop, kind)
    assert _due(shop) is None
    _at(shop, 3, 17)
    assert _due(shop) is None
    _at(shop, 3, 18)
    assert _due(shop) == "backup"


def test_a_closing_time_at_which_the_machine_was_off_is_made_up_for(shop, stick):
    _set_up(shop, stick, closing=time(18, 0))
    _at(shop, 2, 19)
    _done(shop)
    _at(shop, 4, 8)
    assert _due(shop) == "backup"


def test_what_failed_is_tried_again_after_an_hour_and_not_before(shop, stick):
    _set_up(shop, stick, closing=time(18, 0))
    _at(shop, 2, 19)
    _done(shop, state="failed")
    assert _due(shop) is None
    shop.wait(hours=1, minutes=1)
    assert _due(shop) == "backup"


def test_a_restore_is_tried_each_month(shop, stick):
    _set_up(shop, stick, closing=time(18, 0))
    _at(shop, 1, 19)
    for kind in ("backup", "trial", "check"):
        _done(shop, kind)
    shop.wait(days=29)
    _done(shop)
    assert _due(shop) is None
    shop.wait(days=2)
    _done(shop)
    assert _due(shop) == "trial"


def test_the_worker_makes_what_is_due_tries_it_and_checks_the_record(shop, stick):
    shop.ready()
    _set_up(shop, stick, closing=datetime.now().astimezone().time().replace(second=0, microsecond=0))
    done = []
    while keep_safe(shop.shop):
        done.append(shop.read(lambda session: backups.newest(session, 1)[0]))
        assert len(done) < 9
    assert [(run.kind, run.state) for run in done] == [("backup", "done"), ("trial", "done"), ("check", "done")], done
    assert done[0].size > 0
    assert done[1].entries == done[0].entries
    assert len(backups_in(stick)) == 1
    assert not (shop.shop.settings.data / keeping.TRIAL_FOLDER).exists()


def test_somebody_asks_for_a_backup_once(shop, stick):
    with pytest.raises(Refused, match="where backups go"):
        shop.act(backups.ask_for)
    _set_up(shop, stick)
    shop.act(backups.ask_for, who="Otto")
    with pytest.raises(Refused, match="already"):
        shop.act(backups.ask_for)
    assert keep_safe(shop.shop)
    run = shop.read(lambda session: backups.last(session, "backup"))
    assert (run.state, run.asked_by.name, run.progress) == ("done", "Otto", 100)


def test_a_backup_that_fails_says_why_and_stays_on_record(shop, stick):
    _set_up(shop, stick)
    stick.rmdir()
    shop.act(backups.ask_for)
    keep_safe(shop.shop)
    run = shop.read(lambda session: backups.last(session, "backup", None))
    assert run.state == "failed"
    assert "is the stick in" in run.sentence
    assert shop.read(lambda session: backups.last(session, "backup")) is None


def test_a_trial_of_a_spoiled_backup_fails_and_is_said_on_the_today_page(shop, stick):
    shop.order()
    _set_up(shop, stick, closing=datetime.now().astimezone().time().replace(second=0, microsecond=0))
    keep_safe(shop.shop)
    next((stick / "logbook-files").glob("*/*")).write_bytes(b"spoiled")
    keep_safe(shop.shop)
    trial = shop.read(lambda session: backups.last(session, "trial", None))
    assert trial.state == "failed"
    said = shop.read(lambda session: backups.warnings(session, datetime.now(UTC)))
    assert any("restore trial failed" in sentence for sentence in said)


def test_what_a_dead_worker_left_running_is_failed_by_the_next(shop, stick):
    _set_up(shop, stick)
    shop.act(backups.ask_for)
    shop.act(lambda session, by: backups.begin(session, by) and None)
    keep_safe(shop.shop)
    assert "stopped meanwhile" in shop.read(lambda session: backups.last(session, "backup", "failed")).sentence


def test_nobody_is_asked_for_a_backup_before_there_is_work_to_lose(shop, stick):
    assert shop.read(lambda session: backups.warnings(session, shop.now)) == []
    shop.order()
    shop.wait(hours=20)
    assert shop.read(lambda session: backups.warnings(session, shop.now)) == []
    shop.wait(hours=5)
    (never,) = shop.read(lambda session: backups.warnings(session, shop.now))
    assert "No backup was made yet" in never
    _done(shop)
    assert shop.read(lambda session: backups.warnings(session, shop.now)) == []
    shop.wait(days=3, hours=1)
    (old,) = shop.read(lambda session: backups.warnings(session, shop.now))
    assert "more than 3 days ago" in old
    _set_up(shop, stick, limit_days=5)
    assert shop.read(lambda session: backups.warnings(session, shop.now)) == []


def test_disk_use_is_told_by_class_and_by_the_rate_of_the_last_weeks(shop):
    shop.ready()
    use = shop.read(lambda session: diskuse.disk_use(session, shop.shop, shop.now))
    store = shop.shop.store
    lying = sum(store.path(sha256).stat().st_size for sha256 in store.hashes())
    assert sum(size for _, size in use.classes.values()) == lying
    assert use.per_week == lying, "a shop of one day: its first week counts whole"
    assert use.weeks_left == int(use.free / lying)
    shop.wait(weeks=20)
    assert shop.read(lambda session: diskuse.disk_use(session, shop.shop, shop.now)).weeks_left is None


def test_a_disk_with_less_than_a_fifth_free_is_said(shop, monkeypatch):
    full = diskuse.shutil._ntuple_diskusage
    monkeypatch.setattr(diskuse.shutil, "disk_usage", lambda _: full(10**12, 0, 199 * 10**9))
    assert "199.0 GB of 1000 GB are free" in diskuse.disk_warning(shop.shop)
    monkeypatch.setattr(diskuse.shutil, "disk_usage", lambda _: full(10**12, 0, 2 * 10**11))
    assert diskuse.disk_warning(shop.shop) is None


def test_the_command_lines_backup_counts_too(shop, stick, tmp_path):
    from logbook.records.backup import BackupWish, back_up

    made = back_up(shop.shop, BackupWish(stick), now=datetime.now(UTC))
    shop.act(lambda session, by: backups.note_made(session, by, made=made))
    assert shop.read(lambda session: backups.last(session, "backup")).size == made.size
    tried, found, _ = bring_back(made.backup, tmp_path / "new", keeping.worker_actor())
    tried.database.close()
    assert found.anchor.entries == made.manifest.anchor.entries


def test_a_backup_that_is_stopped_leaves_nothing_and_the_next_one_is_whole(shop, stick, monkeypatch):
    shop.ready()
    _set_up(shop, stick)
    stopped = []

    def work_and_stop(started, wish, *, now, progress):
        def tell(part):
            if not stopped:
                shop.act(lambda session, by: backups.stop(session, by, run=backups.at_work(session)))
                stopped.append(part)
            progress(part)

        return back_up(started, wish, now=now, progress=tell)

    monkeypatch.setattr(keeping, "back_up", work_and_stop)
    for _ in range(2):
        shop.act(lambda session, by: backups.ask_for(session, by))
        keep_safe(shop.shop)
    runs = shop.read(lambda session: [(run.state, run.sentence) for run in backups.newest(session, 2)])
    assert runs[1] == ("failed", "Stopped by hand.")
    assert runs[0][0] == "done"
    assert len(backups_in(stick)) == 1
    assert stopped[0] < 1
    with pytest.raises(Refused, match="ended already"):
        shop.act(lambda session, by: backups.stop(session, by, run=backups.newest(session, 1)[0]))


def test_a_check_tells_how_far_it_is_and_can_be_stopped_and_neither_says_that_anything_is_damaged(shop, monkeypatch):
    shop.ready()
    shop.wait(days=1)
    parts = []
    assert verifying.verify(shop.shop.database, shop.shop.store, progress=parts.append)["sound"]
    assert parts == sorted(parts)
    assert parts[-1] == 1
    assert len(parts) == len(shop.shop.store.hashes())
    monkeypatch.setattr(keeping, "TELL_SECONDS", 0)
    monkeypatch.setattr(verifying, "hash_file", lambda path: shop.act(_stop) or path.name)
    shop.act(backups.ask_for_check)
    assert keep_safe(shop.shop)
    shop.act(backups.ask_for_check)
    shop.act(lambda session, by: backups.begin(session, by) and None)
    shop.act(backups.fail_left_behind)
    runs = shop.read(lambda session: [(run.state, run.sentence) for run in backups.newest(session, 2)])
    assert runs == [("failed", backups.LEFT), ("failed", backups.STOPPED)]
    acts = shop.read(lambda session: [entry.action for entry in newest(session, before=None, count=5)])
    assert "check of the record broken off" in acts
    assert "record found damaged" not in acts
    assert not any("check" in said for said in shop.read(lambda session: backups.warnings(session, shop.now)))


def _stop(session, by):
    run = backups.at_work(session)
    if run is not None and run.state == "running":
        backups.stop(session, by, run=run)
