"""Forgetting on the page: shown first, asked why, and afterwards every page still shows what remains."""

import pytest

from support.shop_walk import Person

CUSTOMER = "Kestrel Kites"


@pytest.fixture
def owner(serve_logbook, new_page):
    owner = Person(new_page(), serve_logbook().address)
    owner.found_the_shop()
    owner.take_an_order(customer=CUSTOMER)
    return owner


def test_pictures_and_then_their_customer_are_forgotten(owner, watches, assert_accessible):
    page, job = owner.page, owner.page.url.partition("#")[0]
    page.get_by_role("link", name="Forget the pictures").click()
    assert_accessible(page)
    assert owner.reads("2 originals")
    owner.click("Forget it for good")
    page.locator(".field.wrong").wait_for()
    watches[page].expect("422")
    owner.type("Why", "asked for by mail")
    owner.click("Forget it for good")
    page.get_by_text("The pictures were erased on").wait_for()
    assert page.url == job
    assert_accessible(page)
    page.locator("dl.facts a[href^='/order/']").first.click()
    page.get_by_role("link", name="Forget this customer").click()
    assert owner.reads(CUSTOMER)
    owner.type("Why", "asked for by mail")
    owner.click("Forget it for good")
    page.get_by_text("The record still verifies").wait_for()
    assert_accessible(page)
    for path in ("", "orders", "shop/record", job.removeprefix(owner.address)):
        owner.go(path)
        assert CUSTOMER not in page.content(), path
    owner.go("orders")
    assert owner.reads("erased on 20")
