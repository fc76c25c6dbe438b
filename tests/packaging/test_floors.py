"""No installed package lies below a version that closed a known hole.

Read in the change logs inside the source distributions of Flask 3.1.3, Werkzeug
3.1.6, WeasyPrint 70.0 (docs/changelog.rst) and Pillow 13.0.0
(docs/releasenotes/13.0.0.rst; its date is that of the files in the archive). The
Jinja identifier is from memory, its date that of the files in the archive of
Jinja2 3.1.6. This table knows no later hole: it says that these are closed, no more.
"""

import tomllib
from datetime import date
from importlib.metadata import version

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

# package, lowest version, advisory, released, what it closed
FLOORS = [
    ("pillow", "13.0.0", "CVE-2026-96639", date(2026, 10, 16), "image storage reused after a change of mode"),
    ("pillow", "13.0.0", "GHSA-5x8w-8jj5-q52h", date(2026, 10, 16), "JPEG decoder writes past its buffer"),
    ("pillow", "13.0.0", "GHSA-462x-pgg6-55fp", date(2026, 10, 16), "TIFF tiles read past undersized buffers"),
    ("pillow", "13.0.0", "GHSA-332p-7hrc-92wf", date(2026, 10, 16), "TIFF encoder writes past its buffer"),
    ("pillow", "13.0.0", "CVE-2026-96636", date(2026, 10, 16), "pixel limit passed by in files of several pictures"),
    ("weasyprint", "70.0", "CVE-2026-55073", date(2026, 9, 8), "own fetcher left out, EPS pictures rendered"),
    ("werkzeug", "3.1.6", "GHSA-29vq-49wr-vm6x", date(2026, 2, 19), "device names in joined paths on Windows"),
    ("flask", "3.1.3", "GHSA-68rp-wp8r-4726", date(2026, 2, 18), "session used without telling caches"),
    ("jinja2", "3.1.6", "GHSA-cpwx-vrp4-4pq7", date(2025, 3, 5), "a filter that reaches out of the sandbox"),
]
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
