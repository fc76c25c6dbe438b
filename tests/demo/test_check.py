"""The demo's check: exits 0 after the whole walk, else says in one sentence what failed; leaves nothing behind.

The server and its worker write to the standard error that they were born with, so its end is seen here only when
both have ended: a program left behind is a hang.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from logbook.records.opened import open_shop
from logbook.settings import Settings

HANGS = 300
"""Seconds after which something hangs; no measure of speed."""
WALKED = (
    "found the shop", "take the order", "make the proof", "record the answer", "measure the pitch", "choose the pitch",
    "interlace", "accept and download", "print and dry", "set up the laminator", "mount", "rest and trim",
    "inspect and ship", "print the traveller", "trace forwards", "trace backwards",
)  # fmt: skip


@pytest.fixture(scope="module")
def shop_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that verifies; the check never looks closer at the demo."""
    folder = tmp_path_factory.mktemp("check") / "data"
    open_shop(Settings(data=folder)).database.close()
    return folder


@pytest.fixture
def check(project_root, shop_folder, tmp_path):
    def run(*more: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "demo/check.py", "--data", str(shop_folder), *more]
        aside = {**os.environ, "TMPDIR": str(tmp_path)}
        return subprocess.run(
            command,
            cwd=project_root,
            env=aside,
            capture_output=True,
            text=True,
            check=False,
            timeout=HANGS,
        )

    return run


def test_it_walks_the_whole_job_and_leaves_nothing(check, tmp_path):
    told = check()
    assert told.returncode == 0, told.stderr
    assert [line.strip() for line in told.stdout.splitlines()][1:-1] == list(WALKED)
    assert list(tmp_path.iterdir()) == []


def test_without_a_worker_it_says_that_the_run_still_waits_and_leaves_nothing(check, tmp_path):
    told = check("--no-worker", "--patience", "1")
    assert told.returncode == 1
    assert told.stderr == "The check failed at: interlace: the run is still waiting after 1 s\n"
    assert list(tmp_path.iterdir()) == []


def test_a_folder_without_a_logbook_fails_it_before_any_server_starts(project_root, tmp_path):
    told = subprocess.run(
        [sys.executable, "demo/check.py", "--data", str(tmp_path / "nowhere")],
        cwd=project_root, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert told.returncode == 1
    assert "There is no logbook in" in told.stderr
    assert told.stdout == ""


def test_being_stopped_it_ends_its_server_and_removes_its_folder(project_root, shop_folder, tmp_path):
    aside = {**os.environ, "TMPDIR": str(tmp_path)}
    command = [sys.executable, "demo/check.py", "--data", str(shop_folder)]
    with subprocess.Popen(
        command, cwd=project_root, env=aside, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as walking:
        assert walking.stdout is not None
        while "take the order" not in walking.stdout.readline():
            assert walking.poll() is None
        walking.terminate()
        _, said = walking.communicate(timeout=HANGS)
    assert walking.returncode == 1
    assert "The check was stopped." in said
    assert list(tmp_path.iterdir()) == []
