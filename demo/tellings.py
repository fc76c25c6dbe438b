"""The demo's orders: each goes its way stage by stage until today catches up with it."""

from datetime import datetime, timedelta
from decimal import Decimal
from io import BytesIO

from benchwork import BenchWork, Plan
from sqlalchemy import select
from sqlalchemy.orm import Session
from workshop import OPERATOR, OWNER, Diary, lot, mode, pitch_for

from logbook.actions import jobs, leaving, orders, pictures, pitch, pitchchoices, proofs, reorders, runs, sheets
from logbook.actions.heirlooms import Shelves
from logbook.actions.materials import material_named
from logbook.background.compute import work_on
from logbook.lengths import parse_length
from logbook.records.audit import Actor
from logbook.records.floor import Run, RunPiece
from logbook.records.orders import Customer, Job, Order
from logbook.rules.stages import ROLLER_STAGES

HOURS = {
    "order": 0.0,
    "proof": 1,
    "answer": 20,
    "pitch": 21,
    "ask": 21.2,
    "run": 21.25,
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


class Telling(BenchWork):
    """Tells one plan into the diary."""

    def __init__(self, diary: Diary, plan: Plan) -> None:
        super().__init__(diary, plan)
        self.start = diary.now - timedelta(hours=HOURS[plan.done] + plan.hours_ago)

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
            self.diary.outside(when, self._compute)
        elif step in ("answer", "pitch", "accept"):
            self.diary.act(when, OWNER, getattr(self, f"_{step}"))
        elif step == "ask":
            self.diary.act(when, OPERATOR, self._ask)
        elif step in ROLLER_STAGES:
            self.diary.act(when, OPERATOR, lambda session, by: self._rollers(session, by, step))
        else:
            who = OWNER if step == "inspect" else OPERATOR
            self.diary.act(when, who, lambda session, by: self._bench(session, by, step))

    # --- the office

    def _order(self, at: datetime) -> None:
        if self.plan.again:
            self.diary.do(at, OWNER, self._order_again)
            return
        files = [(name, BytesIO(draw())) for name, draw in self.plan.drawn]
        with pictures.received(self.diary.shop.store, files) as taken:
            self.diary.do(at, OWNER, lambda session, by: self._place(session, by, taken))

    def _order_again(self, session: Session, by: Actor) -> None:
        plan, shop = self.plan, self.diary.shop
        found = select(Job).join(Order).join(Customer).where(Customer.name == plan.customer, Job.ended_at.is_not(None))
        old = session.execute(found.where(Job.artwork == plan.artwork)).scalars().one()
        due = (self.diary.now + timedelta(days=plan.due_in)).date()
        again = reorders.Again(due_on=due, note=plan.note, quantity=plan.quantity)
        shelves = Shelves(shop.store, shop.settings.own_safety_path)
        self.code = reorders.order_again(session, by, shelves, jobs=[old], again=again).jobs[0].code

    def _place(self, session: Session, by: Actor, taken: list[pictures.Intake]) -> None:
        plan = self.plan
        wish = orders.JobWish(
            width=parse_length(f"{plan.size[0]}mm"),
            height=parse_length(f"{plan.size[1]}mm"),
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
            draft = proofs.drawing(self.diary.shop.store, self.job(session))()
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
        if jobs.pitch_of(session, job) is not None:  # taken over from before
            return
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
        pitchchoices.choose(session, by, job=job, pitch=wanted, reason="it served well before")

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


def decide(
    diary: Diary, telling: Telling, when: datetime, kind: str, reason: str, *, cause: str = "", word: str = ""
) -> None:
    """What becomes of the piece that failed its inspection; of a concession, the customer's word."""

    def verdict(session: Session, by: Actor) -> None:
        failed = [piece for piece in telling.pieces(session, "inspect") if leaving.failed_inspection(session, piece)]
        leaving.decide(session, by, piece=failed[0], kind=kind, reason=reason, cause=cause, word=word)

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
