"""The ten-year shop is one that the actions could have made: its copies are whole, linked and sound."""

import shutil
import sqlite3
from collections import Counter
from datetime import UTC, datetime

import pytest
from sqlalchemy import func, select

from logbook.actions import materials, pitch, trace, verifying
from logbook.records.audit import AuditEntry, AuditObject, keyed_hash
from logbook.records.floor import Print, Run, Sheet, StepRecord
from logbook.records.opened import open_shop
from logbook.records.orders import Customer, Order
from logbook.settings import Settings
from support.small_shop import SmallShop
from ten_years.grow import OPEN, ORDERS


@pytest.fixture(scope="module")
def grown(grown_folder, tmp_path_factory):
    folder = tmp_path_factory.mktemp("years") / "data"
    shutil.copytree(grown_folder, folder)
    shop = SmallShop(open_shop(Settings(data=folder)), datetime.now(UTC))
    yield shop
    shop.shop.database.close()


def test_its_trail_its_keys_and_its_files_are_sound(grown):
    found = verifying.verify(grown.shop.database, grown.shop.store)
    assert found["sound"], found["sentence"]
    with sqlite3.connect(grown.shop.settings.database_path) as connection:
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    connection.close()


def test_a_copy_has_as_many_steps_and_the_same_acts_as_what_went_through_the_actions(grown):
    with grown.shop.database.reading() as session:
        kinds = Counter()
        orders = session.execute(select(Order).where(Order.closed_at.is_not(None)).order_by(Order.id)).scalars().all()
        for order in orders:
            refs = [f"order:{order.code}", *(f"job:{job.code}" for job in order.jobs)]
            acts = tuple(_acts(session, refs))
            steps = session.execute(
                select(func.count(StepRecord.id)).join(Print, StepRecord.print_id == Print.id)
                .where(Print.job_id.in_([job.id for job in order.jobs]))
            ).scalar_one()  # fmt: skip
            kinds[acts, steps, len(order.jobs)] += 1
    # a kind that was copied wrongly would be one more
    assert len(kinds) == len(ORDERS)
    assert min(kinds.values()) >= 1
    assert sum(kinds.values()) > 5 * len(ORDERS)


def _acts(session, refs):
    touched = select(AuditObject.entry_id).where(AuditObject.ref.in_(refs))
    rows = session.execute(
        select(AuditEntry.action).where(AuditEntry.id.in_(touched)).order_by(AuditEntry.id)
    ).scalars()
    return list(rows)


def test_entries_stand_in_the_order_of_time_and_numbers_follow_the_year(grown):
    with grown.shop.database.reading() as session:
        times = session.execute(select(AuditEntry.at).order_by(AuditEntry.id)).scalars().all()
        orders = session.execute(select(Order.number, Order.placed_at)).all()
    assert times == sorted(times)
    assert all(number.startswith(f"{placed:%y}-") for number, placed in orders)


def test_the_trail_names_a_copy_s_customer_by_that_customer_s_own_hash(grown):
    with grown.shop.database.reading() as session:
        order = session.execute(select(Order).where(Order.customer_id > 1)).scalars().first()
        customer = session.get_one(Customer, order.customer_id)
        entry = trace.entries_for(session, f"order:{order.code}")
        assert f'"{keyed_hash(customer.hash_key, customer.name)}"' in next(entry).body


def test_orders_are_open_at_every_stage_and_every_print_answers_for_itself(grown):
    with grown.shop.database.reading() as session:
        at_stage = set(session.execute(select(Sheet.stage)).scalars()) | set(
            session.execute(select(Print.stage)).scalars()
        )
        assert {order.until for order in OPEN} - {"ordered", "proof"} <= at_stage
        for piece in session.execute(select(Print).where(Print.stage == "gone")).scalars():
            told = trace.of_print(session, piece)
            assert told["pitch"]["test"]["code"]
            assert told["sheet"]["lens_lot"]["code"] == told["pitch"]["lens_lot"]["code"]
            assert told["run"]["file_sha256"]
            assert told["acts"]


def test_a_season_s_pitch_and_lot_lead_to_its_prints_alone(grown):
    with grown.shop.database.reading() as session:
        newest = session.execute(select(Run).order_by(Run.id.desc())).scalars().first()
        runs = set(session.execute(select(Run.id).where(Run.pitch_id == newest.pitch_id)).scalars())
        assert {piece.sheet.run_id for piece in pitch.prints_from(session, newest.pitch)} == runs
        assert 0 < len(runs) < session.execute(select(func.count(Run.id))).scalar_one()
        assert materials.left(session, newest.lens_lot) > 0
