"""A small shop for tests of acts: one owner, one operator, everything a print needs; sizes that compute in a moment."""

import atexit
import os
import shutil
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any
from unittest import mock

from sqlalchemy import select

from logbook.actions import (
    atrollers,
    bench,
    benchrecords,
    ghosting,
    jobs,
    leakcorrections,
    leaks,
    leaving,
    machines,
    materials,
    orders,
    papers,
    people,
    pictures,
    pitch,
    pitchchoices,
    printers,
    proofs,
    runs,
    sheets,
)
from logbook.background.compute import work_on
from logbook.lengths import parse_length
from logbook.paper.shelf import read_shelf
from logbook.records.audit import Actor
from logbook.records.floor import Print, Run
from logbook.records.machines import Machine, PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.opened import Shop, open_shop
from logbook.records.orders import Job
from logbook.records.people import Person
from logbook.records.pitch import PitchOnRecord
from logbook.rules.traits import machine_traits
from logbook.settings import DATABASE_VARIABLE, Settings
from support.both import Harbour, opened_copy
from support.shop_walk import PHOTOGRAPHS

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
CUSTOMER = "Quillon & Daughters"
WORDS = "Lovely, go ahead"
PRINTER_FACTS = {
    "prints_with": "pigment ink, its sheet in drawer A",
    "scaling_off": "own sheet size, 100 %, no sharpening",
    "dry_hours": Decimal(24),
    "manual": "Maker's manual, drawer A",
    "isolator": "plug behind it",
}


