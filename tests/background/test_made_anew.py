"""A file that was let go and is made again: the run it came from stays what it was."""

import pytest
from sqlalchemy import select

from logbook.actions import outputs, runs
from logbook.background import compute
from logbook.records.floor import Run
from logbook.refusals import Refused


def _state(shop, run_id):
    return shop.read(lambda session: (session.get_one(Run, run_id).state, session.get_one(Run, run_id).trouble))


@pytest.fixture
def dropped(shop):
    """A finished run whose prints have left and whose file was let go."""
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    run_id = shop.read(lambda session: session.execute(select(Run.id)).scalar_one())
    shop.shop.store.drop(shop.act(lambda session, by: outputs.drop(session, by, run=session.get_one(Run, run_id))))
    return run_id


def test_a_run_that_was_only_made_anew_stays_done_when_that_is_stopped_or_fails(shop, dropped, monkeypatch):
    def run(session):
        return session.get_one(Run, dropped)

    shop.act(lambda session, by: outputs.make_anew(session, by, run=run(session)))
    with pytest.raises(Refused, match="being made anew already"):
        shop.act(lambda session, by: outputs.make_anew(session, by, run=run(session)))
    shop.act(lambda session, by: runs.cancel(session, by, run=run(session)))
    assert _state(shop, dropped) == ("done", "stopped by Olga")
    shop.act(lambda session, by: outputs.make_anew(session, by, run=run(session)))
    with monkeypatch.context() as broken:
        broken.setattr(compute, "interlace", lambda *_words, **_more: 1 / 0)
        compute.work_on(shop.shop, dropped)
    assert _state(shop, dropped)[0] == "done"
    assert "ZeroDivisionError" in _state(shop, dropped)[1]
    assert shop.read(lambda session: run(session).output.dropped_at) is not None
    shop.act(lambda session, by: outputs.make_anew(session, by, run=run(session)))
    compute.work_on(shop.shop, dropped)
    assert _state(shop, dropped) == ("done", None)
    assert shop.read(lambda session: run(session).output.dropped_at) is None


def test_an_interlaced_file_that_came_back_as_a_picture_is_not_dropped(shop, tmp_path):
    code = shop.ready()
    output = shop.read(lambda session: session.execute(select(Run)).scalar_one().output.sha256)
    (tmp_path / "back.tif").write_bytes(shop.shop.store.path(output).read_bytes())
    shop.add_pictures(shop.order(customer=""), [tmp_path / "back.tif"])
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    with pytest.raises(Refused, match="original is kept"):
        shop.act(lambda session, by: outputs.drop(session, by, run=session.execute(select(Run)).scalar_one()))
