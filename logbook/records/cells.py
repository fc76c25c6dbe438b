"""Cells of a table for spreadsheets: no text is ever taken for a formula, and every value can be had back.

A cell that begins with ``=``, ``+``, ``-``, ``@``, a tabulator, a carriage
return or a zero byte may be executed (OWASP, "CSV Injection"; the zero byte is
ours): an apostrophe before it makes it plain text. Texts that begin with an
apostrophe get one more, so that taking one away is right for all.
"""

import re

DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\0", "'")
_NUMBER = re.compile(r"-?\d+(\.\d+)?", re.ASCII)


def harmless(value: str | None) -> str:
    """A value as a cell: nothing for None, a lone apostrophe for an empty text."""
    if value is None:
        return ""
    return f"'{value}" if not value or value.startswith(DANGEROUS) else value


def shown(value: object) -> str:
    """Anything as a cell that people count with: numbers stay numbers, texts are harmless, nothing is empty."""
    text = "" if value is None else str(value)
    return text if not text or _NUMBER.fullmatch(text) else harmless(text)


def meant(cell: str) -> str | None:
    """The value that a cell was made of."""
    return None if cell == "" else cell.removeprefix("'")
