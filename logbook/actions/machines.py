"""Machines: printers and their modes, laminators, trimmers; checks, authorisations, out of use and back."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from sqlalchemy import or_, select
from sqlalchemy.orm import Session, object_session

from logbook.actions.finding import ref
from logbook.lengths import Length
from logbook.manner import POINT, Manner, may_be_thousands
from logbook.records.audit import Act, Actor, record
from logbook.records.machines import (
    Authorisation,
    Machine,
    MachineCheck,
    MachineEvent,
    PrinterMode,
    RollerSession,
    event_came_at,
)
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules.history import NEEDS_RECORD, ends_check
from logbook.rules.machinecheck import CheckItem
from logbook.rules.reasons import needed as reason_needed
from logbook.rules.rollers import MachineFacts, WorkerFacts
from logbook.rules.signing import MARK

OUT, BACK = "out of use", "back into use"
FACT_FIELDS = ("manual", "freeing_procedure", "stop_position", "isolator", "competent_role", "last_inspection")


def add_printer(
    session: Session, by: Actor, *, name: str, dpi: str, mode_name: str = "", widest: Length | None = None
) -> PrinterMode:
    """A printer with its first mode; ``dpi`` is 720 or 1440x720 (across x down)."""
    machine = _new_machine(session, kind="printer", name=name, drive="powered", widest=widest)
    mode = _new_mode(session, machine, dpi=dpi, name=mode_name)
    record(
        session,
        by,
        Act("printer added", [ref(machine), ref(mode)], new={"name": machine.name, "mode": mode.name, "dpi": dpi}),
    )
    return mode


def add_mode(session: Session, by: Actor, *, machine: Machine, dpi: str, name: str = "") -> PrinterMode:
    """Another mode of a printer: another pitch belongs to it."""
    if machine.kind != "printer":
        raise Refused(f"{machine.name} is a {machine.kind}; only a printer has modes.")
    mode = _new_mode(session, machine, dpi=dpi, name=name)
    record(session, by, Act("printer mode added", [ref(machine), ref(mode)], new={"mode": mode.name, "dpi": dpi}))
    return mode


def _new_mode(session: Session, machine: Machine, *, dpi: str, name: str) -> PrinterMode:
    across, _, down = dpi.lower().replace("×", "x").replace(" ", "").partition("x")
    for text in (across, down or across):
        _check_dpi(text)
    mode = PrinterMode(
        machine=machine, name=name.strip() or f"{dpi} dots per inch", dpi_across=across, dpi_down=down or across
    )
    session.add(mode)
    session.flush()
    return mode


def _check_dpi(text: str) -> None:
    if may_be_thousands(text):
        raise Refused(f"{text!r} can be read in two ways; write 1440, without a mark between thousands.", field="dpi")
    try:
        good = Fraction(text.replace(",", ".")) > 0
    except (ValueError, ZeroDivisionError):
        good = False
    if not good:
        raise Refused(f"{text!r} is not a number of dots per inch, for example 720 or 1440x720.", field="dpi")


def add_machine(
    session: Session,
    by: Actor,
    *,
    kind: str,
    name: str,
    drive: str,
    cutting: str = "",
    heated: bool = False,
    widest: Length | None = None,
) -> Machine:
    """A laminator or trimmer; its facts are written down on its own page."""
    if drive not in ("powered", "hand"):
        raise Refused("Say whether a motor or a hand drives it: the cautions follow from it.", field="drive")
    machine = _new_machine(session, kind=kind, name=name, drive=drive, cutting=cutting, heated=heated, widest=widest)
    record(
        session,
        by,
        Act(f"{kind} added", [ref(machine)], new={"name": machine.name, "drive": drive, "cutting": cutting}),
    )
    return machine


def _new_machine(
    session: Session,
    *,
    kind: str,
    name: str,
    drive: str,
    cutting: str = "",
    heated: bool = False,
    widest: Length | None = None,
) -> Machine:
    name = name.strip()
    if not name:
        raise Refused("Give the machine the name it goes by in the shop.", field="name")
    if session.execute(select(Machine).where(Machine.name == name)).scalar_one_or_none():
        raise Refused(f"There is a machine called {name} already; give this one another name.", field="name")
    machine = Machine(kind=kind, name=name, drive=drive, cutting=cutting, heated=heated, widest=widest)
    session.add(machine)
    session.flush()
    return machine


def set_machine_facts(session: Session, by: Actor, *, machine: Machine, values: dict[str, str]) -> None:
    """Write down what must be known before anybody works at the machine."""
    old = {
        name: getattr(machine, name) for name in FACT_FIELDS if values.get(name, "").strip() != getattr(machine, name)
    }
    for name in old:
        setattr(machine, name, values.get(name, "").strip())
    if old:
        new = {name: getattr(machine, name) for name in old}
        record(session, by, Act("machine facts set", [ref(machine)], old=old, new=new))


def set_widest(session: Session, by: Actor, *, machine: Machine, widest: Length | None) -> None:
    """Write down the widest sheet that goes through the machine; None where nobody says."""
    if machine.widest == widest:
        return
    old, new = ({"widest": str(one) if one else ""} for one in (machine.widest, widest))
    machine.widest = widest
    record(session, by, Act("machine facts set", [ref(machine)], old=old, new=new))


def check_machine(
    session: Session, by: Actor, *, machine: Machine, items: Sequence[CheckItem], answers: Mapping[str, str]
) -> MachineCheck:
    """The daily check: "yes" or "no" for every question, numbers where they were read. A "no" puts it out of use."""
    values, failed = answered(items, answers)
    refuse_what_is_not_so(session, machine, values, day=by.day)
    check = kept_check(machine, items, values, passed=not failed, person_id=by.person_id, at=by.now)
    session.add(check)
    ended = failed_check(session, by, machine, failed) if failed else []
    told = {"answers": values, "passed": not failed}
    record(session, by, Act("machine checked", [ref(machine), *ended], new=told, meaning="checked"))
    return check


def refuse_what_is_not_so(session: Session, machine: Machine, values: Mapping[str, str], *, day: date) -> None:
    """A yes that this logbook itself contradicts would count later, once the rest was written down."""
    facts = machine_facts(machine)
    if values.get("freeing") == "yes" and not facts.freeing_procedure.strip():
        raise Refused(
            f"How somebody caught in {machine.name} is freed is not written down yet: write it down on this page and "
            "post it; then answer this.",
            field="freeing",
        )
    if values.get("people") == "yes" and facts.can_hurt and not _named_on(session, machine, day):
        raise Refused(
            f"Nobody is named for {machine.name}, or everybody's time has run out: name who works at it on this page; "
            "then answer this.",
            field="people",
        )


def _named_on(session: Session, machine: Machine, day: date) -> bool:
    named = select(Authorisation.id).where(Authorisation.machine_id == machine.id, Authorisation.withdrawn_at.is_(None))
    return session.execute(named.where(Authorisation.until >= day).limit(1)).first() is not None


def answered(items: Sequence[CheckItem], answers: Mapping[str, str]) -> tuple[dict[str, str], list[str]]:
    """What a check answers, by the keys of its lines, and the lines that were answered no; Refused where one is not."""
    values = {item.key: _answer(item, answers.get(item.key, "").strip(), answers.get(MARK, POINT)) for item in items}
    return values, [item.text for item in items if values[item.key] == "no"]


def kept_check(
    machine: Machine,
    items: Sequence[CheckItem],
    values: Mapping[str, str],
    *,
    passed: bool,
    person_id: int | None,
    at: datetime,
) -> MachineCheck:
    """A check as it is kept, with the words of its lines."""
    told = json.dumps({item.text: values[item.key] for item in items}, ensure_ascii=False)
    return MachineCheck(machine_id=machine.id, person_id=person_id, at=at, passed=passed, answers=told)


def failed_check(session: Session, by: Actor, machine: Machine, failed: Sequence[str]) -> list[str]:
    """What was answered no puts the machine out of use; part of another act. Returns what was ended by that."""
    return _block(session, by, machine, f"daily check, answered no: {' '.join(failed)}")


def _block(session: Session, by: Actor, machine: Machine, reason: str) -> list[str]:
    """Out of use from now on, on record in the machine's history; a reason that stood before stays beside it."""
    known = machine.out_of_use_reason
    machine.out_of_use_reason = f"{known}; {reason}" if known else reason
    session.add(MachineEvent(machine_id=machine.id, at=by.now, person_id=by.person_id, what=OUT, note=reason))
    return end_sessions(session, by, machine)


