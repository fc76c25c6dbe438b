"""The demo's orders: each goes its way stage by stage until today catches up with it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from io import BytesIO

from sqlalchemy import select
from sqlalchemy.orm import Session
from workshop import OPERATOR, OWNER, Diary, check, lot, machine, mode, pitch_for

from logbook.actions import bench, jobs, leaving, orders, pictures, pitch, proofs, runs, sheets, strips
from logbook.actions.materials import material_named
from logbook.background.compute import work_on
from logbook.lengths import parse_length
from logbook.records.audit import Actor
from logbook.records.floor import Print, Run, RunPiece, Sheet
from logbook.records.orders import Job
from logbook.rules.stages import ROLLER_STAGES

HOURS = {
    "order": 0.0,
    "proof": 1,
    "answer": 20,
    "pitch": 21,
    "run": 21.2,
    "accept": 21.4,
    "print": 22,
    "dry": 47,
    "adhesive": 48,
    "laminate": 48.4,
    "dwell": 73,
    "trim": 73.5,
    "inspect": 74,
    "pack": 122,
}
"""When each step of a job is done, in hours after its order."""
STEPS = tuple(HOURS)
COUNTS = (("1", "1/2", "0", "1/2", "1"), ("1 1/4", "3/4", "1/4", "1/4", "3/4"), ("1", "1/2", "1/4", "1/2", "1"))
"""What readers count in a pitch strip's five bands: as expected, or a little off."""
DRAWN = Sequence[tuple[str, Callable[[], bytes]]]


@dataclass
class Plan:
    """One order of the demo: how far it has come, and what is special about it."""

    customer: str
    artwork: str
    drawn: DRAWN
    done: str
    lens: str = "R20-4471"
    quantity: int = 1
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
    begun: datetime | None = None


