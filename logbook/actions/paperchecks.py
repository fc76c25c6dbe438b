"""A daily check that was done on paper: entered afterwards with a photograph of its page, its own person and time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from logbook.actions import machines
from logbook.actions.finding import ref
from logbook.actions.pictures import Intake
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore, keep
from logbook.records.machines import Machine, MachineCheck
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules.machinecheck import CheckItem


@dataclass(frozen=True, slots=True)
class CheckPage:
    """Who signed the page and when, its photograph, and what it answers by the keys of the check's lines."""

    person: Person
    at: datetime
    photograph: Intake
    store: FileStore
    answers: Mapping[str, str]


def take_over(
    session: Session, by: Actor, *, machine: Machine, items: Sequence[CheckItem], page: CheckPage
) -> MachineCheck:
    """Enter a check from its page; it counts for the day of its own time.

    A "no" puts the machine out of use unless it was checked again since. Raises Refused for a time that has not come
    yet, for what is not answered, and for a yes that this logbook contradicts.
    """
    if page.at > by.now:
        raise Refused("That time has not come yet; write the one on the page.", field="at")
    values, failed = machines.answered(items, page.answers)
    machines.refuse_what_is_not_so(session, machine, values, day=by.day)
    newest = machines.last_check(machine)
    sha256, size = page.store.adopt(page.photograph.waiting)
    keep(session, sha256=sha256, size=size, media_type=page.photograph.media_type, kind="record", now=by.now)
    check = machines.kept_check(machine, items, values, passed=not failed, person_id=page.person.id, at=page.at)
    check.entered_by, check.page_sha256 = by.name, sha256
    session.add(check)
    session.flush()
    touched = [ref(machine)]
    if failed and (newest is None or newest.at < page.at):
        touched += machines.failed_check(session, by, machine, failed)
    told = {"answers": values, "passed": not failed, "signed by": page.person.name, "signed at": page.at.isoformat()}
    act = Act("machine check taken over from paper", touched, new=told, meaning="checked", files=[sha256])
    record(session, by, act)
    return check
