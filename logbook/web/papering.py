"""Papers for the web: the same HTML on screen and as PDF, with links that a browser can follow."""

from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext

from flask import current_app, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import papers
from logbook.actions.finding import fact
from logbook.actions.shop import OFFICE_PAPERS
from logbook.paper.forms import proof_sheet_html
from logbook.paper.rows import Caution, caution
from logbook.paper.shelf import read_shelf
from logbook.paper.writer import PdfWriter
from logbook.records.machines import Machine
from logbook.records.orders import Job
from logbook.rules.cards import in_force
from logbook.rules.traits import machine_traits
from logbook.web.gate import actor, own_manner, the_shop
from logbook.web.turns import aside


def shop_address(session: Session) -> str:
    """What QR codes open: the address the owner set, else the network's, else this request's."""
    own = fact(session, "address") or current_app.extensions["network_address"] or request.host_url
    return own if own.endswith("/") else f"{own}/"


def page_size(session: Session | None = None) -> str:
    """What a paper is laid out for: as the address asks, else as the shop says, else by the reader's own units."""
    asked = request.args.get("page")
    if asked in OFFICE_PAPERS:
        return asked
    with nullcontext(session) if session else the_shop().database.reading() as known:
        size = fact(known, "office paper")
    return size or ("Letter" if own_manner().units == "in" else "A4")


def pdf(html: str, assets: Mapping[str, bytes] | None = None) -> bytes:
    """A paper as PDF, written in a limited process of its own."""
    writer: PdfWriter = current_app.extensions["pdf"]
    with aside():
        return writer.pdf(html, assets)


def asset_link(name: str) -> str:
    """Where a browser finds a stylesheet or sign of the papers."""
    return url_for("papers.asset", name=name)


def cards(codes: Sequence[str], ways: Sequence[frozenset[str]] = (frozenset(),)) -> list[Caution]:
    """The shop's cautions with these codes that fit one of the ways of working (traits each), ready for a page."""
    shelf = read_shelf(the_shop().settings.own_safety_path)
    found = [(shelf.cards[code], in_force(shelf.cards[code], ways)) for code in codes if code in shelf.cards]
    return [caution(card, traits) for card, traits in found if traits is not None]


def shared_traits(session: Session, kind: str) -> frozenset[str]:
    """The traits that all machines of a kind in use have in common: no caution is left out while one may need it."""
    rows = session.execute(select(Machine).where(Machine.kind == kind, Machine.out_of_use_reason.is_(None))).scalars()
    each = [machine_traits(drive=row.drive, heated=row.heated, cutting=row.cutting) for row in rows]
    return frozenset.intersection(*each) if each else frozenset()


def proof_page(session: Session, job: Job) -> Callable[[list[bytes]], bytes]:
    """How to turn a proof's views into its one-page PDF; gathered now, drawn later."""
    view = papers.proof_sheet(session, actor(), job=job, address=shop_address(session), manner=own_manner())
    size = page_size(session)

    def drawn(views: list[bytes]) -> bytes:
        shown = {f"view-{number}": one for number, one in enumerate(views, start=1)}
        return pdf(proof_sheet_html(view, page=size), shown)

    return drawn
