"""The lock files: complete, hashed, and free of the machine they were written on."""

import re
import tomllib
from itertools import pairwise

import pytest

LOCKS = [".requirements.txt", ".requirements-test.txt", ".requirements-build.txt", ".requirements-installer.txt"]
SHA256 = re.compile(r"--hash=sha256:[0-9a-f]{64}\b")
ENTRY = re.compile(r"^(?P<name>[A-Za-z0-9._-]+)==(?P<version>[^\s;\\]+)", re.MULTILINE)


def _entries(text: str) -> dict[str, list[str]]:
    """Each locked name and version with the lines that follow it."""
    starts = [match.start() for match in ENTRY.finditer(text)] + [len(text)]
    pieces = [text[start:end] for start, end in pairwise(starts)]
    return {ENTRY.match(piece)[0]: piece.splitlines()[1:] for piece in pieces}


def _names(text: str) -> set[str]:
    return {match["name"].lower().replace("_", "-") for match in ENTRY.finditer(text)}


def _required(requirements: list[str]) -> set[str]:
    return {re.match(r"[A-Za-z0-9._-]+", requirement)[0].lower().replace("_", "-") for requirement in requirements}


@pytest.fixture(scope="module")
def locks(project_root):
    return {name: (project_root / name).read_text(encoding="utf-8") for name in LOCKS}


@pytest.fixture(scope="module")
def declared(project_root):
    return tomllib.loads((project_root / "pyproject.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", LOCKS)
def test_every_locked_package_has_a_sha256_of_full_length(locks, name):
    entries = _entries(locks[name])
    assert entries
    assert [entry for entry, lines in entries.items() if not SHA256.search("\n".join(lines))] == []


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_holds_nothing_but_packages_hashes_and_comments(locks, name):
    allowed = re.compile(r"#.*|[A-Za-z0-9._-]+==\S+( ; [^/]+)? \\|--hash=sha256:[0-9a-f]{64}( \\)?")
    assert [line for line in map(str.strip, locks[name].splitlines()) if not allowed.fullmatch(line)] == []


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_names_no_host_and_no_absolute_path(locks, name):
    assert re.findall(r"\w+://|(?<![\w.])/\w+", locks[name]) == []


def test_every_declared_package_is_locked(locks, declared):
    project, groups = declared["project"], declared["dependency-groups"]
    assert _required(project["dependencies"]) - _names(locks[".requirements.txt"]) == set()
    assert _required(groups["test"]) - _names(locks[".requirements-test.txt"]) == set()
    assert _required(declared["build-system"]["requires"]) - _names(locks[".requirements-build.txt"]) == set()


def test_the_tests_run_with_the_versions_that_the_shop_gets(locks):
    runtime, test = _entries(locks[".requirements.txt"]), _entries(locks[".requirements-test.txt"])
    assert runtime.keys() - test.keys() == set()
