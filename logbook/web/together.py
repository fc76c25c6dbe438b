"""What is read before several are signed in one act: the words that are signed, and the cautions of the stage."""

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.shop import step_list
from logbook.paper.rows import Caution
from logbook.records.floor import PRINT_IS_OPEN, Print
from logbook.records.orders import Job, StepListRevision
from logbook.rules.steplist import Stage
from logbook.rules.traits import ways_of_working
from logbook.web import papering


@dataclass(frozen=True, slots=True)
class ReadFirst:
    """What stands before the button: ``words`` that are signed of each one, and the cautions that guard the stage."""

    words: tuple[str, ...]
    cards: list[Caution]


def read_first(session: Session, stages: Collection[str]) -> dict[str, ReadFirst]:
    """By the key of each of these stages; from every revision of the step list that open work began with."""
    if not stages:
        return {}
    of_open_work = select(Job.step_list_id).join(Print, Print.job_id == Job.id).where(PRINT_IS_OPEN)
    kept = select(StepListRevision).where(StepListRevision.id.in_(of_open_work)).order_by(StepListRevision.id)
    lists = [step_list(one) for one in session.execute(kept).scalars()]
    return {key: _of(session, [stage for one in lists for stage in one.stages if stage.key == key]) for key in stages}


def _of(session: Session, found: list[Stage]) -> ReadFirst:
    kind = next((one.machine for one in found if one.machine), "")
    codes = dict.fromkeys(code for one in found for code in one.cards)
    # only of a trimmer is anything known that leaves a caution out
    shared = papering.shared_traits(session, kind) if kind == "trimmer" else ()
    words = dict.fromkeys(_signed(one.sign.text) for one in found)
    return ReadFirst(tuple(words), papering.cards([*codes], ways_of_working(kind, shared)))


def _signed(text: str) -> str:
    """The signing step's words without the call to sign, for they follow on "each is signed"."""
    for call in ("Sign: ", "Sign "):
        text = text.removeprefix(call)
    return text