def _answer(item: CheckItem, value: str, mark: str) -> str:
    if item.record == "number":
        return str(_measured(item, value, mark)) if value else ""
    if value not in ("yes", "no"):
        raise Refused(f"Not answered yet: {item.text}", field=item.key)
    return value


def _measured(item: CheckItem, value: str, mark: str) -> Decimal:
    try:
        number = Manner(mark=mark).read(value)
    except Refused as refusal:
        raise Refused(f"{item.text}: {refusal.sentence}", field=item.key) from None
    if number is None:
        raise Refused(f"{item.text}: {value!r} is not a number in {item.unit}; write digits alone.", field=item.key)
    if (item.low is not None and number < item.low) or (item.high is not None and number > item.high):
        raise Refused(
            f"{item.text}: {value} {item.unit} cannot be; from {item.low} to {item.high} {item.unit}, or leave it out.",
            field=item.key,
        )
    return number


def measured_in(check: MachineCheck, items: Sequence[CheckItem]) -> str:
    """The numbers that a check noted, with their units; empty where it noted none."""
    told = json.loads(check.answers)
    noted = [(item, told.get(item.text)) for item in items if item.record == "number"]
    return ", ".join(f"{item.text.lower()} {value} {item.unit}" for item, value in noted if value)


def traits(machine: Machine) -> tuple[str, ...]:
    """What the check and the cautions need to know about a machine."""
    return tuple(trait for trait in (machine.drive, machine.cutting, "heated" if machine.heated else "") if trait)


