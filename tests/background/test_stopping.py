"""A run that is stopped while it computes, told by its own heart; and what is recorded once."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from logbook.actions import runs
from logbook.background import compute
from logbook.records import audit, chain
from logbook.records.floor import Run
from logbook.refusals import Refused
from support.small_shop import job, small_shop


@pytest.fixture
def shop(tmp_path):
    made = small_shop(tmp_path / "data")
    yield made
    made.shop.database.close()


@pytest.fixture
def waiting(shop):
    """A run that waits for a worker; the shop's clock is the real one from here on."""
    code = shop.order(customer="")
    shop.choose_pitch(code)
    shop.now = datetime.now(UTC)
    return shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code)).id)


def _acts(shop, run_id):
    def told(session):
        code = session.get_one(Run, run_id).code
        return [json.loads(entry.body)["action"] for entry in audit.entries_for(session, f"run:{code}")]

    return shop.read(told)


def _left_behind(shop):
    return list((shop.shop.store.folder / "incoming").iterdir())


def test_a_wish_to_stop_reaches_the_engine_through_the_heart(shop, waiting, monkeypatch):
    monkeypatch.setattr(compute, "BEAT_SECONDS", 0.01)
    engine = compute.interlace

    def asked_to_stop_meanwhile(*words, cancelled, **more):
        shop.act(lambda session, by: runs.cancel(session, by, run=session.get_one(Run, waiting)))
        while not cancelled():
            pass  # the heart beats on its own thread
        return engine(*words, cancelled=cancelled, **more)

    monkeypatch.setattr(compute, "interlace", asked_to_stop_meanwhile)
    compute.work_on(shop.shop, waiting)
    run = shop.read(lambda session: session.get_one(Run, waiting))
    assert (run.state, run.trouble) == ("cancelled", "stopped while it ran")
    assert _acts(shop, waiting)[1:] == ["interlace run to be stopped", "interlace run cancelled"]
    assert _left_behind(shop) == []
    with pytest.raises(Refused, match="has ended already"):
        shop.act(lambda session, by: runs.cancel(session, by, run=session.get_one(Run, waiting)))


def test_a_run_that_was_taken_over_meanwhile_is_recorded_once_by_its_new_owner(shop, waiting, monkeypatch):
    monkeypatch.setattr(runs, "LEASE", timedelta(seconds=-1))  # over as soon as it is given
    engine = compute.interlace
    inner = []

    def overtaken(*words, **more):
        if not inner:
            inner.append(1)
            compute.work_on(shop.shop, waiting)
        return engine(*words, **more)

    monkeypatch.setattr(compute, "interlace", overtaken)
    compute.work_on(shop.shop, waiting)
    run = shop.read(lambda session: session.get_one(Run, waiting))
    assert (run.state, run.attempts) == ("done", 2)
    assert _acts(shop, waiting).count("interlace run done") == 1
    assert _left_behind(shop) == []
    assert shop.read(chain.first_bad) is None


def test_an_unforeseen_fault_fails_the_run_in_words_and_leaves_nothing(shop, waiting, monkeypatch, caplog):
    def breaks(*_words, **_more):
        raise ZeroDivisionError

    monkeypatch.setattr(compute, "interlace", breaks)
    compute.work_on(shop.shop, waiting)
    run = shop.read(lambda session: session.get_one(Run, waiting))
    assert run.state == "failed"
    assert "ZeroDivisionError" in run.trouble
    assert "ZeroDivisionError" in caplog.text, "the log has the details"
    assert _left_behind(shop) == []
    assert run.token is None
