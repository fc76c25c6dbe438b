"""Pictures from a form into the file store, before any transaction opens."""

from collections.abc import Sequence

from werkzeug.datastructures import FileStorage

from logbook.actions.pictures import Intake, take_in
from logbook.web.gate import the_shop


def taken_in(files: Sequence[FileStorage]) -> list[Intake]:
    """Store and look at every file that was really sent; Refused names the first that will not do."""
    return [
        take_in(the_shop().store, file.stream, name=file.filename or "picture")
        for file in files
        if file and file.filename
    ]