def take_out_of_use(session: Session, by: Actor, *, machine: Machine, reason: str) -> None:
    """Block the machine's steps. This record does not stop the machine: isolate it."""
    reason = reason_needed(reason, "Say what is wrong with it.")
    ended = _block(session, by, machine, reason)
    record(session, by, Act("machine out of use", [ref(machine), *ended], reason=reason))


def end_sessions(session: Session, by: Actor, machine: Machine) -> list[str]:
    """Nobody rolls on under what was ticked before the machine was found wanting; returns what was ended."""
    standing = session.execute(
        select(RollerSession).where(
            RollerSession.machine_id == machine.id,
            RollerSession.ended_at.is_(None),
            RollerSession.last_used_at > by.now - timedelta(days=1),
        )
    ).scalars()
    ended = list(standing)
    for one in ended:
        one.ended_at = by.now
    return [ref(one) for one in ended]


@dataclass(frozen=True, slots=True)
class Minor:
    """What the owner writes down before somebody under 18 works at a machine."""

    document: str = ""
    issuer: str = ""
    adult: str = ""


def authorise(
    session: Session,
    by: Actor,
    *,
    machine: Machine,
    person: Person,
    until: date,
    reread: bool = False,
    minor: Minor = Minor(),
) -> Authorisation:
    """Name a person for a machine until a day; only the owner does.

    ``reread``: whoever gives their own authorisation has read this machine's cautions again.
    """
    if until < by.day:
        raise Refused("The last day lies in the past; write a later one.", field="until")
    facts = machine_facts(machine)
    if is_minor(person, by.day):
        _check_minor(facts, person, minor)
    if person.id == by.person_id and not reread:
        raise Refused("Read this machine's cautions again before you name yourself.", field="reread")
    for old in standing(session, machine, person):
        old.withdrawn_at = by.now
    given = Authorisation(
        machine_id=machine.id,
        person_id=person.id,
        given_by_id=by.person_id,
        given_at=by.now,
        until=until,
        minor_document=minor.document.strip(),
        minor_issuer=minor.issuer.strip(),
        minor_adult=minor.adult.strip(),
    )
    session.add(given)
    record(
        session,
        by,
        Act(
            "authorised",
            [ref(machine), ref(person)],
            new={"until": until.isoformat(), "reread": reread, "minor": bool(given.minor_document)},
            meaning="approved",
        ),
    )
    return given


def _check_minor(facts: MachineFacts, person: Person, minor: Minor) -> None:
    """Powered nips, guillotines, lever trimmers: document, issuer and adult. Hand-driven: a written risk assessment."""
    told = (minor.document.strip(), minor.issuer.strip(), minor.adult.strip())
    if facts.bars_minors and not all(told):
        raise Refused(
            f"{person.name} is under 18 and cannot be named for {facts.name} unless a document allows it: write down "
            "the document, who issued it, and the adult who supervises. Check the law of this place first.",
            field="minor_document",
        )
    if facts.can_hurt and not told[0]:
        raise Refused(
            f"{person.name} is under 18: name the shop's written risk assessment for {facts.name}.",
            field="minor_document",
        )


def standing(session: Session, machine: Machine, person: Person) -> list[Authorisation]:
    """Authorisations of a person for a machine that nobody withdrew."""
    return list(
        session.execute(
            select(Authorisation)
            .where(
                Authorisation.machine_id == machine.id,
                Authorisation.person_id == person.id,
                Authorisation.withdrawn_at.is_(None),
            )
            .order_by(Authorisation.id)
        ).scalars()
    )


def is_minor(person: Person, today: date) -> bool:
    """Whether the person is under 18 on this day."""
    return person.under_18_until is not None and today < person.under_18_until


