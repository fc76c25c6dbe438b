"""What a build puts into the sdist and the wheel, and what an installation finds again."""

import hashlib
import json
import tarfile
import zipfile
from pathlib import Path

import pytest

from support.repository import tracked_files

SHIPPED = {"logbook", "templates", "safety"}
ALONGSIDE = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".gitignore", "PKG-INFO"}

READ_SHIPPED_FILES = """
import hashlib, json, sys, logbook.resources
found = {}
for name in sys.argv[1:]:
    folder = logbook.resources.folder(name)
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            found[f"{name}/{path.relative_to(folder).as_posix()}"] = hashlib.sha256(path.read_bytes()).hexdigest()
print(json.dumps(found))
"""


@pytest.fixture(scope="module")
def shipped(project_root):
    return {path.as_posix() for path in tracked_files(project_root) if path.parts[0] in SHIPPED}


def _in_sdist(path: Path) -> set[str]:
    with tarfile.open(path) as archive:
        return {name.partition("/")[2] for name in archive.getnames()}


def _in_wheel(path: Path) -> set[str]:
    with zipfile.ZipFile(path) as archive:
        return {name for name in archive.namelist() if ".dist-info/" not in name}


def test_the_sdist_holds_the_shipped_files_and_nothing_that_lay_beside_them(built, shipped):
    names = _in_sdist(built.sdist)
    assert shipped - names == set()
    assert names - shipped <= ALONGSIDE


def test_the_wheel_holds_templates_and_safety_inside_the_package(built, shipped):
    expected = {name if name.startswith("logbook/") else f"logbook/{name}" for name in shipped}
    assert _in_wheel(built.wheel) == expected


def test_the_installed_program_finds_every_template_and_safety_file_unchanged(installed, project_root, shipped):
    expected = {
        name: hashlib.sha256((project_root / name).read_bytes()).hexdigest()
        for name in shipped
        if not name.startswith("logbook/")
    }
    folders = sorted({name.partition("/")[0] for name in expected})
    assert "safety" in folders
    assert json.loads(installed.python("-c", READ_SHIPPED_FILES, *folders).stdout) == expected


def test_the_installed_program_is_found_in_its_environment_and_not_in_the_checkout(installed):
    where = installed.python("-c", "import logbook; print(logbook.__file__)").stdout
    assert Path(where.strip()).is_relative_to(installed.folder)


def test_the_installed_command_tells_its_version(installed):
    told = installed.python("-m", "logbook", "--version").stdout
    ask = "from importlib.metadata import version; print(version('lenticular-bench-logbook'))"
    assert installed.python("-c", ask).stdout.strip() in told
