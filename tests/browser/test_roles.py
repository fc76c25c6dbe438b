"""Who sees and does what: an owner, an operator, a viewer, each by hand."""

import re

import pytest
from playwright.sync_api import expect

from support.every_page import PAPERS, every_page
from support.furnished import sign_in_as
from support.shop_walk import PASSWORD, Person

OWN_FORMS = ("/sign-out", "/shop/my-units", "/shop/my-password", "/trace/file")
"""What even somebody who only looks may send: about oneself, or a question that writes nothing."""
FOR_OWNERS = ("machines/new", "shop/numbers")


@pytest.fixture
def shop(furnished, serve_logbook):
    return serve_logbook(data=furnished)


def _somebody(page, shop, furnished, role):
    person = Person(page, shop.address)
    person.sign_in(*sign_in_as(furnished, role))
    return person


def test_a_viewer_sees_everything_and_no_form(furnished, shop, page, watch):
    viewer = _somebody(page, shop, furnished, "viewer")
    not_for_viewers = []
    for name, path in every_page(furnished).items():
        if viewer.visit(path) == 403:
            not_for_viewers.append(name.partition("-")[0])
            assert viewer.reads("Not for you")
            continue
        forms = page.locator("form[method=post]").evaluate_all("forms => forms.map(form => form.action)")
        assert [form for form in forms if not form.endswith(OWN_FORMS)] == [], name
    # pages that are nothing but a form, and what only owners see
    assert set(not_for_viewers) == {
        "orders.new", "orders.add_job", "jobs.materials", "jobs.pitch", "jobs.change", "jobs.midway",
        "pitch.new", "pitch.carry", "stock.new", "stock.new_lot", "machines.new",
        "quotes.new", "reorders.of_job", "reorders.of_order", "texts.wording", "numbers.overview",
        "erasing.customer", "erasing.pictures", "arriving.arriving", "staff.person", "places.listing", "places.place",
        "orderchange.change", "materialfacts.change",
        "steps.stage", "mounting.begin", "onpaper.take_over", "papercheck.take_over",
    }  # fmt: skip
    watch.expect("403")


@pytest.mark.parametrize("role", ["operator", "viewer"])
def test_no_link_leads_where_it_says_no(furnished, shop, page, role):
    """Whatever is offered to somebody opens, tried once for each kind of address."""
    _somebody(page, shop, furnished, role)
    offered: dict[str, str] = {}
    for path in (path for name, path in every_page(furnished).items() if not name.startswith(PAPERS)):
        answer = page.request.get(shop.address + path.lstrip("/"))
        for link in re.findall(r'href="(/[^"#]*)', answer.text()) if answer.ok else ():
            offered.setdefault(re.sub(r"/[0-9A-Z]{8}\b", "/*", link.partition("?")[0]), link)
    assert len(offered) > 20
    refused = [link for link in offered.values() if not page.request.get(shop.address + link[1:]).ok]
    assert refused == []


def test_an_operator_works_and_leaves_the_shop_to_its_owner(furnished, shop, page, watch):
    operator = _somebody(page, shop, furnished, "operator")
    assert page.get_by_role("link", name="Take an order").is_visible()
    for path in FOR_OWNERS:
        operator.go(path)
        assert operator.reads("Not for you")
    watch.expect("403")
    operator.go("shop")
    expect(page.get_by_text("Somebody new")).to_have_count(0)
    operator.go("machines")
    expect(page.get_by_role("link", name="Add a machine")).to_have_count(0)
    operator.go(every_page(furnished)["machines.machine-set"])
    expect(page.get_by_role("button", name="Name this person")).to_have_count(0)
    assert page.get_by_text("Note what happened to it").is_visible()


def test_a_viewer_takes_a_password_of_his_own(serve_logbook, new_page):
    owner = Person(new_page(), serve_logbook().address)
    owner.found_the_shop()
    owner.let_in("Ada Holm", role="viewer")
    viewer = Person(new_page(), owner.address)
    viewer.sign_in("Ada Holm", PASSWORD)
    viewer.go("shop")
    viewer.choose("inches")
    viewer.click("Use these")
    viewer.open("A new password")
    viewer.type("Password until now", PASSWORD)
    viewer.type("New password", "through-the-lens-3")
    viewer.click("Change it")
    viewer.page.get_by_role("heading", name="Sign in").wait_for()
    viewer.sign_in("Ada Holm", "through-the-lens-3")
