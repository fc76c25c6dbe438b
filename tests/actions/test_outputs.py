"""Interlaced files after the run: what is an original somewhere else is never let go."""

import pytest

from logbook.actions import outputs
from logbook.records.floor import Run
from logbook.refusals import Refused
from support.small_shop import one


def _drop(shop):
    return shop.act(lambda session, by: outputs.drop(session, by, run=one(session, Run)))


@pytest.fixture
def gone(shop):
    """A job whose only print has left."""
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    return code


def test_a_file_that_is_also_somebodys_picture_is_not_let_go(shop, gone, tmp_path):
    assert gone
    printed = tmp_path / "printed.tif"
    printed.write_bytes(shop.shop.store.path(shop.read(lambda session: one(session, Run).output.sha256)).read_bytes())
    shop.order(customer="", files=[printed, printed])
    with pytest.raises(Refused, match="an original is kept"):
        _drop(shop)


def test_a_file_is_let_go_once(shop, gone):
    assert gone
    _drop(shop)
    with pytest.raises(Refused, match="no file left to drop"):
        _drop(shop)


def test_a_copy_that_fails_leaves_nothing_in_the_hand_over_folder(shop, gone, tmp_path, monkeypatch):
    assert gone
    there = tmp_path / "printer"
    there.mkdir()

    def full(_source, target):
        target.write_bytes(b"the first half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(outputs.shutil, "copyfile", full)
    with pytest.raises(Refused, match="No space left on device"):
        shop.act(
            lambda session, by: outputs.hand_over(session, by, shop.shop.store, one(session, Run), there, "26-0001-A1")
        )
    assert list(there.iterdir()) == []
