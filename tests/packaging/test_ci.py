"""What .ci/run makes of the two commands it calls, with stand-ins for both."""

import shutil
import subprocess

import pytest


@pytest.fixture
def run_ci(project_root, tmp_path):
    """Run a copy of .ci/run as a build machine does; the stand-ins end with the codes given."""
    for folder in (".ci", "demo", "tests"):
        (tmp_path / folder).mkdir()
    shutil.copy2(project_root / ".ci" / "run", tmp_path / ".ci" / "run")

    def run(*, demo, tests):
        for name, code in {"demo/start": demo, "tests/run": tests}.items():
            (tmp_path / name).write_text(f"#!/bin/sh\necho {name} $*\nexit {code}\n")
            (tmp_path / name).chmod(0o755)
        command = [shutil.which("bash"), tmp_path / ".ci" / "run"]
        return subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)

    return run


def test_the_demo_is_checked_and_the_tests_have_the_last_word(run_ci):
    result = run_ci(demo=0, tests=0)
    assert result.returncode == 0
    assert result.stdout.splitlines() == ["demo/start --check", "tests/run"]


@pytest.mark.parametrize(("demo", "tests"), [(1, 0), (0, 1), (2, 5)])
def test_either_failure_fails_the_whole_and_neither_keeps_the_other_from_running(run_ci, demo, tests):
    result = run_ci(demo=demo, tests=tests)
    assert result.returncode == 1
    assert result.stdout.splitlines() == ["demo/start --check", "tests/run"]
    assert ("exit code 2" in result.stderr) == (demo == 2)