def last_check(machine: Machine) -> MachineCheck | None:
    """The newest daily check of a machine; None before the first."""
    return _session_of(machine).execute(
        select(MachineCheck)
        .where(MachineCheck.machine_id == machine.id)
        .order_by(MachineCheck.at.desc(), MachineCheck.id.desc())
        .limit(1)
    ).scalar_one_or_none()


def machine_facts_then(machine: Machine, then: datetime) -> MachineFacts:
    """A machine as the rules saw it at an earlier time: by the check that stood then, and whether it was in use."""
    day = then.astimezone().date()
    before = [one for one in machine.checks if one.at <= then and one.at.astimezone().date() == day]
    last = before[-1] if before else None
    held = last is not None and last.passed and not last.withdrawal and not _changed_since(machine, last, until=then)
    return replace(machine_facts(machine), check_passed=held, out_of_use=out_of_use_then(machine, then))


def out_of_use_then(machine: Machine, then: datetime) -> str | None:
    """Why a machine was out of use at an earlier time; None where it was in use.

    One whose going out was not noted, as in shops of before such notes, counts as out of use until it came back.
    """
    came = event_came_at()
    wanted = select(MachineEvent).where(
        MachineEvent.machine_id == machine.id, MachineEvent.what.in_((OUT, BACK, *NEEDS_RECORD))
    )
    turns = list(_session_of(machine).execute(wanted.order_by(came, MachineEvent.id)).scalars())
    if machine.out_of_use_reason and (not turns or turns[-1].what == BACK):
        return machine.out_of_use_reason
    before = [one for one in turns if one.came_at <= then]
    return f"{before[-1].what}: {before[-1].note}" if before and before[-1].what != BACK else None


def _session_of(machine: Machine) -> Session:
    session = object_session(machine)
    assert session is not None
    return session


def _changed_since(machine: Machine, check: MachineCheck, *, until: datetime | None = None) -> bool:
    """Whether something was done to the machine after a check, so that it says nothing any more."""
    done = select(MachineEvent.what).where(MachineEvent.machine_id == machine.id, event_came_at() >= check.at)
    if until is not None:
        done = done.where(event_came_at() <= until)
    return any(ends_check(machine.kind, what) for what in _session_of(machine).execute(done.distinct()).scalars())


def machine_facts(machine: Machine) -> MachineFacts:
    """A machine as the rules see it."""
    last = last_check(machine)
    return MachineFacts(
        name=machine.name,
        kind=machine.kind,
        drive=machine.drive,
        cutting=machine.cutting,
        manual=machine.manual,
        freeing_procedure=machine.freeing_procedure,
        stop_position=machine.stop_position,
        isolator=machine.isolator,
        competent_role=machine.competent_role,
        last_inspection=machine.last_inspection,
        out_of_use=machine.out_of_use_reason,
        check_passed=last is not None and last.passed and not last.withdrawal and not _changed_since(machine, last),
    )


def worker_facts(session: Session, machine: Machine, person: Person, today: date) -> WorkerFacts:
    """A person at a machine as the rules see them."""
    given = standing(session, machine, person)
    return _worker(given[-1] if given else None, person, today)


def worker_facts_then(session: Session, machine: Machine, person: Person, then: datetime) -> WorkerFacts:
    """The same as it was at an earlier time: by the authorisation that stood then."""
    stood = select(Authorisation).where(
        Authorisation.machine_id == machine.id,
        Authorisation.person_id == person.id,
        Authorisation.given_at <= then,
        or_(Authorisation.withdrawn_at.is_(None), Authorisation.withdrawn_at > then),
    )
    rows = session.execute(stood.order_by(Authorisation.id)).scalars().all()
    found = _worker(rows[-1] if rows else None, person, then.astimezone().date())
    later = [one.given_at for one in standing(session, machine, person) if one.given_at > then]
    return found if rows or not later else replace(found, named_later=later[0])


def _worker(newest: Authorisation | None, person: Person, today: date) -> WorkerFacts:
    return WorkerFacts(
        name=person.name,
        authorised_until=newest.until if newest else None,
        authorised_by_nobody_else=bool(newest and newest.given_by_id == person.id),
        under_18=is_minor(person, today),
        minor_document=newest.minor_document if newest else "",
        minor_issuer=newest.minor_issuer if newest else "",
        minor_adult=newest.minor_adult if newest else "",
    )


def dots_per_inch(text: str) -> Fraction:
    """A mode's stored dots per inch as an exact number."""
    try:
        return Fraction(Decimal(text))
    except InvalidOperation:
        return Fraction(text)
