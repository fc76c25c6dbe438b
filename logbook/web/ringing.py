"""Telling the worker, after the transaction that wrote the run."""

from flask import current_app


def ring(run_id: int) -> None:
    """Ring the bell; a lost ring is made good by the worker's own sweep."""
    current_app.extensions["ring"](run_id)
