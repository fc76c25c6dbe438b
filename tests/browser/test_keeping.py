"""Backups from the page: set up by the owner, asked for at the bench, seen on the today page."""

from playwright.sync_api import expect

from logbook.records.backup_check import check_backup
from logbook.records.manifest import newest_in
from support.shop_walk import PASSWORD, Person


def _shop(serve_logbook, new_page):
    owner = Person(new_page(), serve_logbook().address)
    owner.found_the_shop()
    owner.go("shop/status")
    return owner


def test_a_backup_is_set_up_made_and_seen(serve_logbook, new_page, tmp_path):
    (tmp_path / "stick").mkdir()
    owner = _shop(serve_logbook, new_page)
    assert owner.reads("none yet")
    owner.type("Folder for backups", str(tmp_path / "stick"))
    owner.click("Set it up so")
    owner.let_in("Otto Brandt", role="operator")
    operator = Person(new_page(), owner.address)
    operator.sign_in("Otto Brandt", PASSWORD)
    operator.go("shop/status")
    operator.click("Back up now")
    operator.page.locator("table.wide").get_by_text("good").wait_for(timeout=60_000)
    expect(operator.page.get_by_role("button", name="Set it up so")).to_have_count(0)
    assert check_backup(newest_in(tmp_path / "stick")).sound
    owner.go("")
    assert owner.reads("Last backup")


def test_a_folder_that_is_not_there_is_said_at_its_field(serve_logbook, new_page, watches):
    owner = _shop(serve_logbook, new_page)
    owner.type("Folder for backups", "/no/such/stick")
    owner.click("Set it up so")
    owner.page.get_by_text("There is no folder /no/such/stick").wait_for()
    assert owner.page.get_by_label("Folder for backups").get_attribute("aria-invalid") == "true"
    watches[owner.page].expect("422")
