"""Tables as CSV files that a spreadsheet shows and never runs."""

import csv
import io
from collections.abc import Iterable, Sequence

from flask import Response

from logbook.records.cells import shown


def told(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The whole file: comma between cells, a line end as in RFC 4180."""
    out = io.StringIO()
    written = csv.writer(out)
    written.writerow(head)
    written.writerows([shown(value) for value in row] for row in rows)
    return out.getvalue()


def answer(name: str, head: Sequence[str], rows: Iterable[Sequence[object]]) -> Response:
    """A file to download."""
    made = Response(told(head, rows), mimetype="text/csv")
    made.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return made
