"""A stage at the rollers, taken over from paper: what was read, ticked and signed there, by whom and when.

The safety rules are those of the screen, judged by the paper's own time: that day's machine check, authorisations that
stood then, nobody under 18, nobody alone without a word about who calls. Every safety tick keeps its own person and its
own time; several sheets of one session point to the same one.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import bench, benchrecords, gluelots, machines, onpaper
from logbook.actions.finding import ref
from logbook.records.audit import Actor
from logbook.records.floor import Sheet
from logbook.records.machines import Machine, RollerSession
from logbook.records.materials import Lot
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules import rollers, signing
from logbook.rules.findings import Finding, settle
from logbook.rules.stages import ROLLER_STAGES


@dataclass(frozen=True, slots=True)
class Tick:
    """Whose initials stand at a safety step, and the time beside them."""

    person: Person
    at: datetime


@dataclass(frozen=True, slots=True)
class SetUp:
    """What the page says of the time before the rollers moved.

    ``ticks`` are the safety steps, each with person and time; ``plain`` the other steps that were ticked.
    ``covered_by`` is the session whose safety ticks covered this sheet too.
    """

    machine: Machine
    read_at: datetime
    helper: Person | None = None
    alone_with: str = ""
    ticks: Mapping[str, Tick] = field(default_factory=dict)
    plain: frozenset[str] = frozenset()
    covered_by: RollerSession | None = None
    adhesive_lot: Lot | None = None
    """What was brought on; None: as planned."""


def take_over(session: Session, by: Actor, *, sheet: Sheet, page: onpaper.Page, set_up: SetUp) -> RollerSession:
    """Enter a page of the rollers in one act; the sheet moves on as if it had been signed there.

    Raises Refused for whatever would have stopped the people at the rollers, and for a safety tick without its person
    and time.
    """
    onpaper.expect_one_of(sheet, ROLLER_STAGES)
    times = [page.at, set_up.read_at, *(tick.at for tick in set_up.ticks.values())]
    onpaper.expect_times(session, by, sheet, *times)
    _check_order(page, set_up)
    stage, definition = sheet.stage, benchrecords.stage_definition(sheet)
    signing.check_ticks(definition, {*set_up.ticks, *set_up.plain}, safety_covered=set_up.covered_by is not None)
    findings = findings_then(session, page.person, set_up)
    settle(findings, reason=None)
    was = gluelots.lay([sheet], set_up.adhesive_lot) if stage == "adhesive" else {}
    covering = set_up.covered_by or _new_session(session, page, set_up)
    covering.ended_at, covering.last_used_at = None, max(covering.last_used_at, set_up.read_at)
    _write_down(session, by, sheet, page, set_up, covering, findings)
    signature = onpaper.signature_of(by, page)
    beside = [one for one in (set_up.helper, sheet.adhesive_lot if stage == "adhesive" else None) if one]
    told = {"set up": _told(set_up), **signature.more, **({"planned before": was} if was else {})}
    signature = bench.Signature(
        **{name: getattr(signature, name) for name in ("values", "reasons", "photos", "store", "signer", "page")},
        machine=set_up.machine,
        more=told,
        touched=[ref(one) for one in beside],
    )
    bench.sign_stage(session, by, subjects=[sheet], stage=stage, signature=signature)
    # nobody rolls on at a screen under what was ticked on paper
    covering.last_used_at = covering.ended_at = max(covering.last_used_at, page.at)
    return covering


def _check_order(page: onpaper.Page, set_up: SetUp) -> None:
    """The people and the order of what stands on a page."""
    if set_up.machine.kind != "laminator":
        raise Refused(f"{set_up.machine.name} has no rollers; choose a laminator.", field="machine")
    if set_up.helper is not None and set_up.helper is page.person:
        raise Refused("Nobody is their own helper: leave that empty and write down who was to call.", field="helper")
    if set_up.read_at > page.at:
        raise Refused(
            "It was read before the rollers moved, so before it was signed: write the earlier time.", field="read_at"
        )
    taking_part = [one for one in (page.person, set_up.helper) if one is not None]
    for key, tick in set_up.ticks.items():
        if tick.person not in taking_part:
            raise Refused(f"{tick.person.name} did not take part; choose one of those at the rollers.", field=key)
        if tick.at > set_up.read_at or tick.at.astimezone().date() != page.at.astimezone().date():
            raise Refused("A safety step is ticked on the same day, before the rollers move.", field=key)
    if set_up.covered_by is not None:
        _check_covered(page, set_up, set_up.covered_by)
    elif set_up.helper is None and set_up.machine.drive == "powered" and not set_up.alone_with.strip():
        raise Refused("Alone at powered rollers: write down who was to call, and when.", field="alone_with")


def _check_covered(page: onpaper.Page, set_up: SetUp, session: RollerSession) -> None:
    helper = set_up.helper.id if set_up.helper else None
    same = (session.machine_id, session.person_id, session.helper_id) == (set_up.machine.id, page.person.id, helper)
    fresh = rollers.still_covers(
        last_used_at=session.last_used_at,
        last_day=session.last_used_at.astimezone().date(),
        now=set_up.read_at,
        today=set_up.read_at.astimezone().date(),
    )
    # one that a jam ended was ended after its last use; one from paper with it
    jammed = session.ended_at is not None and session.ended_at != session.last_used_at
    if not same or not fresh or jammed or set_up.read_at < session.started_at:
        raise Refused(
            "That session does not cover this sheet: another person or machine, a jam, half an hour or a night lies "
            "between. Enter its own safety ticks.",
            field="covered_by",
        )


def findings_then(session: Session, person: Person, set_up: SetUp) -> list[Finding]:
    """What would have spoken against these people at this machine, by the paper's time."""
    then, workers = set_up.read_at, [one for one in (person, set_up.helper) if one is not None]
    facts = machines.machine_facts_then(set_up.machine, then)
    day = then.astimezone().date()
    return rollers.may_run(
        facts,
        [machines.worker_facts_then(session, set_up.machine, one, then) for one in workers],
        today=day,
        local_day=day if facts.check_passed else None,
    )


