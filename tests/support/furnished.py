"""The demo's workshop with what an ordinary day there lacks, made through the actions.

Somebody stands at the rollers, a piece has failed, a machine is out of use, a run was stopped, a lot lies aside and a
pitch test is half way.
"""

import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import (
    atrollers,
    backups,
    bench,
    benchrecords,
    leaks,
    machines,
    materials,
    people,
    pictures,
    pitch,
    pitchcharts,
    pitchphotos,
    pitchreadings,
    places,
    repairs,
    runs,
    sharing,
    sheets,
    staff,
)
from logbook.background.compute import work_on
from logbook.background.opening import PictureOpener
from logbook.lengths import parse_length
from logbook.records.audit import Actor
from logbook.records.backup import BackupWish, back_up
from logbook.records.floor import Print, Run, Sheet
from logbook.records.keeping import KeepingRun
from logbook.records.machines import Machine, PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.opened import Shop, open_shop
from logbook.records.orders import Job
from logbook.records.people import Person
from logbook.records.pitch import PitchTest
from logbook.settings import Settings
from support.photographed import INDEX, THICKNESS_MM, photograph_of

_TOLD = re.compile(r"Sign in as (.+) \((\w+)\), password (\S+)")
SPARE = "Spare rollers"
LOT_ASIDE = "crate 13"
TABLET_CODE = "ABCD2345EFGH"
"""Enrols a tablet in the furnished shop; kept for a day, since a run of tests takes longer than a real code serves."""


def furnish(folder: Path, root: Path) -> None:
    """Load the demo of the project at ``root`` into a folder and add what it lacks."""
    command = [sys.executable, "demo/scenario.py", "--data", folder]
    told = subprocess.run(command, cwd=root, check=True, capture_output=True, text=True).stdout
    _people_beside(folder).write_text(told, encoding="utf-8")
    shop = open_shop(Settings(data=folder))
    for work in (_rollers, _failed, _out_of_use, _stopped_run, _lot_aside, _half_a_test, _mended, _place, _gone):
        with shop.database.writing() as session:
            work(session, _owner(session))
    _chart(shop)
    _shared(shop)
    _photograph(shop)
    _leak_sheets(shop)
    _backed_up(shop)
    shop.database.close()


def _people_beside(folder: Path) -> Path:
    return folder.with_name(f"{folder.name}.people")


def sign_in_as(folder: Path, role: str) -> tuple[str, str]:
    """Name and password of the demo's owner, operator or viewer, as loading it told them."""
    told = _TOLD.findall(_people_beside(folder).read_text(encoding="utf-8"))
    return next((name, password) for name, its_role, password in told if its_role == role)


def _owner(session: Session) -> Actor:
    person = session.execute(select(Person).where(Person.role == "owner")).scalars().one()
    return Actor(person.id, person.name, person.role, datetime.now(UTC), None)


def _half_done(session: Session, by: Actor, stage: str) -> Sheet:
    job = session.execute(select(Job).where(Job.entered_at_stage.is_not(None))).scalars().one()
    return sheets.enter_midway(session, by, job=job, stage=stage, count=1)[0]


def _rollers(session: Session, by: Actor) -> None:
    sheet = _half_done(session, by, "laminate")
    ready = session.execute(select(Machine).where(Machine.kind == "laminator", Machine.manual != "")).scalars().one()
    ticks = frozenset(step.key for step in benchrecords.stage_definition(sheet).steps if step.record == "tick")
    start = atrollers.RollerStart(machine=ready, helper=None, alone_with="Tomas looks in at three", ticks=ticks)
    atrollers.start_rollers(session, by, sheets=[sheet], stage="laminate", start=start)


def _failed(session: Session, by: Actor) -> None:
    piece = _half_done(session, by, "inspect").prints[0]
    signature = bench.Signature(values={"inspect-result": "failed", "inspect-ghosting": "4"}, reason="bands all over")
    bench.sign_stage(session, by, subjects=[piece], stage="inspect", signature=signature)


def _out_of_use(session: Session, by: Actor) -> None:
    spare = machines.add_machine(session, by, kind="laminator", name=SPARE, drive="powered", heated=True)
    machines.take_out_of_use(session, by, machine=spare, reason="the exit side's stop does not hold")


def _stopped_run(session: Session, by: Actor) -> None:
    sample = session.execute(select(Print).where(Print.sample)).scalars().first()
    assert sample is not None
    run = runs.ask_for(session, by, job=sample.job, wish=runs.RunWish(sample=True))
    runs.cancel(session, by, run=run)


def _shared(shop: Shop) -> None:
    """Two copies of one job on a sheet of their own, ready for the printer."""

    def ask(session: Session, by: Actor) -> int:
        job = session.execute(select(Job).where(Job.quantity == 5)).scalars().one()
        width, height = (parse_length(f"{float(side.mm) * 2.4 + 30:.0f} mm") for side in (job.width, job.height))
        wish = sharing.SheetWish((sharing.Share(job, 2),), width, height)
        asked = sharing.proposed(session, by, wish).findings
        return sharing.ask_for(session, by, replace(wish, reasons={one.field: "as before" for one in asked})).id

    with shop.database.writing() as session:
        run_id = ask(session, _owner(session))
    work_on(shop, run_id)
    with shop.database.writing() as session:
        by, run = _owner(session), session.get_one(Run, run_id)
        runs.accept(session, by, run=run)
        sheets.start_sheets(session, by, run=run, count=1)