@dataclass
class SmallShop:
    """An opened shop and a clock that only goes forward."""

    shop: Shop
    now: datetime = START
    untouched: bool = False
    """Whether it is as ``small_shop`` made it."""

    def act(self, work: Any, *, who: str = "Olga", **changes: Any) -> Any:
        """One act in its own transaction; ``changes`` alter the actor (request_id, role)."""
        self.untouched = False
        self.now += timedelta(minutes=1)
        with self.shop.database.writing() as session:
            person = session.execute(select(Person).where(Person.name == who)).scalar_one()
            by = replace(Actor(person.id, person.name, person.role, self.now), **changes)
            return work(session, by)

    def read(self, work: Any) -> Any:
        """Look something up."""
        with self.shop.database.reading() as session:
            return work(session)

    def wait(self, **span: float) -> None:
        """Time goes by."""
        self.now += timedelta(**span)

    # --- the way of a job

    def order(self, *, customer: str = CUSTOMER, quantity: int = 1, files: list[Path] | None = None) -> str:
        """A job with its pictures and materials; returns its code."""
        wish = orders.JobWish(
            width=parse_length("70mm"), height=parse_length("80mm"), flip="left-right", quantity=quantity
        )

        def place(session, by):
            job = orders.place_order(session, by, self.shop.settings.own_safety_path, customer_name=customer, wish=wish)
            return job.code

        code = self.act(place)
        self.add_pictures(code, files or PHOTOGRAPHS)
        self.act(
            lambda session, by: jobs.choose_materials(
                session,
                by,
                job=job(session, code),
                choice=jobs.MaterialChoice(
                    lens_lot=one(session, Lot, label="L-1"),
                    mode=one(session, Machine, name="Printer").modes[0],
                    paper=one(session, Material, name="paper"),
                    paper_lot=one(session, Lot, label="P-1"),
                    adhesive_lot=one(session, Lot, label="A-1"),
                ),
            )
        )
        return code

    def add_pictures(self, code: str, files: list[Path]) -> None:
        """Real photographs, received as a form would."""
        streams = [(path.name, path.open("rb")) for path in files]
        try:
            with pictures.received(self.shop.store, streams) as taken:
                self.act(
                    lambda session, by: pictures.add_pictures(
                        session, by, self.shop.store, job=job(session, code), taken=taken
                    )
                )
        finally:
            for _, stream in streams:
                stream.close()

    def approve(self, code: str) -> None:
        """Proof and the customer's word."""
        draft = self.read(lambda session: proofs.drawing(self.shop.store, job(session, code))())
        self.act(lambda session, by: proofs.keep_proof(session, by, job=job(session, code), draft=draft))
        self.act(
            lambda session, by: proofs.record_answer(
                session, by, proof=job(session, code).proofs[-1], verdict="approved", how="e-mail", words=WORDS
            )
        )

    def choose_pitch(self, code: str) -> str:
        """The carried-over pitch, with a reason; returns its code."""

        def choose(session, by):
            wanted = one(session, PitchOnRecord, origin="carried over")
            asked = pitchchoices.findings_for(session, by, job=job(session, code), pitch=wanted)
            reasons = {found.field: "it served before" for found in asked}
            reason = "it served before"
            pitchchoices.choose(session, by, job=job(session, code), pitch=wanted, reason=reason, reasons=reasons)
            return wanted.code

        return self.act(choose)

    def measure_leak(self, *, turned: str = "4") -> None:
        """A leak sheet at the pitch on record, read; ``turned``: the patch that shows the mark reversed."""
        drawn = self.read(lambda session: leaks.draw(self.shop.store, leaks.may_serve(session)[-1]))

        def read(session, by):
            made = leaks.keep_sheet(session, by, pitch=leaks.may_serve(session)[-1], drawn=drawn)
            taps = leaks.Taps(dict.fromkeys(leaks.ROWS, ("2", turned)), {8: 8, 4: 8, 2: 8})
            leaks.read_sheet(session, by, made=made, taps=taps)

        self.act(read)

    def correct_leak(self, code: str, which: str) -> None:
        """Choose how a job's pictures are corrected for the leak."""
        looked = self.read(lambda session: ghosting.looked_at(session, self.shop.store, job(session, code)))
        choice = leakcorrections.offered(looked).of(which)
        self.act(lambda session, by: leakcorrections.choose(session, by, job=job(session, code), choice=choice))

    def run(self, code: str, *, sample: bool = False, accept: bool = True) -> int:
        """Ask, compute, accept with one sheet per piece; returns the run's id."""
        run_id = self.act(
            lambda session, by: runs.ask_for(session, by, job=job(session, code), wish=runs.RunWish(sample=sample)).id
        )
        work_on(self.shop, run_id, clock=lambda: self.now)
        if accept:
            self.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
            self.act(
                lambda session, by: sheets.start_sheets(
                    session, by, run=session.get_one(Run, run_id), count=1 if sample else job(session, code).quantity
                )
            )
        return run_id

    def ready(self, **order: Any) -> str:
        """A job whose sheets stand before the printer; as the first work of a shop it is done once and copied."""
        wanted, untouched = repr((Harbour.now is None, sorted(order.items()))), self.untouched
        if untouched and wanted in _READY:
            self.untouched = False
            folder, self.now, code, template = _READY[wanted]
            _copy_over(folder, template, self.shop)
            return code
        code = self._made_ready(order)
        if untouched:
            self.shop.database.close()
            kept = Path(mkdtemp(dir=_made_once().parent)) / "data"
            shutil.copytree(self.shop.settings.data, kept)
            _READY[wanted] = kept, self.now, code, Harbour.now.kept_as_it_is() if Harbour.now else ""
        return code

    def _made_ready(self, order: dict[str, Any]) -> str:
        code = self.order(**order)
        if order.get("customer", CUSTOMER):
            self.approve(code)
        self.choose_pitch(code)
        self.run(code)
        return code

    def traveller(self, code: str) -> papers.Gathered:
        """A job's traveller as it stands."""
        return self.act(
            lambda session, by: papers.traveller(
                session,
                by,
                job=job(session, code),
                store=self.shop.store,
                own_safety=self.shop.settings.own_safety_path,
                address="http://127.0.0.1/",
            )
        )

    # --- the bench

    def sign(
        self, code: str, stage: str, *, reason: str = "", values: dict[str, str] | None = None, who: str = "Olga"
    ) -> None:
        """Sign a stage of everything of a job that stands there."""

        def work(session, by):
            subjects = standing(session, code, stage)
            bench.sign_stage(
                session,
                by,
                subjects=subjects,
                stage=stage,
                signature=bench.Signature(values=values or {}, reason=reason),
            )

        self.act(work, who=who)

    def roll(self, code: str, stage: str, *, who: str = "Olga") -> None:
        """Set up at the rollers and sign when they have stopped."""
        self.check_machine()

        def start(session, by):
            waiting = standing(session, code, stage)
            steps = benchrecords.stage_definition(waiting[0]).steps
            ticks = frozenset(step.key for step in steps if step.record == "tick")
            atrollers.start_rollers(
                session,
                by,
                sheets=waiting,
                stage=stage,
                start=atrollers.RollerStart(
                    machine=one(session, Machine, name="Rollers"),
                    helper=None,
                    alone_with="Jon calls at noon",
                    ticks=ticks,
                ),
            )

        self.act(start, who=who)
        self.sign(code, stage, who=who)

    def check_machine(self) -> None:
        """Today's check of the laminator."""

        def check(session, by):
            machine = one(session, Machine, name="Rollers")
            items = read_shelf(self.shop.settings.own_safety_path).machine_check.items_for(
                "laminator", machine_traits(drive="powered")
            )
            answers = {item.key: "yes" if item.record == "yes-no" else "" for item in items}
            machines.check_machine(session, by, machine=machine, items=items, answers=answers)

        self.act(check)

    def mount(self, code: str) -> None:
        """From the printer to the trimmer, every wait waited."""
        self.sign(code, "print")
        self.wait(hours=25)
        self.sign(code, "dry")
        self.roll(code, "adhesive")
        self.roll(code, "laminate")
        self.wait(hours=25)
        self.sign(code, "dwell")
        self.sign(code, "trim")

    def inspect(self, code: str, result: str = "passed") -> None:
        """Inspect everything of a job that waits for it."""
        self.sign(code, "inspect", values={"inspect-result": result}, who="Otto")

    def leave(self, code: str, **way: Any) -> None:
        """Let everything go that is packed."""
        self.wait(hours=80)

        def go(session, by):
            for piece in standing(session, code, "pack"):
                leaving.leave(
                    session, by, piece=piece, way=leaving.WayOut(how="collected", on=by.day, **way), values={}
                )

        self.act(go)


