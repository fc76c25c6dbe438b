"""What the commands print and how they end: one JSON object, one sentence, one exit code."""

import json
import re
import subprocess
import sys

import pytest
from click.testing import CliRunner

from logbook.command_line import _COMMANDS, main
from logbook.command_line.shop import new_password, trace, verify
from logbook.command_line.telling import line, shown
from logbook.records.floor import Run
from support.small_shop import one, prints, small_shop


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    made = small_shop(tmp_path_factory.mktemp("printed") / "data")
    made.code = made.ready()
    yield made
    made.shop.database.close()


def _called(monkeypatch, capsys, *words):
    """As from a shell; returns exit code, standard output, standard error."""
    monkeypatch.setattr(sys, "argv", ["logbook", *map(str, words)])
    try:
        main()
        code = 0
    except SystemExit as left:
        code = left.code or 0
    told = capsys.readouterr()
    return code, told.out, told.err


@pytest.mark.parametrize("command", list(_COMMANDS))
def test_every_command_explains_itself(monkeypatch, capsys, command):
    code, out, err = _called(monkeypatch, capsys, command, "--help")
    assert (code, err) == (0, "")
    assert f"Usage: logbook {command}" in out


def test_the_help_lists_every_command_once_with_what_it_is_for_and_how_it_ends(monkeypatch, capsys):
    code, out, err = _called(monkeypatch, capsys, "--help")
    assert (code, err) == (0, "")
    listed = re.findall(r"^  ([a-z-]+) {2,}\S", out, flags=re.MULTILINE)
    assert sorted(name for name in listed if not name.startswith("-")) == sorted(_COMMANDS)
    assert "2 refused" in out
    assert max(map(len, out.splitlines())) <= 80  # the width of an ordinary terminal


@pytest.mark.parametrize("name", ["note.txt", "broken.tif", "empty.tif", "photograph.jpg"])
def test_a_file_without_a_story_is_one_sentence_with_and_without_a_shop(monkeypatch, capsys, shop, tmp_path, name):
    path = tmp_path / name
    path.write_bytes({"note.txt": b"hello", "broken.tif": b"II*\0\x08\0\0\0", "empty.tif": b""}.get(name, b"\xff\xd8"))
    for folder in (shop.shop.settings.data, tmp_path / "nowhere"):
        code, out, err = _called(monkeypatch, capsys, "trace", path, "--json", "--data", folder)
        assert (code, out) == (2, "")
        assert err.startswith("logbook: ")
        assert name in err
        assert len(err.strip().splitlines()) == 1


def test_no_library_speaks_beside_the_one_sentence(tmp_path):
    broken = tmp_path / "broken.tif"
    broken.write_bytes(b"II*\0\x08\0\0\0")  # a TIFF's header whose first directory lies beyond the end
    # a process of its own: here the test runner listens to every library
    command = [sys.executable, "-m", "logbook", "trace", broken, "--data", tmp_path / "nowhere"]
    told = subprocess.run(command, capture_output=True, text=True, check=False)
    assert told.returncode == 2
    assert told.stderr.startswith("logbook: broken.tif tells nothing of itself")
    assert len(told.stderr.strip().splitlines()) == 1


def test_json_is_exactly_one_object_on_one_line(shop):
    folder = ["--data", str(shop.shop.settings.data), "--json"]
    run, serial = shop.read(lambda session: (one(session, Run).output.sha256, prints(session, shop.code)[0].serial))
    path = shop.shop.store.path(run)
    for command, words in ((trace, [serial]), (trace, [run]), (trace, [str(path)]), (verify, [])):
        told = CliRunner().invoke(command, [*words, *folder])
        assert (told.exit_code, told.stderr) == (0, "")
        assert told.stdout.count("\n") == 1
        assert isinstance(json.loads(told.stdout), dict)


def test_a_sound_shop_verifies_with_its_head(shop):
    told = CliRunner().invoke(verify, ["--data", str(shop.shop.settings.data)])
    assert told.exit_code == 0
    assert "follow from each other" in told.stdout


def test_two_passwords_that_differ_change_nothing(shop):
    told = CliRunner().invoke(
        new_password, ["Olga", "--data", str(shop.shop.settings.data)], input="another-ridge-9\nanother-ridge-8\n"
    )
    assert told.exit_code != 0
    assert "another-ridge" not in told.output, "what is typed is not shown"


def test_nobody_of_that_name_is_one_sentence(monkeypatch, capsys, shop):
    monkeypatch.setattr("click.prompt", lambda *_words, **_more: "another-ridge-9")
    code, out, err = _called(monkeypatch, capsys, "new-password", "Nobody", "--data", shop.shop.settings.data)
    assert (code, out) == (2, "")
    assert err == "logbook: Nobody here is called 'Nobody'; write the name as it stands under Shop.\n"


def test_long_work_shows_a_bar_where_somebody_watches_and_is_silent_in_a_log(monkeypatch, capsys):
    assert line("Checking", 0.25, 10).rstrip() == "Checking [######..................]  25 % about 30 s left"
    assert line("Checking", 0.01, 10).rstrip() == "Checking [........................]   1 %"
    assert len({len(line("Checking", part, 500)) for part in (0, 0.06, 0.5, 1)}) == 1, "the longest is wiped out"
    shown("Checking")(1)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    show = shown("Checking")
    show(1)
    show(1)
    assert capsys.readouterr().err.count("100 %") == 1
