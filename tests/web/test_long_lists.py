"""Lists that grow for years show what is new, and the rest one step behind."""

import re
from datetime import date

import pytest
from sqlalchemy import select

from logbook.actions import materials, orders
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchOnRecord
from logbook.web import shown
from logbook.web.pages import orders as order_pages
from logbook.web.pages import pitch, stock
from support.small_shop import one


def test_many_lots_of_one_material_stand_behind_a_link(desk, office, monkeypatch):
    monkeypatch.setattr(stock, "MANY", 3)
    monkeypatch.setattr(stock, "NEWEST", 2)

    def deliver(session, by):
        lens = one(session, Material, kind="lens")
        for label in ("M-1", "M-2", "M-3"):
            materials.add_lot(session, by, material=lens, label=label, count=9)
        return lens.code

    code = office.act(deliver)
    page, whole = (desk.get(path).get_data(as_text=True) for path in ("/stock", f"/stock?of={code}"))
    assert [label in page for label in ("L-1<", "M-1<", "M-2<", "M-3<")] == [False, False, True, True]
    assert f"/stock?of={code}#lens" in page
    assert all(f"{label}<" in whole for label in ("L-1", "M-1", "M-2", "M-3"))
    assert "A-1<" in page  # another material, with few


@pytest.mark.parametrize("kind", ["lot", "pitch"])
def test_the_newest_prints_of_many_stand_first_and_all_behind_a_link(desk, office, monkeypatch, kind):
    monkeypatch.setattr(shown, "MANY_PRINTS", 2)
    monkeypatch.setattr(shown, "NEWEST_PRINTS", 1)
    office.ready(quantity=3)
    table, named = (Lot, {"label": "L-1"}) if kind == "lot" else (PitchOnRecord, {})
    path = f"/{kind}/{office.read(lambda session: one(session, table, **named).code)}"
    serials = ["26-0001-A1", "26-0001-A2", "26-0001-A3"]
    page = desk.get(path).get_data(as_text=True)
    assert [f">{serial}<" in page for serial in serials] == [False, False, True]
    assert f'href="{path}?prints=all">All 3' in page
    whole = desk.get(f"{path}?prints=all").get_data(as_text=True)
    assert all(f">{serial}<" in whole for serial in serials)


def test_older_pitches_follow_on_a_page_of_their_own(desk, office, monkeypatch):
    monkeypatch.setattr(pitch, "PAGE_SIZE", 1)
    office.ready()
    codes = office.read(lambda session: list(session.execute(select(PitchOnRecord.code)).scalars()))
    path, seen = "/pitch", []
    while path:
        page = desk.get(path).get_data(as_text=True)
        seen += [code for code in codes if f"/pitch/{code}" in page]
        _, _, after = page.partition('href="/pitch?before=')
        path = f"/pitch?before={after.partition(chr(34))[0]}" if after else ""
    assert sorted(seen) == sorted(codes)


def test_open_orders_stand_by_due_date_and_each_on_one_page(desk, office, monkeypatch):
    monkeypatch.setattr(order_pages, "PAGE_SIZE", 2)
    days = [date(2026, 12, 9), None, date(2026, 12, 3), date(2026, 12, 9), None]

    def take(session, by):
        return [orders.new_order(session, by, customer=None, due_on=day, note="").number for day in days]

    numbers, path, pages = office.act(take), "/orders", []
    while path:
        page = desk.get(path).get_data(as_text=True)
        pages.append(re.findall(r">(\d\d-\d{4})</a>", page))
        path = next(iter(re.findall(r'href="(/orders[^"]*before=[^"]*)"', page)), "").replace("&amp;", "&")
    first, no_day, soonest, same_day, last = numbers
    assert pages == [[soonest, first], [same_day, no_day], [last]]
