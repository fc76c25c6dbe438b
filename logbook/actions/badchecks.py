"""A machine check that was signed and was wrong: what was worked under it comes in doubt."""

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from logbook.actions import doubts
from logbook.actions.finding import ref
from logbook.actions.machines import end_sessions, last_check
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Print, StepRecord, stands
from logbook.records.machines import CheckWithdrawal, Machine, MachineCheck
from logbook.refusals import Refused
from logbook.rules.reasons import needed as reason_needed


def checks_that_stand(session: Session, machine: Machine, most: int) -> list[MachineCheck]:
    """The newest checks that were passed and not withdrawn, newest first, at most so many."""
    standing = (
        select(MachineCheck)
        .outerjoin(CheckWithdrawal)
        .where(MachineCheck.machine_id == machine.id, MachineCheck.passed, CheckWithdrawal.id.is_(None))
        .order_by(MachineCheck.at.desc(), MachineCheck.id.desc())
    )
    return list(session.execute(standing.limit(most)).scalars())


def check_of(session: Session, machine: Machine, number: str) -> MachineCheck:
    """A check of this machine by its number; Refused where there is none."""
    found = session.get(MachineCheck, int(number)) if number.isdecimal() and len(number) < 16 else None
    if found is None or found.machine_id != machine.id:
        raise Refused("Choose the check that was wrong.", field="check")
    return found


def worked_under(session: Session, check: MachineCheck) -> list[Print]:
    """Every print that was worked on at the machine after this check and before the next one.

    What was signed and taken back again within the minute was not worked.
    """
    upto = select(func.min(MachineCheck.at)).where(
        MachineCheck.machine_id == check.machine_id, MachineCheck.at > check.at
    )
    until = session.execute(upto).scalar_one()
    then = [StepRecord.machine_id == check.machine_id, StepRecord.at >= check.at, stands()]
    if until is not None:
        then.append(StepRecord.at < until)
    of_sheets = Print.sheet_id.in_(select(StepRecord.sheet_id).where(*then, StepRecord.sheet_id.is_not(None)))
    of_prints = Print.id.in_(select(StepRecord.print_id).where(*then, StepRecord.print_id.is_not(None)))
    return list(session.execute(select(Print).where(or_(of_sheets, of_prints)).order_by(Print.id)).scalars())


def withdraw_check(session: Session, by: Actor, *, check: MachineCheck, reason: str) -> list[Print]:
    """A check no longer counts; every print worked under it is listed, those that have not left are set aside.

    Where it was the machine's newest, another one is due before anybody works at it.
    """
    if check.withdrawal is not None:
        raise Refused("This check was withdrawn already; choose another, if another was wrong.", field="check")
    if not check.passed:
        raise Refused(
            "This check was not passed; nobody could work under it, so nothing needs to be withdrawn.", field="check"
        )
    reason = reason_needed(reason, "Say what was wrong with the check.")
    machine = session.get_one(Machine, check.machine_id)
    newest = last_check(machine) is check
    check.withdrawal = CheckWithdrawal(at=by.now, person_id=by.person_id, reason=reason)
    ended = end_sessions(session, by, machine) if newest else []
    touched = worked_under(session, check)
    doubts.set_aside(touched, f"check of {machine.name} on {check.at.astimezone():%Y-%m-%d %H:%M}: {reason}")
    objects = [ref(check), ref(machine), *ended, *map(ref, touched)]
    record(session, by, Act("machine check withdrawn", objects, reason=reason, meaning="rejected"))
    return touched


def withdrawals(session: Session, machine: Machine) -> list[CheckWithdrawal]:
    """What was withdrawn at a machine, newest first."""
    found = select(CheckWithdrawal).join(MachineCheck).where(MachineCheck.machine_id == machine.id)
    return list(session.execute(found.order_by(CheckWithdrawal.id.desc())).scalars())