def _lot_aside(session: Session, by: Actor) -> None:
    lens = session.execute(select(Material).where(Material.kind == "lens")).scalars().first()
    assert lens is not None
    lot = materials.add_lot(session, by, material=lens, label=LOT_ASIDE, count=3)
    materials.set_lot_aside(session, by, lot=lot, reason="scratched in the crate")


def _half_a_test(session: Session, by: Actor) -> None:
    lot = session.execute(select(Lot).join(Material).where(Material.nominal_lpi == 20)).scalars().first()
    mode = session.execute(select(PrinterMode).order_by(PrinterMode.id)).scalars().first()
    paper = session.execute(select(Material).where(Material.kind == "paper")).scalars().first()
    assert lot is not None
    assert mode is not None
    assert paper is not None
    pitchcharts.start_test(
        session, by, conditions=pitch.Conditions(lens_lot=lot, mode=mode, paper=paper, axis="across")
    )


def _mended(session: Session, by: Actor) -> None:
    repairs.note_swept(session, by, temporary=2)


def _place(session: Session, by: Actor) -> None:
    made = places.new_place(session, by, name="Printer corner", stages=["print", "dry", "adhesive"])
    made.enrol_hash, made.enrol_until = people.token_hash(TABLET_CODE), by.now + timedelta(days=1)


def _gone(session: Session, by: Actor) -> None:
    person = people.add_person(session, by, name="Wanda Sorel", password="ridge-and-valley", role="operator")
    staff.let_go(session, by, person=person)


def _chart(shop: Shop) -> None:
    """Its first chart, read at both ends and in the middle only."""
    with shop.database.reading() as session:
        test = _open_test(session)
        drawn = pitchcharts.draw_chart(shop.store, test, pitchcharts.first_wish(test))
    with shop.database.writing() as session:
        made = pitchcharts.keep_chart(session, _owner(session), test=_open_test(session), drawn=drawn)
        last = len(pitchcharts.bands_of(made))
        # 19.5 to 20.5 over 190 mm, seen at 20.06: |difference| x 7.48 in, to the quarter
        counts = {1: "4 1/4", (last + 1) // 2: "1/2", last: "3 1/4"}
        pitchreadings.record_readings(session, _owner(session), made=made, counts=counts)


def _photograph(shop: Shop) -> None:
    """A second test, whose chart a photograph has read."""
    with shop.database.writing() as session:
        before = pitch.conditions_of(_open_test(session))
        pitchcharts.start_test(session, _owner(session), conditions=replace(before, distance=parse_length("600mm")))
    with shop.database.reading() as session:
        test = _newest_test(session)
        drawn = pitchcharts.draw_chart(shop.store, test, pitchcharts.first_wish(test))
    with shop.database.writing() as session:
        pitchcharts.keep_chart(session, _owner(session), test=_newest_test(session), drawn=drawn)
    with shop.database.reading() as session:
        content = BytesIO(photograph_of(shop.store, _newest_test(session).charts[0]))
    view = pitchphotos.View("file", parse_length("600mm"), parse_length(f"{THICKNESS_MM}mm"), Decimal(str(INDEX)))
    opener = PictureOpener()
    with pictures.received(shop.store, [("chart.jpg", content)]) as taken:
        with shop.database.reading() as session:
            told = opener.pitch(taken[0].waiting, **pitchphotos.asked(_newest_test(session).charts[0], view))
        with shop.database.writing() as session:
            made = _newest_test(session).charts[0]
            pitchphotos.keep_photo(
                session, _owner(session), shop.store, made=made, taken=taken[0], view=view, told=told
            )
    opener.close()


def _newest_test(session: Session) -> PitchTest:
    return session.execute(select(PitchTest).order_by(PitchTest.id.desc())).scalars().first()


def _leak_sheets(shop: Shop) -> None:
    """Two leak sheets at the oldest pitch that serves: one was read, one still waits."""
    for is_read in (True, False):
        with shop.database.reading() as session:
            drawn = leaks.draw(shop.store, leaks.may_serve(session)[-1])
        with shop.database.writing() as session:
            by = _owner(session)
            made = leaks.keep_sheet(session, by, pitch=leaks.may_serve(session)[-1], drawn=drawn)
            if is_read:
                rows = {"1": ("2", "4"), "2": ("2", "4"), "3": ("3", "5"), "4": ("1", "3")}
                leaks.read_sheet(session, by, made=made, taps=leaks.Taps(rows, {8: 8, 4: 8, 2: 8}))


def _backed_up(shop: Shop) -> None:
    """Onto a stick that lies beside the folder; the worker's trial of it failed."""
    stick = shop.settings.data.with_name("stick")
    stick.mkdir()
    made = back_up(shop, BackupWish(stick), now=datetime.now(UTC))
    with shop.database.writing() as session:
        by = _owner(session)
        backups.set_up(session, by, data=shop.settings.data, wanted=backups.Setup(stick))
        backups.note_made(session, by, made=made)
        trial = KeepingRun(kind="trial", state="running", folder=str(stick), asked_at=by.now)
        session.add(trial)
        session.flush()
        backups.fail(session, by, trial.id, "The stick was not in.")


def _open_test(session: Session) -> PitchTest:
    return session.execute(select(PitchTest).where(PitchTest.state == "open")).scalar_one()
