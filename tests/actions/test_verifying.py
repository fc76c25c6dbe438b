"""The check of everything kept: what is wrong is named, and the shop goes on working meanwhile."""

import sqlite3

import pytest

from logbook.actions import materials, outputs, verifying
from logbook.records.floor import Run
from logbook.records.materials import Lot
from support.small_shop import one

pytestmark = pytest.mark.both_databases


def _verify(shop):
    return verifying.verify(shop.shop.database, shop.shop.store)


def test_a_file_that_was_let_go_is_not_missed(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    shop.shop.store.drop(shop.act(lambda session, by: outputs.drop(session, by, run=one(session, Run))))
    assert _verify(shop)["sound"]


def test_people_go_on_signing_while_files_are_read(shop, monkeypatch):
    shop.order()
    counted, real = [], verifying.hash_file

    def meanwhile(path):
        shop.act(lambda session, by: materials.count_lot(session, by, lot=one(session, Lot, label="P-1"), now_there=7))
        counted.append(path)
        return real(path)

    monkeypatch.setattr(verifying, "hash_file", meanwhile)
    assert _verify(shop)["sound"]
    assert len(counted) == len(shop.shop.store.hashes())


@pytest.mark.in_a_file
def test_a_torn_index_is_the_databases_own_finding(shop):
    shop.order()
    shop.shop.database.close()
    connection = sqlite3.connect(shop.shop.settings.database_path)
    # an index that no longer holds its rows, as after a torn write
    connection.execute("PRAGMA writable_schema = ON")
    connection.execute(
        "UPDATE sqlite_master SET sql = replace(sql, '(job_id)', '(position)') WHERE name = 'ix_picture_job_id'"
    )
    connection.commit()
    connection.close()
    found = _verify(shop)
    assert not found["sound"]
    assert "database file is damaged" in found["sentence"]


@pytest.mark.in_a_file
def test_a_database_that_cannot_be_read_is_said_to_be_damaged(shop):
    shop.shop.database.close()
    path = shop.shop.settings.database_path
    path.write_bytes(b"This was a database once." * 400)
    found = _verify(shop)
    assert not found["sound"]
    assert "not a database" in found["sentence"]
