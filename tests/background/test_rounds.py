"""The worker beside a folder that takes no writes: it goes on, and its log does not grow with every round."""

import logging

from logbook.background import rounds, supervise
from logbook.background.rounds import Rounds, SaidOnceAnHour


def test_the_same_trouble_is_logged_once_an_hour_and_another_at_once(caplog, monkeypatch):
    troubles = iter([OSError(30, "read-only")] * 50 + [OSError(28, "full")] * 50 + [None] + [OSError(28, "full")] * 2)

    def work():
        if (trouble := next(troubles)) is not None:
            raise trouble

    now = [0.0]
    monkeypatch.setattr(rounds.time, "monotonic", lambda: now[0])
    one = Rounds(logging.getLogger("tried"), "keeping", work)
    said = []
    for _ in range(103):
        one.once()
        said.append(len(caplog.records))
        now[0] += 60
    # an hour is 60 rounds: 50 of one trouble, 50 of another, none, and the other again
    assert said == [1] * 50 + [2] * 51 + [3] * 2
    assert "tried again and again" in caplog.text


def test_the_queue_says_of_a_server_that_is_down_once_an_hour(caplog, monkeypatch):
    now, log = [0.0], logging.getLogger("tried")
    monkeypatch.setattr(rounds.time, "monotonic", lambda: now[0])
    own = SaidOnceAnHour()
    log.addFilter(own)
    for _ in range(120):
        log.error("Error reading from queue")
        now[0] += 60
    log.error("another trouble")
    log.removeFilter(own)
    assert [record.getMessage() for record in caplog.records] == ["Error reading from queue"] * 2 + ["another trouble"]


def test_a_worker_that_fails_at_its_start_is_started_ever_more_rarely():
    pause, pauses = supervise.RESTART_SECONDS / 2, []
    for lived in (0.5, 0.5, 1, 90, 0, *[0] * 20):
        pause = supervise.next_pause(pause, lived=lived)
        pauses.append(pause)
    assert pauses[:5] == [2, 4, 8, 2, 4]
    assert pauses[-1] == supervise.LONGEST_PAUSE_SECONDS
