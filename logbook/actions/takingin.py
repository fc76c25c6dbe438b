"""Lists from elsewhere on their way in: asked for at a page, taken in by the worker some lines at a time.

Not in one transaction: there is one writer at a time, and thousands of lines would keep every signature at the bench
waiting. All lines are looked at before the first is taken, and nothing is taken of a list with a fault. Then each
act takes some lines whole, or none of them, with one entry that names them. A list that was stopped, or broke off,
is chosen again: what is in already is passed over, so nothing is there twice.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.arriving import Row, look, look_at, rows_of, seal
from logbook.actions.finding import ref
from logbook.actions.orders import hashed
from logbook.manner import counted
from logbook.records.arrivals import Arrival
from logbook.records.audit import Act, Actor, record
from logbook.records.orders import Customer
from logbook.refusals import Refused

AGAIN = "Choose the same file again for the rest: what is in already is passed over."


def ask_for(session: Session, by: Actor, *, what: str, text: str, seen: str) -> Arrival:
    """The owner wants this list taken in as it was shown.

    Refused where a line is at fault, where nothing would happen, where things
    changed since they were looked at, or while another list is on its way.
    """
    if by.role != "owner":
        raise Refused("Bringing lists in is the owner's act; ask the owner to do it.")
    if at_work(session) is not None:
        raise Refused("Another list is being taken in; wait for its end, or stop it.")
    lines = look(session, what, text)
    if any(line.fault for line in lines):
        raise Refused("A line is at fault; mend the file first.")
    if seal(lines) != seen:
        raise Refused("Something here has changed since you looked; choose the file again.")
    if not any(line.take for line in lines):
        raise Refused("Everything in this file is here already; there is nothing to take in.")
    assert by.person_id is not None
    made = Arrival(
        what=what, text=text, seen=seen, lines=len(lines), state="waiting", asked_at=by.now, asked_by_id=by.person_id
    )
    session.add(made)
    session.flush()
    record(session, by, Act("list to be brought in", [ref(made)], new={"what": what, "lines": len(lines)}))
    return made


def at_work(session: Session) -> Arrival | None:
    """The list that waits or is being taken in."""
    unfinished = select(Arrival).where(Arrival.state.in_(("waiting", "running")))
    return session.execute(unfinished.order_by(Arrival.id)).scalars().first()


def newest(session: Session) -> Arrival | None:
    """The newest that ended."""
    ended = select(Arrival).where(Arrival.ended_at.is_not(None))
    return session.execute(ended.order_by(Arrival.id.desc())).scalars().first()


def begin(session: Session, now: datetime) -> Arrival | None:
    """The list to work on, marked so; one that a dead worker left goes on where it was left."""
    found = at_work(session)
    if found is not None and found.state == "waiting":
        found.state, found.started_at = "running", now
    return found


def still_to_take(session: Session, arrival: Arrival) -> list[tuple[int, Row]]:
    """The lines that are not behind it, by their numbers; Refused where they are no more what was looked at."""
    if arrival.reached == 0 and seal(look(session, arrival.what, arrival.text)) != arrival.seen:
        raise Refused("Something here has changed since you looked, so nothing was taken in; choose the file again.")
    return rows_of(arrival.what, arrival.text)[arrival.reached :]


def take_some(session: Session, by: Actor, arrival_id: int, rows: Sequence[tuple[int, Row]]) -> bool:
    """Take some lines in, all or none of them; False where somebody has stopped it. ``by``: who asked for it.

    Refused, with the line, where something came between that makes it a fault.
    """
    arrival = session.get_one(Arrival, arrival_id)
    if arrival.state != "running":
        return False
    lines = look_at(session, arrival.what, rows, alone=True)
    for line in lines:
        if line.fault:
            raise Refused(f"Line {line.number}: {line.words}")
    touched = [one for line in lines if line.take for one in line.take(session, by)]
    arrival.reached += len(lines)
    arrival.taken += sum(line.take is not None for line in lines)
    session.flush()
    told: dict[str, object] = {"lines": len(lines)}
    if arrival.what == "customers":
        told["names"] = dict(_hashes(session, touched))
    record(session, by, Act(f"{arrival.what} brought in", [*dict.fromkeys(touched), ref(arrival)], new=told))
    return True


def _hashes(session: Session, touched: list[str]) -> Iterator[tuple[str, dict[str, str]]]:
    codes = [one.partition(":")[2] for one in touched]
    for row in session.execute(select(Customer).where(Customer.code.in_(codes)).order_by(Customer.id)).scalars():
        yield ref(row), hashed(row, customer=row.name, contact=row.contact)


def end(session: Session, by: Actor, arrival_id: int) -> None:
    """Every line is behind it; nothing, where it was stopped."""
    arrival = session.get_one(Arrival, arrival_id)
    if arrival.ended_at is None:
        _leave(session, by, arrival, "done", "", "list brought in")


def stop(session: Session, by: Actor, *, arrival: Arrival) -> None:
    """Leave off: what is in stays in."""
    if arrival.state not in ("waiting", "running"):
        raise Refused("It has ended already; there is nothing left to stop.")
    _leave(session, by, arrival, "stopped", f"Stopped by hand. {AGAIN}", "bringing in stopped")


def fail(session: Session, by: Actor, arrival_id: int, *, sentence: str) -> None:
    """It broke off; nothing, where it had ended."""
    arrival = session.get_one(Arrival, arrival_id)
    if arrival.ended_at is None:
        _leave(session, by, arrival, "failed", f"{sentence} {AGAIN if arrival.reached else ''}", "bringing in failed")


def _leave(session: Session, by: Actor, arrival: Arrival, state: str, sentence: str, words: str) -> None:
    arrival.state, arrival.ended_at, arrival.sentence, arrival.text = state, by.now, sentence.strip(), ""
    record(session, by, Act(words, [ref(arrival)], new={"lines": arrival.reached, "taken": arrival.taken}))


def in_words(arrival: Arrival) -> str:
    """How much of it is in."""
    here = arrival.reached - arrival.taken
    passed = f"; {here} {'was' if here == 1 else 'were'} here already" if here else ""
    return f"{counted(arrival.taken, 'line')} of {arrival.lines} taken in{passed}"
