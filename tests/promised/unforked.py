"""A plugin for measuring branches: bands are painted in threads, since nobody sees what runs in a forked copy.

Both paint the same bytes; the tests of painting compare them.
"""

from logbook.engine import painting


def pytest_configure() -> None:
    """Threads everywhere, as in the worker and the web."""
    painting._may_fork = lambda: False
