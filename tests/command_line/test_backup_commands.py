"""``logbook backup``, ``verify-backup``, ``restore``: called as a person or a script calls them."""

import json
import shutil
import subprocess
import sys

import pytest

from logbook.actions import backups
from support.small_shop import small_shop


def _logbook(*words):
    return subprocess.run(
        [sys.executable, "-m", "logbook", *map(str, words)], capture_output=True, text=True, check=False
    )


@pytest.fixture(scope="module")
def data(tmp_path_factory):
    made = small_shop(tmp_path_factory.mktemp("backup") / "data")
    made.order()
    made.shop.database.close()
    return made.shop.settings.data


def test_a_shop_is_backed_up_checked_and_brought_back(data, tmp_path):
    (tmp_path / "stick").mkdir()
    made = _logbook("backup", tmp_path / "stick", "--data", data, "--json")
    assert made.returncode == 0
    assert "Backing up" not in made.stderr, "nobody watches a log"
    told = json.loads(made.stdout)
    assert told["absent"] == []
    checked = _logbook("verify-backup", tmp_path / "stick", "--json")
    assert json.loads(checked.stdout)["sound"] is True
    back = _logbook("restore", told["backup"], tmp_path / "new", "--json")
    assert json.loads(back.stdout)["entries"] == told["entries"]
    assert json.loads(_logbook("verify", "--data", tmp_path / "new", "--json").stdout)["sound"] is True
    assert "whole and unchanged" in _logbook("verify-backup", tmp_path / "stick").stdout


def test_a_complete_copy_is_made_and_checked_by_its_own_program(data, tmp_path):
    told = _logbook("export", tmp_path / "copy", "--data", data, "--json")
    assert told.returncode == 0
    assert json.loads(told.stdout)["fault"] is None
    checked = subprocess.run([sys.executable, tmp_path / "copy/check_export.py", tmp_path / "copy"], check=False)
    assert checked.returncode == 0


def test_a_check_that_finds_something_names_it_and_ends_with_one(data, tmp_path):
    (tmp_path / "stick").mkdir()
    _logbook("backup", tmp_path / "stick", "--data", data)
    kept = next((tmp_path / "stick/logbook-files").glob("*/*"))
    kept.unlink()
    checked = _logbook("verify-backup", tmp_path / "stick")
    assert checked.returncode == 1
    assert kept.name in checked.stdout
    refused = _logbook("restore", tmp_path / "stick", tmp_path / "new")
    assert refused.returncode == 2
    assert kept.name in refused.stderr
    assert not (tmp_path / "new").exists()


def test_a_file_that_the_shop_lost_ends_a_backup_with_one(tmp_path):
    made = small_shop(tmp_path / "data")
    made.order()
    made.shop.store.drop(min(made.shop.store.hashes()))
    (tmp_path / "stick").mkdir()
    told = _logbook("backup", tmp_path / "stick", "--data", tmp_path / "data")
    made.shop.database.close()
    assert told.returncode == 1
    assert "has lost 1 of its files" in told.stdout


@pytest.mark.parametrize(
    "words",
    [
        ("backup", "{nowhere}", "--data", "{data}"),
        ("backup", "{data}/files", "--data", "{data}"),
        ("backup", "{here}", "--data", "{nowhere}"),
        ("verify-backup", "{nowhere}"),
        ("verify-backup", "{here}"),
        ("restore", "{here}", "{nowhere}"),
        ("restore", "{nowhere}", "{nowhere}"),
        ("backup", "{here}", "--keep", "0"),
        ("export", "{data}/copy", "--data", "{data}"),
        ("export", "{here}/copy", "--data", "{nowhere}"),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_exit_code_two(data, tmp_path, words):
    places = {"data": data, "here": tmp_path, "nowhere": tmp_path / "nowhere"}
    told = _logbook(*(word.format(**places) for word in words))
    assert told.returncode == 2
    assert told.stdout == ""
    assert len(told.stderr.strip().splitlines()) == 1
    assert told.stderr.startswith("logbook: ")
    assert list(tmp_path.iterdir()) == []


def test_without_a_folder_it_goes_where_the_owner_set_it_up_and_otherwise_one_sentence_says_so(tmp_path):
    shop = small_shop(tmp_path / "data")
    refused = _logbook("backup", "--data", tmp_path / "data")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "Say into which folder" in refused.stderr
    stick = tmp_path / "stick"
    stick.mkdir()
    wanted = backups.Setup(folder=stick, keep=1)
    shop.act(lambda session, by: backups.set_up(session, by, data=tmp_path / "data", wanted=wanted))
    shop.shop.database.close()
    for _ in range(2):
        assert _logbook("backup", "--data", tmp_path / "data").returncode == 0
    assert len(list(stick.glob("logbook-backup-*"))) == 1  # as many stay as the owner said
    shutil.rmtree(stick)
    gone = _logbook("backup", "--data", tmp_path / "data")
    assert (gone.returncode, "is not there; put the stick in" in gone.stderr) == (2, True)
    assert not stick.exists()
