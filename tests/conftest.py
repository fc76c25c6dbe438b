"""What holds for every test: nothing is skipped, no clock decides, nothing leaks in from the shell."""

import os
from collections.abc import Generator, Iterator
from pathlib import Path

import hypothesis
import pytest

from logbook.settings import DATABASE_VARIABLE
from support.both import KINDS, Harbour
from support.server import server
from support.sizes import describe_sizes

ROOT = Path(__file__).resolve().parent.parent

hypothesis.settings.register_profile("local", deadline=None)
hypothesis.settings.register_profile("ci", deadline=None, derandomize=True)


def pytest_addoption(parser: pytest.Parser) -> None:
    """``--damaged 10000`` sends that many damaged pictures through the pages instead of a few."""
    parser.addoption("--damaged", type=int, default=90, help="how many damaged pictures are sent to the pages")


def pytest_configure() -> None:
    """Take the user's own settings away, so that every machine tests the same program."""
    for name in [name for name in os.environ if name.startswith("LOGBOOK_")]:
        del os.environ[name]
    os.environ["LOGBOOK_PROCESSES"] = "1"  # more where a test asks for them
    hypothesis.settings.load_profile("ci" if os.environ.get("CI") else "local")


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> Generator[None, None, None]:
    """The slow ones first, whatever else shuffles them: one that comes last would keep one worker busy alone."""
    yield
    items.sort(key=lambda item: "browser" not in item.path.parts)


def _forbid_skipping(report: pytest.TestReport | pytest.CollectReport) -> None:
    expected_to_fail = hasattr(report, "wasxfail")
    if report.skipped or expected_to_fail:
        report.outcome = "failed"
        report.longrepr = f"{report.nodeid}: a test here is neither skipped nor expected to fail: {report.longrepr}"
        if expected_to_fail:
            del report.wasxfail


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn a skipped test into a failed one: a missing tool is an error."""
    report = yield
    _forbid_skipping(report)
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Turn a skipped module into a failed one."""
    report = yield
    _forbid_skipping(report)
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Show how large the program's pieces are; a number worth noticing, never a failure."""
    terminalreporter.write_line(describe_sizes(ROOT))


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test on both kinds of database where its module says so."""
    marked = metafunc.definition.get_closest_marker
    if marked("both_databases") and not marked("in_a_file"):
        metafunc.parametrize("kind_of_database", KINDS, indirect=True)


@pytest.fixture(scope="session")
def harbour() -> Iterator[Harbour]:
    """A PostgreSQL server for as long as the session lasts."""
    with server() as running:
        yield Harbour(running)


@pytest.fixture(autouse=True)
def kind_of_database(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Where the shops of this test lie: in a file, or on the server where the test asks for that."""
    kind = str(getattr(request, "param", "file"))
    if kind == "server":
        found = request.getfixturevalue("harbour")
        monkeypatch.setattr(Harbour, "now", found)
        monkeypatch.setenv(DATABASE_VARIABLE, found.server.fresh())
        yield kind
        found.server.forget()
    else:
        yield kind


@pytest.fixture(scope="session")
def project_root() -> Path:
    """The project's own folder."""
    return ROOT
