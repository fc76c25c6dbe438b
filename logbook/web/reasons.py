"""Reasons as a form sends them: each ask has a field of its own, and its reason serves it alone."""

from flask import request

from logbook.rules.findings import REASON_FIELD

MOST_LETTERS = 300


def given() -> dict[str, str]:
    """The reasons that were given, each by the field of the one thing that it serves."""
    return {name: words[:MOST_LETTERS] for name, words in request.form.items() if name.startswith(REASON_FIELD)}
