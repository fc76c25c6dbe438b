"""Reasons: a few words that somebody else understands a year later."""

import re

from logbook.refusals import Refused

LEAST_LETTERS = 3
"""A shop default, no source: "hot" is a reason, a letter typed to get past the field is none."""


def told(words: str | None) -> str:
    """The reason without spaces around it; empty where it has fewer than three letters and digits."""
    given = (words or "").strip()
    return given if len(re.findall(r"[^\W_]", given)) >= LEAST_LETTERS else ""


def too_few(words: str | None) -> str:
    """What is said besides, where somebody wrote something that is no reason; empty where nothing was written."""
    return " A letter or two tell nobody anything next year: write a few words." if (words or "").strip() else ""


def needed(words: str | None, otherwise: str, *, field: str = "reason") -> str:
    """The reason; Refused with the sentence ``otherwise`` where none is told."""
    if given := told(words):
        return given
    raise Refused(otherwise + too_few(words), field=field)
