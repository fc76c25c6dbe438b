"""What is rarely needed is folded away, and stands open where it holds an error or an unusual value."""

import re

from logbook.actions import shop
from logbook.web.pages.shop_page import FACT_GROUPS
from support.small_shop import job

JOB = {"width": "70mm", "height": "80mm", "flip": "left-right", "artwork": "a card", "quantity": "1"}
USUAL = {"effect": "flip", "use": "wall", "fit": "crop", "kind": "print", "distance": "0.6 m", "bleed": "5 mm"}


def _is_open(answer):
    found = re.findall(r"<details( open)?><summary>More:", answer.get_data(as_text=True))
    assert len(found) == 1
    return bool(found[0])


SENT = [
    ({"width": "9 furlongs"}, False),
    ({"distance": "60cm", "bleed": "0.5 cm", "price": ""}, False),
    ({"bleed": "9 furlongs"}, True),
    ({"distance": "2m"}, True),
    ({"kind": "mount-only"}, True),
    ({"price": "12"}, True),
]
"""What is sent beside the usual values and no width, and whether it opens what was folded."""


def test_a_new_job_opens_what_was_folded_only_for_an_error_or_an_unusual_value(desk, office):
    code = office.order()
    order = office.read(lambda session: job(session, code).order.code)
    for address in (f"/order/{order}/job", "/orders/new"):
        assert not _is_open(desk.get(address))
        for sent, opened in SENT:
            answer = desk.post(address, data={**JOB, **USUAL, "artwork": "", "width": "", **sent})
            assert answer.status_code == 422
            assert _is_open(answer) is opened, (address, sent)


def test_a_job_with_a_price_shows_it_where_it_is_changed(desk, office):
    code = office.order()
    assert not _is_open(desk.get(f"/job/{code}/change"))
    assert desk.post(f"/job/{code}/change", data={**JOB, **USUAL, "price": "12"}).status_code == 303
    assert _is_open(desk.get(f"/job/{code}/change"))


def test_every_fact_of_the_shop_stands_under_one_heading(desk):
    assert sorted(key for keys in FACT_GROUPS.values() for key in keys) == sorted(shop.FACTS)
    page = desk.get("/shop").get_data(as_text=True)
    assert re.findall(r'<fieldset class="row"><legend>([^<]*)', page) == list(FACT_GROUPS)
