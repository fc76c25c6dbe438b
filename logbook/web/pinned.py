"""The PIN at a bench tablet: asked at hold points and overrides, always anew where it is about safety."""

from flask import g, request

from logbook.actions import people, pins
from logbook.records.people import Person
from logbook.records.places import Place
from logbook.refusals import Refused
from logbook.rules.findings import REASON_FIELD
from logbook.rules.steplist import Stage
from logbook.web import gate
from logbook.web.fields import BenchForm
from logbook.web.tablets import place

HOLD, SAFETY = "hold", "safety"


def of_stage(stage: Stage) -> str:
    """What signing a stage asks for: nothing, the PIN, or the PIN anew because a safety tick stands in it."""
    steps = [step for step in stage.steps if step.moment != "before"] if stage.has_rollers else stage.steps
    if any(step.safety for step in steps):
        return SAFETY
    return HOLD if any(step.hold for step in steps) else ""


def of_setting_up(stage: Stage, *, covered: bool) -> str:
    """What reading and ticking before the rollers asks for; ``covered``: the safety ticks of the session still hold."""
    if not covered:
        return SAFETY
    return HOLD if any(step.hold and not step.safety for step in stage.steps if step.moment == "before") else ""


def is_wanted(signs: str) -> bool:
    """Whether a page has to ask for the PIN here."""
    here = place()
    return here is not None and bool(signs) and (signs == SAFETY or not here.pin_remembered)


def is_confirmed(form: BenchForm) -> bool:
    """Check the PIN that a form needs, before its act and in a transaction of its own; says beside the field why not.

    So a wrong PIN counts although nothing else is written.
    """
    signs = form.signs or (HOLD if _overrides() else "")
    if not is_wanted(signs):
        return True
    try:
        _check(request.form.get("pin", "").strip())
    except Refused as refusal:
        form.beside["pin"] = refusal.sentence
        return False
    return True


def _overrides() -> bool:
    return any(name.startswith(REASON_FIELD) and words.strip() for name, words in request.form.items())


def _check(pin: str) -> None:
    here, now = place(), gate.actor().now
    assert here is not None
    with gate.the_shop().database.reading() as session:
        person = session.get_one(Person, g.me.id)
        keys = [pins.key_of(person)]
        people.check_throttle(session, keys, now)
        if not pins.has_pin(session, person):
            raise Refused(f"{person.name} has no PIN yet: choose one under Shop, Yourself, on another device.")
        if not pin:
            raise Refused(f"The PIN of {person.name} is needed here.")
        right = pins.verify(session, person=person, pin=pin)
    with gate.the_shop().database.writing() as session:
        if right:
            pins.forget_failures(session, session.get_one(Person, g.me.id), now)
            session.get_one(Place, here.id).pin_at = now
            g.pin_given = True
            return
        people.count_failure(session, keys, now)
    raise Refused(f"That is not the PIN of {person.name}.")
