"""Pictures from a form, received and looked at before any transaction opens."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from werkzeug.datastructures import FileStorage

from logbook.actions.pictures import Intake, received
from logbook.web.gate import the_shop


@contextmanager
def taken_in(files: Sequence[FileStorage] | None) -> Iterator[list[Intake]]:
    """Every file that was really sent; Refused names the first that will not do, and nothing is left behind."""
    sent = [(file.filename, file.stream) for file in files or () if file and file.filename]
    with received(the_shop().store, sent) as taken:
        yield taken
