"""Long work as its page polls it: one shape for everything that the worker does."""

from datetime import datetime
from typing import Protocol

from flask import Response, jsonify


class Work(Protocol):
    """A row of long work."""

    @property
    def state(self) -> str:
        """waiting, running, or how it ended."""

    @property
    def progress(self) -> int:
        """Whole percent."""

    @property
    def started_at(self) -> datetime | None:
        """When the worker began."""


def how_far(work: Work, **more: object) -> Response:
    """What `bench.js` reads again and again until the state is neither waiting nor running."""
    started = work.started_at.isoformat() if work.started_at else None
    return jsonify(state=work.state, progress=work.progress, started=started, **more)
