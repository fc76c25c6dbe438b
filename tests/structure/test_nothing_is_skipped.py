"""The suite's own rule that a missing tool is an error, tried on a small suite."""

import os
import subprocess
import sys

SMALL_SUITE = """\
import pytest

def test_that_passes():
    pass

@pytest.mark.skip
def test_marked_as_skipped():
    pass

def test_that_skips_itself():
    pytest.skip("no tool")

@pytest.mark.xfail
def test_expected_to_fail():
    assert False
"""


def _run(root, folder):
    alone = ["-p", "no:randomly", "-p", "no:cacheprovider", "-c", os.devnull, "--rootdir", folder]
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "conftest", *alone, folder],
        env={**os.environ, "PYTHONPATH": str(root / "tests")},
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_test_that_skips_or_expects_to_fail_is_a_failure(project_root, tmp_path):
    (tmp_path / "test_small.py").write_text(SMALL_SUITE)
    result = _run(project_root, tmp_path)
    assert result.returncode == 1
    assert "2 failed, 1 passed, 1 error" in result.stdout


def test_a_module_that_skips_itself_is_an_error(project_root, tmp_path):
    (tmp_path / "test_module.py").write_text('import pytest\npytest.importorskip("no_such_tool_anywhere")\n')
    result = _run(project_root, tmp_path)
    assert result.returncode == 2
    assert "1 error" in result.stdout
