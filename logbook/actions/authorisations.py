"""Taking back that somebody is named for a machine: at once, whatever the day until which they were."""

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.actions.machines import standing
from logbook.records.audit import Act, Actor, record
from logbook.records.machines import Machine, RollerSession
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules.reasons import needed as reason_needed


def withdraw(session: Session, by: Actor, *, machine: Machine, person: Person, reason: str) -> None:
    """Somebody works at a machine no more; what they set up there ends. Only the owner does this.

    Raises Refused for whoever is not named, and without a reason.
    """
    if by.role != "owner":
        raise Refused("Who works at a machine is the owner's decision; ask the owner.")
    named = standing(session, machine, person)
    if not named:
        raise Refused(
            f"{person.name} is not named for {machine.name} any more; there is nothing to take off.", field="person"
        )
    reason = reason_needed(reason, "Say why, in one line.")
    for one in named:
        one.withdrawn_at = by.now
    took_part = or_(RollerSession.person_id == person.id, RollerSession.helper_id == person.id)
    open_ones = select(RollerSession).where(
        RollerSession.machine_id == machine.id, RollerSession.ended_at.is_(None), took_part
    )
    ended = list(session.execute(open_ones).scalars())
    for stretch in ended:
        stretch.ended_at = by.now
    old = {"until": named[-1].until.isoformat()}
    touched = [ref(machine), ref(person), *map(ref, ended)]
    record(session, by, Act("authorisation withdrawn", touched, old=old, reason=reason, meaning="rejected"))
