"""One submitted form, one act: open the transaction, call the action, redirect or say why not."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from flask import g, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.exc import DatabaseError, IntegrityError
from sqlalchemy.orm import Session
from werkzeug import Response

from logbook.records.audit import Actor, AuditEntry, AuditObject, was_done
from logbook.records.troubles import is_sent_twice
from logbook.refusals import Changed, Refused
from logbook.web import keptforms, meanwhile, pinned
from logbook.web.condition import condition, is_unavailable, unavailable
from logbook.web.fields import BenchForm
from logbook.web.gate import actor, the_shop
from logbook.web.wayback import keeping_the_way

T = TypeVar("T")


@contextmanager
def reading() -> Iterator[Session]:
    """One consistent state of the shop for one page."""
    with the_shop().database.reading() as session:
        yield session


def act(form: BenchForm, work: Callable[[Session, Actor], T], then: Callable[[T], str]) -> Response | None:
    """Do the act of a form that was read; a redirect when done, None when refused (the form then says why)."""
    request_id = form.request_id.data or None
    if _waits(form) or not pinned.is_confirmed(form):
        return None
    try:
        with the_shop().database.writing() as session:
            meanwhile.check(session, form)
            done = work(session, actor(request_id))
            session.flush()
            target = keeping_the_way(then(done))
        return redirect(target, 303)
    except Refused as refusal:
        with reading() as session:
            again = was_done(session, request_id)
        if again:  # a second click finds the work done and would be told that it cannot be done
            return redirect(_where_it_led(request_id), 303)
        if isinstance(refusal, Changed):
            g.changed = True
        say(form, refusal)
        return None
    except IntegrityError as error:
        if not is_sent_twice(error):
            raise
        return redirect(_where_it_led(request_id), 303)
    except (DatabaseError, OSError) as error:  # of the database, or of a file that was to be kept
        words = condition().learn(error)
        if not words:
            raise
        _cannot_write(form, words)
        return None


def _waits(form: BenchForm) -> bool:
    """Whether nothing is to be done yet: a form that is only shown again, or a database that is damaged."""
    if keptforms.shown_again():
        form.form_errors.append(keptforms.once_more(safety=form.has_steps))
        return True
    if condition().damage:
        _cannot_write(form, condition().damage)
        return True
    return False


def takes_writes(form: BenchForm) -> bool:
    """Whether it is worth drawing what is to be kept; the form says why not."""
    words = condition().words
    if words:
        _cannot_write(form, words)
    return not words


def _cannot_write(form: BenchForm, words: str) -> None:
    """The form comes back with everything that was typed."""
    unavailable()
    form.form_errors.append(words)


def say(form: BenchForm, refusal: Refused) -> None:
    """Put a refusal's sentences beside the fields they are about, or above the form."""
    for name, sentence in refusal.others:
        say(form, Refused(sentence, field=name))
    field = form._fields.get(refusal.field or "")
    if field is None and refusal.field and form.has_steps:
        form.beside[refusal.field] = refusal.sentence
    elif field is None:
        form.form_errors.append(refusal.sentence)
    else:
        field.errors = [*field.errors, refusal.sentence]


def _where_it_led(request_id: str | None) -> str:
    """A form that was sent twice leads where the first one did: to what it touched."""
    with reading() as session:
        refs = session.execute(
            select(AuditObject.ref)
            .join(AuditEntry, AuditEntry.id == AuditObject.entry_id)
            .where(AuditEntry.request_id == request_id)
            .order_by(AuditObject.id)
        ).scalars()
        return next((address for ref in refs if (address := address_of(ref))), url_for("today.today"))


_PAGES = {
    "order": "orders.order",
    "customer": "customers.customer",
    "job": "jobs.job",
    "run": "runs.run",
    "sheet": "bench.sheet",
    "print": "bench.piece",
    "pitchonrecord": "pitch.on_record",
    "pitchtest": "pitch.test",
    "lot": "stock.lot",
    "machine": "machines.machine",
    "quote": "quotes.quote",
    "place": "places.place",
    "leaksheet": "leaks.sheet",
    "arrival": "arriving.arriving",
}


def address_of(ref: str) -> str | None:
    """The page of an object in the audit trail; None where it has none."""
    kind, _, code = ref.partition(":")
    return url_for(_PAGES[kind], code=code) if kind in _PAGES else None


def page(template: str, **values: object) -> tuple[str, int]:
    """A rendered page; 422 when it shows a form that was sent and not accepted.

    409 where somebody else was quicker, 503 where nothing can be written.
    """
    refused = 503 if is_unavailable() else 409 if g.get("changed") else 422
    return render_template(template, **values), 200 if request.method == "GET" else refused
