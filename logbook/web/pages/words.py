"""The words of the logbook, each in a sentence: a page for whoever meets one at the bench or on paper."""

from flask import Blueprint

from logbook.engine.ghosting import disturbing_delta_l, visible_delta_l
from logbook.web.acting import page

pages = Blueprint("words", __name__)


@pages.get("/words")
def listing() -> tuple[str, int]:
    """All of them, by the alphabet."""
    return page("words.html", visible=visible_delta_l(), disturbing=disturbing_delta_l())
