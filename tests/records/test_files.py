"""Kept files: whole or not at all, under their own hash."""

import hashlib
import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest

from logbook.records.files import FileStore, hash_file, keep, sweep_orphans
from logbook.records.opened import open_shop
from logbook.settings import Settings

KILLED = """
import os, signal, sys
from io import BytesIO
from pathlib import Path
from logbook.records import files
store = files.FileStore(Path(sys.argv[1]))
def dying(*_):
    os.kill(os.getpid(), signal.SIGKILL)
class Cut(BytesIO):
    def read(self, size=-1):
        if sys.argv[2] == "while-it-arrives" and self.tell():
            dying()
        return super().read(size)
if sys.argv[2] == "before-sync":
    files.os.fsync = dying
elif sys.argv[2] == "after-rename":
    files.sync_folder = lambda folder: any(path.is_file() for path in folder.iterdir()) and dying()
store.put(Cut(b"z" * 3_000_000))
"""


def test_a_file_lies_under_the_sha256_of_its_bytes(tmp_path):
    store, content = FileStore(tmp_path), os.urandom(3_000_000)
    sha256, size = store.put(BytesIO(content))
    assert (sha256, size) == (hashlib.sha256(content).hexdigest(), len(content))
    assert store.path(sha256).read_bytes() == content
    assert hash_file(store.path(sha256)) == sha256
    assert store.put(BytesIO(content)) == (sha256, size)
    assert store.hashes() == {sha256}


def test_a_process_that_is_killed_leaves_no_half_file(tmp_path):
    wanted = hashlib.sha256(b"z" * 3_000_000).hexdigest()
    for moment, there in (("while-it-arrives", set()), ("before-sync", set()), ("after-rename", {wanted})):
        store = FileStore(tmp_path / moment)
        ended = subprocess.run([sys.executable, "-c", KILLED, store.folder, moment], check=False)
        assert ended.returncode == -signal.SIGKILL
        assert {hash_file(store.path(sha256)) for sha256 in store.hashes()} == store.hashes() == there
        store.sweep()
        assert list((store.folder / "incoming").iterdir()) == []


def test_a_stored_file_and_both_folders_that_name_it_are_synced(tmp_path, monkeypatch):
    """POSIX.1-2024, fsync(): a file's own bytes; the names lie in its folder, and the folder's in the one above."""
    synced, real = [], os.fsync

    def watched(handle):
        synced.append(os.fstat(handle).st_ino)
        real(handle)

    monkeypatch.setattr(os, "fsync", watched)
    store = FileStore(tmp_path)
    sha256, _ = store.put(BytesIO(b"kept"))
    for path in (store.path(sha256), store.path(sha256).parent, tmp_path):
        assert path.stat().st_ino in synced


def test_bytes_that_were_dropped_are_gone_and_may_be_put_again(tmp_path):
    store = FileStore(tmp_path)
    sha256, _ = store.put(BytesIO(b"interlaced"))
    assert store.has(sha256)
    store.drop(sha256)
    store.drop(sha256)  # nothing there is nothing to complain about
    assert not store.has(sha256)
    assert store.put(BytesIO(b"interlaced")) == (sha256, 10)
    assert store.has(sha256)


@pytest.mark.parametrize("size", [0, 1, (1 << 20) - 1, 1 << 20, (1 << 20) + 1])
def test_a_stream_of_any_size_is_stored_whole(tmp_path, size):
    store, content = FileStore(tmp_path), b"x" * size
    assert store.put(BytesIO(content)) == (hashlib.sha256(content).hexdigest(), size)
    assert list((tmp_path / "incoming").iterdir()) == []


def test_an_empty_file_has_the_published_hash_of_nothing(tmp_path):
    """FIPS 180-4 (2015): SHA-256 of the empty message, as in its example values (from memory)."""
    sha256, _ = FileStore(tmp_path).put(BytesIO(b""))
    assert sha256 == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_a_stream_that_breaks_leaves_nothing(tmp_path):
    class Broken(BytesIO):
        def read(self, size=-1):
            raise ConnectionResetError

    store = FileStore(tmp_path)
    with pytest.raises(ConnectionResetError):
        store.put(Broken())
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_a_sweep_spares_what_another_process_just_wrote_to(tmp_path):
    store = FileStore(tmp_path)
    fresh, old = store.temporary(), store.temporary()
    for moment, path in ((time.time() - 300, old), (time.time() + 7200, store.temporary())):  # a clock set back as well
        os.utime(path, (moment, moment))
    assert store.sweep(idle=timedelta(minutes=2)) == 2
    assert list((tmp_path / "incoming").iterdir()) == [fresh]
    assert store.sweep() == 1


def test_a_picture_whose_bytes_were_kept_as_something_lesser_is_a_record_from_then_on(tmp_path):
    shop, now = open_shop(Settings(data=tmp_path)), datetime(2026, 1, 5, tzinfo=UTC)
    sha256, size = shop.store.put(BytesIO(b"an interlaced file that somebody hands in as a picture"))
    kinds = []
    for kind in ("interlaced", "record", "preview"):
        with shop.database.writing() as session:
            kept = keep(session, sha256=sha256, size=size, media_type="image/tiff", kind=kind, now=now)
            kinds.append(kept.kind)
    assert kinds == ["interlaced", "record", "record"]
    shop.database.close()


def test_bytes_of_a_row_that_says_dropped_are_swept_and_kept_again_once_they_are_back(tmp_path):
    shop, now = open_shop(Settings(data=tmp_path)), datetime(2026, 1, 5, tzinfo=UTC)
    sha256, size = shop.store.put(BytesIO(b"output"))
    known = {"sha256": sha256, "size": size, "media_type": "image/tiff", "kind": "interlaced", "now": now}
    hours_ago = time.time() - 7200
    os.utime(shop.store.path(sha256), (hours_ago, hours_ago))
    with shop.database.writing() as session:
        keep(session, **known).dropped_at = now
    with shop.database.reading() as session:
        assert sweep_orphans(session, shop.store) == 1
    assert not shop.store.has(sha256)
    shop.store.put(BytesIO(b"output"))
    os.utime(shop.store.path(sha256), (hours_ago, hours_ago))
    with shop.database.writing() as session:
        assert keep(session, **known).dropped_at is None
    with shop.database.reading() as session:
        assert sweep_orphans(session, shop.store) == 0
    assert shop.store.has(sha256)
    shop.database.close()


def test_files_that_no_row_knows_are_swept_after_an_hour(tmp_path):
    shop = open_shop(Settings(data=tmp_path))
    kept, _ = shop.store.put(BytesIO(b"kept"))
    fresh, _ = shop.store.put(BytesIO(b"fresh"))
    old, _ = shop.store.put(BytesIO(b"old"))
    hours_ago = time.time() - 7200
    for sha256 in (kept, old):
        os.utime(shop.store.path(sha256), (hours_ago, hours_ago))
    with shop.database.writing() as session:
        keep(session, sha256=kept, size=4, media_type="text/plain", kind="record", now=datetime(2026, 1, 5, tzinfo=UTC))
    with shop.database.reading() as session:
        assert sweep_orphans(session, shop.store) == 1
    assert shop.store.hashes() == {kept, fresh}
    shop.database.close()