class Telling:
    """Tells one plan into the diary."""

    def __init__(self, diary: Diary, plan: Plan) -> None:
        self.diary, self.plan, self.code = diary, plan, ""
        reached = HOURS[plan.done]
        self.start = plan.begun or diary.now - timedelta(hours=reached + 1.5)

    def tell(self) -> None:
        """Every step up to the one that is done."""
        for step in STEPS[: STEPS.index(self.plan.done) + 1]:
            self._step(step, self.start + timedelta(hours=HOURS[step]))

    def _step(self, step: str, when: datetime) -> None:
        if step == "order":
            self.diary.outside(when, self._order)
        elif step == "proof":
            self.diary.outside(when, self._proof)
        elif step == "run":
            self.diary.act(when, OPERATOR, self._ask)
            self.diary.outside(when + timedelta(minutes=2), self._compute)
        elif step in ("answer", "pitch", "accept"):
            self.diary.act(when, OWNER, getattr(self, f"_{step}"))
        elif step in ROLLER_STAGES:
            self.diary.act(when, OPERATOR, lambda session, by: self._rollers(session, by, step))
        else:
            who = OWNER if step == "inspect" else OPERATOR
            self.diary.act(when, who, lambda session, by: self._bench(session, by, step))

    # --- the office

    def _order(self, at: datetime) -> None:
        files = [(name, BytesIO(draw())) for name, draw in self.plan.drawn]
        with pictures.received(self.diary.shop.store, files) as taken:
            self.diary._do(at, OWNER, lambda session, by: self._place(session, by, taken))

    def _place(self, session: Session, by: Actor, taken: list[pictures.Intake]) -> None:
        plan = self.plan
        wish = orders.JobWish(
            width=parse_length("80mm"),
            height=parse_length("100mm"),
            flip=plan.flip,
            artwork=plan.artwork,
            quantity=plan.quantity,
            price=Decimal(plan.price) if plan.price else None,
        )
        own = self.diary.shop.settings.own_safety_path
        job = orders.place_order(
            session,
            by,
            own,
            customer_name=plan.customer,
            wish=wish,
            note=plan.note,
            due_on=(self.diary.now + timedelta(days=plan.due_in)).date(),
        )
        self.code = job.code
        pictures.add_pictures(session, by, self.diary.shop.store, job=job, taken=taken)
        paper = material_named(session, "satin 260")
        assert paper is not None
        jobs.choose_materials(
            session,
            by,
            job=job,
            choice=jobs.MaterialChoice(
                lens_lot=lot(session, plan.lens),
                mode=mode(session),
                paper=paper,
                paper_lot=lot(session, "S-118"),
                adhesive_lot=lot(session, "CF-31"),
                temperature_c=Decimal("22.5"),
                humidity_percent=Decimal(49),
            ),
        )

    def job(self, session: Session) -> Job:
        """The plan's job."""
        return session.execute(select(Job).where(Job.code == self.code)).scalar_one()

    def _proof(self, at: datetime) -> None:
        if not self.plan.customer:
            return
        with self.diary.shop.database.reading() as session:
            draft = proofs.draw(self.diary.shop.store, self.job(session))
        self.diary.act(
            at, OPERATOR, lambda session, by: proofs.keep_proof(session, by, job=self.job(session), draft=draft)
        )

    def _answer(self, session: Session, by: Actor) -> None:
        if self.plan.customer:
            proofs.record_answer(
                session,
                by,
                proof=self.job(session).proofs[-1],
                verdict=self.plan.answer,
                how="e-mail",
                words=self.plan.words,
            )

    def _pitch(self, session: Session, by: Actor) -> None:
        job = self.job(session)
        chosen = jobs.materials_of(session, job)
        assert chosen is not None
        if self.plan.nominal:
            wanted = pitch.take_nominal(
                session,
                by,
                conditions=pitch.Conditions(
                    lens_lot=chosen.lens_lot, mode=chosen.mode, paper=chosen.paper, axis=jobs.axis_of(job)
                ),
            )
        else:
            wanted = pitch_for(session, self.plan.lens, jobs.axis_of(job))
        pitch.choose(session, by, job=job, pitch=wanted, reason="it served well before")

    def _ask(self, session: Session, by: Actor) -> None:
        runs.ask_for(session, by, job=self.job(session), wish=runs.RunWish(sample=self.plan.sample, waste=True))

    def _run(self, session: Session) -> Run:
        return (
            session.execute(
                select(Run).join(RunPiece).join(Job, RunPiece.job_id == Job.id).where(Job.code == self.code)
            )
            .scalars()
            .one()
        )

    def _compute(self, at: datetime) -> None:
        with self.diary.shop.database.reading() as session:
            run_id = self._run(session).id
        work_on(self.diary.shop, run_id, clock=lambda: at)

    def _accept(self, session: Session, by: Actor) -> None:
        run = self._run(session)
        runs.accept(session, by, run=run)
        sheets.start_sheets(session, by, run=run, count=self.plan.quantity)

    # --- the bench

    def _sheets(self, session: Session, stage: str) -> list[Sheet]:
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

    def _pieces(self, session: Session, stage: str) -> list[Print]:
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
            for number, piece in enumerate(self._pieces(session, stage)):
                self._last_stages(session, by, stage, piece, number)
            return
        subjects: list = self._pieces(session, stage) if stage == "trim" else self._sheets(session, stage)
        if stage == "print":
            self._tap(session, by, subjects)
        tool = machine(session, "Wheel cutter") if stage == "trim" else None
        if tool is not None:
            check(session, by, self.diary.shop.settings.own_safety_path, "Wheel cutter")
        values = {"trim-width": "80.0", "trim-height": "100.2", "dwell-bow": "0.4", "print-scale": "100"}
        bench.sign_stage(
            session,
            by,
            subjects=subjects,
            stage=stage,
            signature=bench.Signature(values=values, machine=tool, reason="as agreed"),
        )

    def _tap(self, session: Session, by: Actor, waiting: list[Sheet]) -> None:
        """The pitch strip beside each print, where there is one: five counts, not always the expected ones."""
        for number, sheet in enumerate(sheet for sheet in waiting if strips.plan_of(sheet.run) is not None):
            told = COUNTS[(len(self.plan.artwork) + number) % len(COUNTS)]
            strips.record_counts(session, by, sheet=sheet, counts=dict(enumerate(told, start=1)))

    def _last_stages(self, session: Session, by: Actor, stage: str, piece: Print, number: int) -> None:
        if stage == "pack":
            leaving.leave(session, by, piece=piece, way=leaving.WayOut(how="collected", on=by.now.date()), values={})
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
                reason="" if result == "passed" else "ghosting too strong",
            ),
        )

    def _rollers(self, session: Session, by: Actor, stage: str) -> None:
        check(session, by, self.diary.shop.settings.own_safety_path, "Rosa")
        waiting = self._sheets(session, stage)
        ticks = frozenset(step.key for step in bench.stage_definition(waiting[0]).steps if step.record == "tick")
        bench.start_rollers(
            session,
            by,
            sheets=waiting,
            stage=stage,
            start=bench.RollerStart(
                machine=machine(session, "Rosa"), helper=None, alone_with="Ilse looks in every half hour", ticks=ticks
            ),
        )
        bench.sign_stage(session, by, subjects=waiting, stage=stage, signature=bench.Signature(values={}))


def decide(diary: Diary, telling: Telling, when: datetime, kind: str, reason: str) -> None:
    """What becomes of the piece that failed its inspection."""

    def verdict(session: Session, by: Actor) -> None:
        failed = [piece for piece in telling._pieces(session, "inspect") if leaving.failed_inspection(session, piece)]
        leaving.decide(session, by, piece=failed[0], kind=kind, reason=reason)

    diary.act(when, OWNER, verdict)


def half_done(diary: Diary, telling: Telling, stage: str) -> None:
    """A job that was begun before the logbook enters at a stage."""
    diary.act(
        telling.start + timedelta(hours=1),
        OWNER,
        lambda session, by: sheets.enter_midway(
            session,
            by,
            job=telling.job(session),
            stage=stage,
            count=1,
            note="begun before the logbook, pitch in the blue notebook",
        ),
    )
