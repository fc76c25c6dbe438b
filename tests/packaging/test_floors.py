"""No installed package lies below a version that closed a known hole; the table is in support/floors.py."""

import tomllib
from importlib.metadata import version

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

from support.floors import FLOORS

TABLE = pytest.mark.parametrize(
    ("package", "floor"), sorted({(name, floor) for name, floor, *_ in FLOORS}), ids=lambda value: value
)


@TABLE
def test_the_installed_version_is_at_or_above_the_floor(package, floor):
    assert Version(version(package)) >= Version(floor)


@TABLE
def test_no_version_below_the_floor_may_be_installed_at_all(project_root, package, floor):
    project = tomllib.loads((project_root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {requirement.name: requirement.specifier for requirement in map(Requirement, project["dependencies"])}
    below = Version(f"{floor}.dev0")
    assert package in declared
    assert not declared[package].contains(below, prereleases=True)