def _new_session(session: Session, page: onpaper.Page, set_up: SetUp) -> RollerSession:
    made = RollerSession(
        machine_id=set_up.machine.id,
        person_id=page.person.id,
        helper_id=set_up.helper.id if set_up.helper else None,
        alone_with=set_up.alone_with.strip(),
        started_at=min(tick.at for tick in set_up.ticks.values()) if set_up.ticks else set_up.read_at,
        last_used_at=set_up.read_at,
        ticks=json.dumps({key: tick.at.isoformat() for key, tick in sorted(set_up.ticks.items())}),
    )
    session.add(made)
    session.flush()
    return made


def _write_down(
    session: Session,
    by: Actor,
    sheet: Sheet,
    page: onpaper.Page,
    set_up: SetUp,
    covering: RollerSession,
    findings: list[Finding],
) -> None:
    stage = sheet.stage
    common = {
        "roller_session_id": covering.id, "machine_id": set_up.machine.id, "meaning": "checked", "source": "paper",
    }  # fmt: skip
    given = {key: (tick.person, tick.at) for key, tick in set_up.ticks.items()}
    given |= dict.fromkeys(set_up.plain, (page.person, set_up.read_at))
    for key, (person, at) in sorted(given.items()):
        session.add(benchrecords.row(onpaper.as_actor(by, person, at), sheet, stage, key, "ticked", "", **common))
    reader = onpaper.as_actor(by, page.person, set_up.read_at)
    notes = " ".join([f"From paper, entered by {by.name}.", *(found.sentence for found in findings)])
    session.add(benchrecords.row(reader, sheet, stage, f"{stage}-before", "read", "", notes=notes, **common))
    session.flush()


def _told(set_up: SetUp) -> dict[str, object]:
    return {
        "read at": set_up.read_at.isoformat(),
        "helper": set_up.helper.name if set_up.helper else None,
        "alone_with": set_up.alone_with.strip(),
        "safety ticks": {key: f"{one.person.name}, {one.at.isoformat()}" for key, one in sorted(set_up.ticks.items())},
        "ticks": sorted(set_up.plain),
    }


def sessions_near(session: Session, most: int = 20) -> list[RollerSession]:
    """The newest sessions, newest first: one of them may have covered the sheet of a page."""
    newest = select(RollerSession).order_by(RollerSession.started_at.desc(), RollerSession.id.desc()).limit(most)
    return list(session.execute(newest).scalars())
