"""Pages of a grown shop ask the database about as often as those of a small one: a number, never a time."""

import shutil
from datetime import UTC, datetime

import pytest
from sqlalchemy import event, select

from logbook.actions import people
from logbook.records.floor import Print, Sheet
from logbook.records.materials import Lot
from logbook.records.opened import open_shop
from logbook.records.pitch import PitchOnRecord
from logbook.settings import Settings
from logbook.web.app import create_app
from logbook.web.gate import COOKIE
from ten_years.grow import grow, signed_in_owner

FEW = 20
"""Jobs of the small shop; the grown one has six times as many."""


def _asked(folder):
    """How many questions each page asks in the shop of a folder."""
    shop = open_shop(Settings(data=folder))
    client = create_app(shop, ring=lambda _: None).test_client()
    with shop.database.writing() as session:
        by = signed_in_owner(session)
        owner = people.by_id(session, by.person_id)
        client.set_cookie(COOKIE, people.start_sign_in(session, by, person=owner, keys=[]))
    count = []
    event.listen(shop.database.engine, "before_cursor_execute", lambda *_: count.append(1))
    told = {}
    for name, path in _pages(shop).items():
        count.clear()
        assert client.get(path).status_code == 200, path
        told[name] = len(count)
    shop.database.close()
    return told


def _pages(shop):
    with shop.database.reading() as session:
        busiest = session.execute(select(PitchOnRecord).where(PitchOnRecord.origin == "test")).scalars().first()
        lot = session.execute(select(Lot).where(Lot.id == busiest.lens_lot_id)).scalar_one()
        sheet = session.execute(select(Sheet).where(Sheet.stage == "print")).scalars().first()
        piece = session.execute(select(Print).where(Print.stage == "trim")).scalars().first()
        return {
            "bench": "/bench",
            "stock": "/stock",
            "lot": f"/lot/{lot.code}",
            "pitch": f"/pitch/{busiest.code}",
            "new order": "/orders/new",
            "sheet": f"/sheet/{sheet.code}",
            "piece": f"/print/{piece.code}",
            "numbers": f"/shop/numbers?first={datetime.now(UTC).year - 2}-01-01",
        }


@pytest.fixture(scope="module")
def asked(grown_folder, tmp_path_factory):
    few, many = (tmp_path_factory.mktemp("questions") / name for name in ("few", "many"))
    grow(few, jobs=FEW, years=1, seed=3).shop.database.close()
    shutil.copytree(grown_folder, many)
    return _asked(few), _asked(many)


def test_six_times_the_jobs_ask_no_more_often(asked):
    small, large = asked
    more = {name: (small[name], large[name]) for name in small if large[name] > small[name] + 2}
    assert more == {}
