"""The commands of the running shop, called as a person or a script calls them."""

import configparser
import json
import plistlib
import subprocess
import sys

import pytest
from click.testing import CliRunner

from logbook.actions import people
from logbook.command_line.shop import new_password
from support.small_shop import prints, small_shop


def _logbook(*words, **more):
    return subprocess.run(
        [sys.executable, "-m", "logbook", *map(str, words)], capture_output=True, text=True, check=False, **more
    )


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    made = small_shop(tmp_path_factory.mktemp("commands") / "data")
    made.code = made.ready()
    yield made
    made.shop.database.close()


def test_the_help_names_every_command_with_a_sentence():
    told = _logbook("--help").stdout
    for command in ("pitch", "interlace", "view", "trace", "serve", "worker", "verify", "new-password", "autostart"):
        line = next(line for line in told.splitlines() if line.strip().startswith(command))
        assert len(line.split()) > 3
        assert _logbook(command, "--help").returncode == 0


def test_a_trace_is_one_json_object_and_nothing_else(shop):
    serial = shop.read(lambda session: prints(session, shop.code)[0].serial)
    told = _logbook("trace", serial, "--json", "--data", shop.shop.settings.data)
    assert told.returncode == 0
    assert told.stderr == ""
    assert json.loads(told.stdout)["print"]["serial"] == serial
    words = _logbook("trace", serial, "--data", shop.shop.settings.data).stdout
    assert "lpi: 20.0" in words


@pytest.mark.parametrize(
    "words",
    [
        ("trace", "nothing-of-that-name"),
        ("trace", "0" * 64),
        ("trace",),
        ("serve", "--port", "many"),
        ("no-such-command",),
    ],
)
def test_bad_words_are_one_sentence_and_exit_code_two(shop, words):
    told = _logbook(*words, *(["--data", str(shop.shop.settings.data)] if words[0] == "trace" else []))
    assert told.returncode == 2
    assert told.stdout == ""
    assert told.stderr.startswith("logbook: ")
    assert len(told.stderr.strip().splitlines()) == 1


def test_a_folder_without_a_logbook_is_not_turned_into_one(tmp_path):
    told = _logbook("trace", "26-0001-A1", "--data", tmp_path / "nowhere")
    assert told.returncode == 2
    assert "There is no logbook" in told.stderr
    assert not (tmp_path / "nowhere").exists()


def test_verify_names_a_changed_file_and_ends_with_one(tmp_path):
    made = small_shop(tmp_path / "data")
    code = made.order()
    assert _logbook("verify", "--data", tmp_path / "data").returncode == 0
    kept = min(made.shop.store.hashes())
    made.shop.store.path(kept).write_bytes(b"another")
    told = _logbook("verify", "--json", "--data", tmp_path / "data")
    assert told.returncode == 1
    assert kept in json.loads(told.stdout)["sentence"]
    assert code


def test_a_found_file_tells_its_own_story_where_no_shop_is_at_hand(shop, tmp_path):
    from logbook.records.floor import Run
    from support.small_shop import one

    kept = shop.read(lambda session: (one(session, Run).output.sha256, one(session, Run).code))
    found = tmp_path / "found.tif"
    found.write_bytes(shop.shop.store.path(kept[0]).read_bytes())
    told = json.loads(_logbook("trace", found, "--json", "--data", tmp_path / "nowhere").stdout)
    assert told["told_by_the_file"]["run"] == kept[1]


def test_the_autostart_texts_are_what_their_systems_read(tmp_path):
    unit = configparser.ConfigParser(strict=False, comment_prefixes=("#",))
    unit.optionxform = str
    unit.read_string(_logbook("autostart", "systemd", "--data", tmp_path).stdout)
    assert f'serve --data "{tmp_path}"' in unit["Service"]["ExecStart"]
    agent = plistlib.loads(_logbook("autostart", "launchd", "--data", tmp_path).stdout.encode())
    assert agent["ProgramArguments"][1:] == ["-m", "logbook", "serve", "--data", str(tmp_path)]


def test_a_lost_password_is_replaced_at_the_machine(shop):
    folder = str(shop.shop.settings.data)
    told = CliRunner().invoke(new_password, ["Otto", "--data", folder], input="another-ridge-9\nanother-ridge-9\n")
    assert told.exit_code == 0, told.output
    assert (
        shop.read(lambda session: people.verify_password(session, name="Otto", password="another-ridge-9")) is not None
    )
    assert shop.read(lambda session: people.verify_password(session, name="Otto", password="ridge-and-valley")) is None


def test_serving_an_empty_folder_asks_for_the_owner(tmp_path):
    import urllib.request

    command = [sys.executable, "-m", "logbook", "serve", "--data", str(tmp_path / "new"), "--port", "0", "--no-worker"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as server:
        try:
            address = server.stdout.readline().strip()
            with urllib.request.urlopen(address) as answer:
                assert answer.url.endswith("/found")
        finally:
            server.terminate()
