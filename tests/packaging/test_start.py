"""What demo/start asks of the program, with stand-ins for set-up and program."""

import shutil
import subprocess

import pytest

SET_UP = 'set_up() { echo "set_up $1" >>called; }\npaper_libraries() { echo paper_libraries >>called; }\n'
PROGRAM = '#!/bin/sh\necho "python $*" >>called\n[ "$1" != "${FAILING:-}" ]\n'


@pytest.fixture
def start(project_root, tmp_path):
    """Run a copy of demo/start from another folder; gives the exit code and the calls in order."""
    project, elsewhere = tmp_path / "project", tmp_path / "elsewhere"
    program = project / ".venv" / "bin" / "python"
    for folder in (project / "demo", program.parent, elsewhere):
        folder.mkdir(parents=True)
    shutil.copy2(project_root / "demo" / "start", project / "demo" / "start")
    (project / "demo" / "set-up.sh").write_text(SET_UP)
    program.write_text(PROGRAM)
    program.chmod(0o755)

    def run(*arguments, **environment):
        result = subprocess.run(
            [project / "demo" / "start", *arguments],
            cwd=elsewhere,
            env={"PATH": "/usr/bin:/bin", **environment},
            capture_output=True,
            text=True,
            check=False,
        )
        called = project / "called"
        return result.returncode, called.read_text().splitlines() if called.exists() else []

    run.elsewhere = elsewhere
    return run


def test_the_demo_is_set_up_loaded_and_served_from_a_folder_of_its_own(start):
    assert start() == (
        0,
        [
            "set_up runtime",
            "paper_libraries",
            "python demo/scenario.py --data .demo-data",
            "python -m logbook serve --data .demo-data",
        ],
    )


def test_the_port_is_handed_on(start):
    assert start("--port", "8123")[1][-1] == "python -m logbook serve --data .demo-data --port 8123"


def test_a_check_loads_the_demo_and_serves_nothing_that_stays(start):
    _, calls = start("--check")
    assert calls[-2:] == ["python demo/scenario.py --data .demo-data", "python demo/check.py --data .demo-data"]


def test_a_failed_check_is_a_failed_start(start):
    assert start("--check", FAILING="demo/check.py")[0] != 0


def test_a_scenario_that_fails_stops_the_start(start):
    code, calls = start(FAILING="demo/scenario.py")
    assert code != 0
    assert calls[-1].startswith("python demo/scenario.py")


def test_a_relative_folder_is_the_callers_own(start):
    assert start("--data", "here")[1][-1].endswith(f"--data {start.elsewhere}/here")


def test_the_folder_may_come_from_the_environment_and_the_option_wins(start):
    assert start(LOGBOOK_DEMO_DATA="/a")[1][-1].endswith("--data /a")
    assert start("--data", "/b", LOGBOOK_DEMO_DATA="/a")[1][-1].endswith("--data /b")


@pytest.mark.parametrize("arguments", [["--help"], ["--port"], ["--data"], ["extra"]])
def test_anything_else_prints_the_usage_and_touches_nothing(start, arguments):
    assert start(*arguments) == (2, [])
