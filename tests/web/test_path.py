"""The path of a print from the order to the door: every stop leads somewhere."""

import re
from datetime import UTC, datetime

import pytest

from logbook.actions import people
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from support.small_shop import prints, small_shop


@pytest.fixture
def shop(tmp_path):
    made = small_shop(tmp_path / "data")
    yield made
    made.shop.database.close()


def test_each_stop_of_a_prints_path_opens_and_what_is_not_there_yet_is_no_link(shop):
    code = shop.ready()
    piece = shop.read(lambda session: prints(session, code)[0].code)
    client = create_app(shop.shop, ring=lambda _: None).test_client()
    shop.now = datetime.now(UTC)
    token = shop.act(
        lambda session, by: people.start_sign_in(session, by, person=people.person_named(session, "Olga"), keys=[])
    )
    client.set_cookie(COOKIE, token)
    page = client.get(f"/print/{piece}").get_data(as_text=True)
    path = re.search(r'<section id="path".*?</section>', page, flags=re.DOTALL)[0]
    links = re.findall(r'<a href="([^"]+)"[^>]*><span class="kind">([^<]+)</span>', path)
    stops = re.findall(r'class="kind">([^<]+)</span>', path)
    assert stops == ["Order", "Job", "Pictures", "Customer", "Lens lot", "Pitch", "Run", "Sheet", "Print", "Door"]
    assert [kind for _, kind in links] == stops[:-1]  # it stands before the printer: no door yet
    for address, kind in links:
        assert client.get(address).status_code == 200, kind
