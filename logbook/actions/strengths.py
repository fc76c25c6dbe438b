"""How strict the shop is: the owner's choice of note or ask for the rules that allow one."""

from collections.abc import Iterable

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.records.audit import Act, Actor, record
from logbook.records.database import once
from logbook.records.people import RuleStrength
from logbook.refusals import Refused
from logbook.rules.findings import ADJUSTABLE, Finding, weighed

CHOICES = ("note", "ask")


def choices(session: Session) -> dict[str, str]:
    """The owner's choices by rule; what is not there keeps its default."""
    chosen = select(RuleStrength.rule, RuleStrength.strength)
    return dict(once(session, "strengths", lambda: session.execute(chosen).all()))


def weigh(session: Session, findings: Iterable[Finding]) -> list[Finding]:
    """Findings as this shop weighs them."""
    return weighed(findings, choices(session))


def choose(session: Session, by: Actor, *, wanted: dict[str, str]) -> None:
    """Set rules to note or ask; an empty choice goes back to the default. Stops cannot be chosen away."""
    known = {row.rule: row for row in session.execute(select(RuleStrength)).scalars()}
    old = {rule: row.strength for rule, row in known.items()}
    for rule, strength in wanted.items():
        if rule not in ADJUSTABLE or strength not in ("", *CHOICES):
            raise Refused(f"{rule!r} cannot be set to {strength!r}.")
        _set(session, by, known.get(rule), rule, strength)
    session.flush()
    new = choices(session)
    if new != old:
        record(session, by, Act("rules weighed", ["shop:rules"], old=old, new=new))


def _set(session: Session, by: Actor, row: RuleStrength | None, rule: str, strength: str) -> None:
    if row is not None and not strength:
        session.delete(row)
    elif row is not None and row.strength != strength:
        row.strength, row.chosen_by_id, row.chosen_at = strength, by.person_id or 0, by.now
    elif row is None and strength:
        session.add(RuleStrength(rule=rule, strength=strength, chosen_by_id=by.person_id, chosen_at=by.now))
