"""Tables as CSV files that a spreadsheet shows and never runs."""

import csv
import io
import re
from collections.abc import Iterable, Sequence

from flask import Response

_RUNS = ("=", "+", "-", "@", "\t", "\r", "\x00")
_NUMBER = re.compile(r"-?\d+(\.\d+)?")


def cell(value: object) -> str:
    """A value as text; an apostrophe stands before what a spreadsheet might take for a formula."""
    text = "" if value is None else str(value)
    return f"'{text}" if text.startswith(_RUNS) and not _NUMBER.fullmatch(text) else text


def told(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The whole file: comma between cells, a line end as in RFC 4180."""
    out = io.StringIO()
    written = csv.writer(out)
    written.writerow(head)
    written.writerows([cell(value) for value in row] for row in rows)
    return out.getvalue()


def answer(name: str, head: Sequence[str], rows: Iterable[Sequence[object]]) -> Response:
    """A file to download."""
    made = Response(told(head, rows), mimetype="text/csv")
    made.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return made
