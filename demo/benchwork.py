"""The demo's work at the bench: sheets and pieces signed on, stage by stage."""

from dataclasses import dataclass, field

from pictures import Series
from sqlalchemy import select
from sqlalchemy.orm import Session
from workshop import Diary, check, machine

from logbook.actions import atrollers, bench, benchrecords, leaving, strips
from logbook.records.audit import Actor
from logbook.records.floor import Print, Sheet
from logbook.records.orders import Job

COUNTS = (("1", "1/2", "0", "1/2", "1"), ("1 1/4", "3/4", "1/4", "1/4", "3/4"), ("1", "1/2", "1/4", "1/2", "1"))
"""What readers count in a pitch strip's five bands: as expected, or a little off."""


@dataclass
class Plan:
    """One order of the demo: how far it has come, and what is special about it."""

    customer: str
    artwork: str
    drawn: Series
    done: str
    lens: str = "R20-4471"
    quantity: int = 1
    size: tuple[int, int] = (80, 100)
    """Width and height in millimetres."""
    flip: str = "left-right"
    due_in: int = 9
    answer: str = "approved"
    words: str = ""
    sample: bool = False
    nominal: bool = False
    note: str = ""
    price: str | None = None
    results: dict[int, str] = field(default_factory=dict)
    """Inspection by piece (from 0); what is not named passed."""
    again: bool = False
    """Ordered again exactly as a finished job of this customer and artwork; nothing else is said."""
    hours_ago: float = 1.5
    """How long ago the last step was done."""


class BenchWork:
    """What is done at the bench for one plan; ``code`` is its job's, once there is one."""

    def __init__(self, diary: Diary, plan: Plan) -> None:
        self.diary, self.plan, self.code = diary, plan, ""

    def sheets(self, session: Session, stage: str) -> list[Sheet]:
        """The job's sheets at a stage."""
        return list(
            session.execute(
                select(Sheet)
                .join(Print, Print.sheet_id == Sheet.id)
                .join(Job, Print.job_id == Job.id)
                .where(Job.code == self.code, Sheet.stage == stage)
                .order_by(Sheet.id)
            )
            .scalars()
            .unique()
        )

    def pieces(self, session: Session, stage: str) -> list[Print]:
        """The job's pieces at a stage."""
        return list(
            session.execute(
                select(Print)
                .join(Job, Print.job_id == Job.id)
                .where(Job.code == self.code, Print.stage == stage)
                .order_by(Print.id)
            ).scalars()
        )

    def _bench(self, session: Session, by: Actor, stage: str) -> None:
        if stage in ("inspect", "pack"):
            for number, piece in enumerate(self.pieces(session, stage)):
                self._last_stages(session, by, stage, piece, number)
            return
        subjects: list = self.pieces(session, stage) if stage == "trim" else self.sheets(session, stage)
        if stage == "print":
            self._tap(session, by, subjects)
        tool = machine(session, "Wheel cutter") if stage == "trim" else None
        if tool is not None:
            check(session, by, self.diary.shop.settings.own_safety_path, "Wheel cutter")
        width, height = self.plan.size
        values = {
            "trim-width": f"{width}.0",
            "trim-height": f"{height}.2",
            "dwell-bow": "0.4",
            **(_as_drawn(subjects[0]) if stage == "print" else {}),
        }
        bench.sign_stage(
            session,
            by,
            subjects=subjects,
            stage=stage,
            signature=bench.Signature(values=values, machine=tool),
        )

    def _tap(self, session: Session, by: Actor, waiting: list[Sheet]) -> None:
        """The pitch strip beside each print, where there is one: five counts, not always the expected ones."""
        for number, sheet in enumerate(sheet for sheet in waiting if strips.plan_of(sheet.run) is not None):
            told = COUNTS[(len(self.plan.artwork) + number) % len(COUNTS)]
            strips.record_counts(session, by, sheet=sheet, counts=dict(enumerate(told, start=1)))

    def _last_stages(self, session: Session, by: Actor, stage: str, piece: Print, number: int) -> None:
        if stage == "pack":
            leaving.leave(session, by, piece=piece, way=leaving.WayOut(how="collected", on=by.day), values={})
            return
        result = self.plan.results.get(number, "passed")
        bench.sign_stage(
            session,
            by,
            subjects=[piece],
            stage="inspect",
            signature=bench.Signature(
                values={
                    "inspect-ghosting": "1" if result == "passed" else "3",
                    "inspect-bubbles": "0",
                    "inspect-result": result,
                },
            ),
        )

    def _rollers(self, session: Session, by: Actor, stage: str) -> None:
        check(session, by, self.diary.shop.settings.own_safety_path, "Rosa")
        waiting = self.sheets(session, stage)
        ticks = frozenset(step.key for step in benchrecords.stage_definition(waiting[0]).steps if step.record == "tick")
        atrollers.start_rollers(
            session,
            by,
            sheets=waiting,
            stage=stage,
            start=atrollers.RollerStart(
                machine=machine(session, "Rosa"), helper=None, alone_with="Ilse looks in every half hour", ticks=ticks
            ),
        )
        bench.sign_stage(session, by, subjects=waiting, stage=stage, signature=bench.Signature(values={}))


def _as_drawn(sheet: Sheet) -> dict[str, str]:
    """The scale bar measured as long as it is in the file; nothing where the sheet has none."""
    step = next(one for one in benchrecords.stage_definition(sheet).steps if one.key == "print-scale")
    return {} if step.low is None or step.high is None else {step.key: str((step.low + step.high) / 2)}