_READY: dict[str, tuple[Path, datetime, str, str]] = {}
"""Shops with a job that is ready, by what was ordered: folder, clock, the job's code, a database on the server."""


def _copy_over(folder: Path, template: str, shop: Shop) -> None:
    shop.database.close()
    if Harbour.now:
        Harbour.now.put_back(template)
    shutil.rmtree(shop.settings.data)
    shutil.copytree(folder, shop.settings.data)


def job(session: Any, code: str) -> Job:
    """A job by its code."""
    return session.execute(select(Job).where(Job.code == code)).scalar_one()


def one(session: Any, table: Any, **named: Any) -> Any:
    """The one row whose columns have these values."""
    return session.execute(select(table).filter_by(**named)).scalar_one()


def prints(session: Any, code: str) -> list[Print]:
    """Every print of a job, oldest first."""
    return list(
        session.execute(
            select(Print).join(Job, Print.job_id == Job.id).where(Job.code == code).order_by(Print.id)
        ).scalars()
    )


def standing(session: Any, code: str, stage: str) -> list[Any]:
    """Sheets or prints of a job that stand at a stage."""
    pieces = prints(session, code)
    on_sheets = [sheet for sheet in dict.fromkeys(piece.sheet for piece in pieces) if sheet.stage == stage]
    return on_sheets or [piece for piece in pieces if piece.stage == stage]


def small_shop(folder: Path) -> SmallShop:
    """A shop in this folder with all that a print needs: a copy of one that is made once, codes and passwords too."""
    return SmallShop(opened_copy(_made_once(), folder), _EQUIPPED_AT, untouched=True)


_EQUIPPED_AT = START + timedelta(minutes=2)


@lru_cache(maxsize=1)
def _made_once() -> Path:
    base = Path(mkdtemp(prefix="small-shop-"))
    atexit.register(shutil.rmtree, base)
    with mock.patch.dict(os.environ):  # in a file, whatever the test that comes first asks for
        os.environ.pop(DATABASE_VARIABLE, None)
        made = new_shop(base / "data")
    assert made.now == _EQUIPPED_AT
    made.shop.database.close()
    return base / "data"


def new_shop(folder: Path, *, now: datetime = START) -> SmallShop:
    """The same, made anew: another shop than any other."""
    made = SmallShop(open_shop(Settings(data=folder)), now)
    with made.shop.database.writing() as session:
        people.found_shop(
            session,
            Actor(None, "nobody yet", "none", now),
            shop_name="Test",
            name="Olga",
            password="ridge-and-valley",
        )
    made.act(
        lambda session, by: people.add_person(session, by, name="Otto", password="ridge-and-valley", role="operator")
    )
    made.act(_equip)
    return made


def described_printer(session: Any, by: Actor, name: str, *, dpi: str) -> PrinterMode:
    """A printer of which everything is known, with one mode that its driver takes as it is."""
    mode = machines.add_printer(session, by, name=name, dpi=dpi)
    printers.describe(session, by, machine=mode.machine, values={**PRINTER_FACTS, "native_dpi": dpi})
    return mode


def _equip(session: Any, by: Actor) -> None:
    mode = described_printer(session, by, "Printer", dpi="300")
    rollers = machines.add_machine(session, by, kind="laminator", name="Rollers", drive="powered")
    machines.set_machine_facts(session, by, machine=rollers, values=dict.fromkeys(machines.FACT_FIELDS, "written down"))
    for name in ("Olga", "Otto"):
        machines.authorise(
            session,
            by,
            machine=rollers,
            person=one(session, Person, name=name),
            until=by.now.date() + timedelta(days=400),
            reread=True,
        )
    lens = materials.add_material(
        session,
        by,
        kind="lens",
        name="",
        nominal_lpi=Decimal(20),
        thickness=parse_length("2.4mm"),
        refractive_index=Decimal("1.57"),
    )
    paper = materials.add_material(session, by, kind="paper", name="paper")
    film = materials.add_material(session, by, kind="adhesive", name="film")
    lots = [
        materials.add_lot(session, by, material=row, label=label, count=50)
        for row, label in ((lens, "L-1"), (paper, "P-1"), (film, "A-1"))
    ]
    pitch.carry_over(
        session,
        by,
        conditions=pitch.Conditions(
            lens_lot=lots[0], mode=mode, paper=paper, axis="across", distance=parse_length("0.6m")
        ),
        lpi=Decimal("20.07"),
        note="old notebook",
        known_since=by.now - timedelta(days=30),
    )
