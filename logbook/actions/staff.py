"""Who works here no longer, and who comes back."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions import pins
from logbook.actions.finding import ref
from logbook.records.audit import Act, Actor, record
from logbook.records.people import Person, SignIn
from logbook.refusals import Refused


def former(session: Session) -> list[Person]:
    """Everyone who worked here once, by name."""
    return list(session.execute(select(Person).where(~Person.active).order_by(Person.name)).scalars())


def let_go(session: Session, by: Actor, *, person: Person) -> None:
    """Somebody works here no longer: sign-ins and PIN end at once, what he signed keeps his name.

    Raises Refused for the last owner: a shop without one could never be changed again.
    """
    if not person.active:
        raise Refused(f"{person.name} does not work here any more; nothing needs to be done.")
    if person.role == "owner" and _owners(session) == 1:
        raise Refused(f"{person.name} is the only owner; make somebody else an owner first.")
    person.active = False
    still_open = select(SignIn).where(SignIn.person_id == person.id, SignIn.ended_at.is_(None))
    for open_one in session.execute(still_open).scalars():
        open_one.ended_at = by.now
    ended = pins.end_pin(session, by, person=person)
    record(session, by, Act("person let go", [ref(person), *ended], old={"active": True}, new={"active": False}))


def bring_back(session: Session, by: Actor, *, person: Person) -> None:
    """Somebody works here again, with the password he had; a PIN is chosen anew."""
    if person.active:
        raise Refused(f"{person.name} works here already.")
    person.active = True
    record(session, by, Act("person brought back", [ref(person)], old={"active": False}, new={"active": True}))


def _owners(session: Session) -> int:
    return session.execute(select(func.count(Person.id)).where(Person.active, Person.role == "owner")).scalar_one()
