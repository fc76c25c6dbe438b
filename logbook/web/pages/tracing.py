"""The search box: whatever a person remembers, and which pitch produced which print, also by a file on a stick."""

from flask import Blueprint, redirect, request, url_for
from sqlalchemy import or_, select
from werkzeug import Response
from wtforms import FileField

from logbook.actions import search
from logbook.actions import trace as actions
from logbook.records.floor import Print
from logbook.refusals import Refused
from logbook.web.acting import address_of, page, reading, say
from logbook.web.fields import BenchForm
from logbook.web.gate import the_shop
from logbook.web.turns import waiting
from logbook.web.uploads import opener

pages = Blueprint("tracing", __name__)


class FileForm(BenchForm):
    """A file to ask about."""

    file = FileField("File", description="An interlaced TIFF, a picture, a traveller's PDF.")


@pages.get("/trace")
def by_words() -> Response | tuple[str, int]:
    """A serial, a code, a lot, a hash: traced; and everything else that the words find."""
    words = request.args.get("q", "").strip()
    form = FileForm(formdata=None)
    if not words:
        return page("trace.html", words="", found=None, trouble="", form=form, groups=[])
    with reading() as session:
        named = or_(Print.serial.in_([words, words.upper()]), Print.code == words.upper())
        if code := session.execute(select(Print.code).where(named)).scalars().first():
            return redirect(url_for("bench.piece", code=code) + "#trace", 303)
        found, trouble = None, ""
        try:
            # never a path of the server's own: only words
            found = actions.find(session, words, files=False)
        except Refused as refusal:
            trouble = refusal.sentence
        groups = search.seek(session, words)
        return page(
            "trace.html", words=words, found=found, trouble="" if groups else trouble, form=form, groups=_shown(groups)
        )


def _shown(groups: list[search.Group]) -> list[tuple[search.Group, list[tuple[search.Hit, str | None]]]]:
    """Each hit with the page that it leads to."""
    return [(group, [(hit, address_of(hit.leads_to)) for hit in group.hits]) for group in groups]


@pages.post("/trace/file")
def by_file() -> tuple[str, int]:
    """Whose file is this?"""
    form = FileForm()
    found = None
    if form.validate_on_submit():
        temporary = the_shop().store.temporary()
        try:
            if not form.file.data:
                raise Refused("Choose a file.", field="file")
            form.file.data.save(temporary)
            told = actions.what_a_file_tells(temporary, opening=waiting(opener().story))
            with reading() as session:
                found = actions.of_file(session, temporary, name=form.file.data.filename or "the file", told=told)
        except Refused as refusal:
            say(form, refusal)
        finally:
            temporary.unlink(missing_ok=True)
    rendered, _ = page("trace.html", words="", found=found, trouble="", form=form, groups=[])
    return rendered, 200 if found else 422
