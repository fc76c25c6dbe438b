"""Every open job's traveller in one go: kept one by one, joined when fetched, stopped without losing what is done."""

from io import BytesIO

import pikepdf
import pytest

from logbook.actions import erasing, travellerbatches
from logbook.background import batches
from logbook.background.batches import write_asked
from logbook.records.orders import Job
from logbook.refusals import Refused
from support.small_shop import job


def _ask(office):
    return office.act(
        lambda session, by: travellerbatches.ask_for(session, by, page="A4", address="http://192.0.2.1:8420/").code
    )


def _newest(office):
    def told(session):
        batch = travellerbatches.newest(session)
        return batch.state, batch.progress, [
            session.get_one(Job, row.job_id).number for row in travellerbatches.kept(session, batch)
        ]

    return office.read(told)


def _pages(desk, path):
    with desk.get(path) as answer, pikepdf.open(BytesIO(answer.data)) as document:
        return len(document.pages)


def test_each_is_kept_with_its_job_and_all_are_one_file(office, desk):
    with pytest.raises(Refused, match="No job is open"):
        _ask(office)
    codes = [office.order(), office.order(customer="Another one")]
    numbers = office.read(lambda session: [job(session, code).number for code in codes])
    code = _ask(office)
    with pytest.raises(Refused, match="already"):
        _ask(office)
    assert desk.get("/travellers").status_code == 200
    assert desk.get(f"/travellers/{code}.json").json == {"state": "waiting", "progress": 0, "started": None}
    assert write_asked(office.shop)
    assert not write_asked(office.shop)
    assert _newest(office) == ("done", 100, numbers)
    pages = [_pages(desk, f"/travellers/{code}.pdf"), *(_pages(desk, f"/job/{one}/traveller/1.pdf") for one in codes)]
    assert pages[0] == sum(pages[1:])
    why = "asked for by mail"
    office.act(
        lambda session, by: erasing.forget_customer(
            session, by, customer=job(session, codes[0]).order.customer, reason=why
        )
    )
    assert _newest(office)[2] == numbers[1:], "it bore their name"
    assert _pages(desk, f"/travellers/{code}.pdf") == pages[2]


def test_one_that_cannot_be_written_is_named_and_the_others_are_kept(office, monkeypatch):
    codes = [office.order(), office.order()]
    numbers = office.read(lambda session: [job(session, code).number for code in codes])
    real = batches.PdfWriter.pdf

    def refuses_the_first(writer, html, assets):
        if numbers[0] in html:
            raise Refused("The paper is too large.")
        return real(writer, html, assets)

    monkeypatch.setattr(batches.PdfWriter, "pdf", refuses_the_first)
    _ask(office)
    write_asked(office.shop)
    assert _newest(office) == ("done", 100, numbers[1:])
    assert office.read(lambda session: travellerbatches.newest(session).sentence) == (
        f"{numbers[0]}: The paper is too large."
    )


def test_stopping_keeps_what_is_written_and_a_dead_worker_is_told(office, monkeypatch):
    office.order()
    office.order()
    real = batches.PdfWriter.pdf
    written = []

    def stopped_after_one(writer, html, assets):
        if written:
            office.act(lambda session, by: travellerbatches.stop(session, by, batch=travellerbatches.at_work(session)))
        written.append(html)
        return real(writer, html, assets)

    monkeypatch.setattr(batches.PdfWriter, "pdf", stopped_after_one)
    _ask(office)
    write_asked(office.shop)
    state, progress, kept = _newest(office)
    assert (state, progress, len(kept)) == ("stopped", 99, 1)
    monkeypatch.undo()
    _ask(office)
    office.act(lambda session, by: travellerbatches.begin(session, by.now) and None)
    assert not write_asked(office.shop)
    assert _newest(office)[0] == "failed"
    with pytest.raises(Refused, match="ended already"):
        office.act(lambda session, by: travellerbatches.stop(session, by, batch=travellerbatches.newest(session)))
