"""Every act writes exactly one entry that lists every object it touched, and nothing personal.

One story calls every act of the room. What an act touched is not asked of the
act: it is what the database session had to write.
"""

import importlib
import inspect
import json
import pkgutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, func, select, text, update
from sqlalchemy.orm import Session

import logbook.actions
from logbook.actions import (
    alignment,
    arriving,
    atrollers,
    authorisations,
    backups,
    badchecks,
    bench,
    benchrecords,
    depthorder,
    erasing,
    exporting,
    forecasts,
    ghosting,
    jobs,
    leakcorrections,
    leaks,
    leaving,
    lenses,
    lotpapers,
    machinehistory,
    machines,
    materials,
    onpaper,
    orderchanges,
    orders,
    outputs,
    paperchecks,
    papers,
    people,
    pictures,
    pins,
    pitch,
    pitchcharts,
    pitchchoices,
    pitchphotos,
    pitchreadings,
    places,
    printers,
    prooflinks,
    proofs,
    quotes,
    reorders,
    repairs,
    restoring,
    rollerpages,
    runs,
    sharing,
    sheets,
    shop,
    staff,
    steplists,
    strengths,
    strips,
    takingback,
    takingin,
    takingoff,
    texts,
    travellerbatches,
)
from logbook.actions.exporting import export_shop
from logbook.actions.finding import ref
from logbook.actions.heirlooms import Shelves
from logbook.background.compute import work_on
from logbook.lengths import parse_length
from logbook.manner import Manner
from logbook.records.audit import Actor, AuditEntry, AuditObject
from logbook.records.backup import BackupWish, back_up
from logbook.records.base import Coded
from logbook.records.floor import Run, Sheet
from logbook.records.leaks import LeakSheet
from logbook.records.machines import Machine
from logbook.records.manifest import Anchor, Manifest
from logbook.records.materials import Lot, Material, StockMove
from logbook.records.migrations.versions.v0026_left_after import SUMS
from logbook.records.orders import Customer, Job, Order
from logbook.records.people import Person
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchPhoto, PitchTest
from logbook.records.places import Place
from logbook.records.prooflinks import ProofLink
from logbook.records.quotes import Quote
from logbook.rules.stepedits import Row
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import PRINTER_FACTS, SmallShop, job, one, prints, small_shop, standing

NO_ENTRY = {
    "backups.begin": "noted when it ends",
    "leakcorrections.carry_over": "part of an order made again",
    "jobs.keep_materials": "part of a choice",
    "gluelots.findings": "looks only",
    "gluelots.at_the_rollers": "looks only",
    "runs.ready_for": "looks only",
    "sharing.candidates": "looks only",
    "sharing.proposed": "looks only",
    "heirlooms.heirloom": "looks only",
    "runs.asks_before": "looks only",
    "materials.move": "part of what brings or takes sheets",
    "machines.end_sessions": "part of taking a machine out of use",
    "machines.failed_check": "part of a check",
    "onpaper.expect_times": "looks only",
    "orders.new_job": "part of an order",
    "orders.new_order": "part of an order",
    "pitchchoices.keep_choice": "part of a choice",
    "benchfindings.findings_for": "looks only",
    "bench.findings_together": "looks only",
    "atrollers.is_set_up": "looks only",
    "atrollers.last_today": "looks only",
    "benchfindings.machine_findings": "looks only",
    "atrollers.open_session": "looks only",
    "atrollers.said_today": "looks only",
    "atrollers.rolled": "looks only",
    "atrollers.others_at_work": "looks only",
    "bench.sign_out": "part of leaving",
    "materials.consume": "part of a signature",
    "orders.close_if_done": "part of leaving",
    "papers.proof_sheet": "looks only",
    "papers.traveller": "looks only",
    "pitchchoices.findings_for": "looks only",
    "pins.end_pin": "part of taking it away and of going",
    "pitchfacts.facts_and_needs": "looks only",
    "sheets.replace_prints": "part of a verdict",
    "shop.current_step_list": "part of an order",
    "pitch.new_on_record": "part of an act that makes one",
    "pitch.put_on_record": "part of an act that makes one, such as a forecast",
    "shop.kept_revision": "part of an order, or of a change of the list",
    "takingback.last_tap": "looks only",
}
CUSTOMER, CONTACT, GIVEN_BY, WORDS = "Pellworm Kites", "Quay 7", "Imke Brodersen", "a little more blue, please"
SECRET = "ridge-and-valley"


def _acts() -> Iterator[str]:
    """Every public function of the room whose first two arguments are a session and somebody."""
    for found in pkgutil.iter_modules(logbook.actions.__path__):
        module = importlib.import_module(f"logbook.actions.{found.name}")
        for name, function in inspect.getmembers(module, inspect.isfunction):
            own = function.__module__ == module.__name__ and not name.startswith("_")
            if own and list(inspect.signature(function).parameters)[:2] == ["session", "by"]:
                yield f"{found.name}.{name}"


class Story:
    """Calls acts one after the other and keeps what each wrote."""

    def __init__(self, told: SmallShop) -> None:
        self.shop = told
        self.entries: dict[str, list[int]] = {}
        self.unlisted: dict[str, set[str]] = {}

    def tell(self, name: str, work: Any, *, who: str = "Olga") -> Any:
        """Do one act under its name and note how many entries it wrote, and what it wrote without listing it."""
        with _written(self.shop) as (touched, before):
            result = self.shop.act(work, who=who)
        entries, listed = self.shop.read(lambda session: _since(session, before))
        self.entries.setdefault(name, []).append(entries)
        self.unlisted.setdefault(name, set()).update(touched - listed)
        return result


class _written:  # noqa: N801 - reads as a word in a with statement
    """Watches what sessions write to rows that have a code."""

    def __init__(self, told: SmallShop) -> None:
        self.before = told.read(lambda session: session.execute(select(func.max(AuditEntry.id))).scalar_one() or 0)
        self.rows: list[Coded] = []
        self.touched: set[str] = set()

    def __enter__(self) -> tuple[set[str], int]:
        event.listen(Session, "before_flush", self._flushed)
        event.listen(Session, "after_flush", self._named)
        return self.touched, self.before

    def __exit__(self, *_: object) -> None:
        event.remove(Session, "before_flush", self._flushed)
        event.remove(Session, "after_flush", self._named)

    def _flushed(self, session: Session, *_: object) -> None:
        changed = [row for row in session.dirty if session.is_modified(row, include_collections=False)]
        self.rows = [row for row in [*session.new, *changed] if isinstance(row, Coded)]

    def _named(self, *_: object) -> None:
        self.touched.update(ref(row) for row in self.rows)


def _since(session: Session, before: int) -> tuple[int, set[str]]:
    count = session.execute(select(func.count(AuditEntry.id)).where(AuditEntry.id > before)).scalar_one()
    listed = session.execute(select(AuditObject.ref).where(AuditObject.entry_id > before)).scalars()
    return count, set(listed)


def chapters(folder: Path) -> list[Callable[[Story], object]]:
    """The parts of the story in their order; what it hands out lies in ``folder``."""
    codes: list[str] = []
    return [
        _people_and_shop,
        _tablets_and_pins,
        _equipment,
        _pitches,
        lambda told: codes.append(_office(told)),
        lambda told: _runs(told, codes[0]),
        lambda told: _bench(told, codes[0], folder),
        _quotes,
        _doubt,
        _after_a_loss,
        _photographed,
    ]


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Story]:
    folder = tmp_path_factory.mktemp("every act")
    told = Story(small_shop(folder / "data"))
    for chapter in chapters(folder):
        chapter(told)
    yield told
    told.shop.shop.database.close()


def _person(session: Session, name: str) -> Person:
    return one(session, Person, name=name)


def _links(session: Session) -> list[ProofLink]:
    return list(session.execute(select(ProofLink).order_by(ProofLink.id)).scalars())


def _optics(session: Session, _by: Actor) -> None:
    sheet = one(session, Lot, label="L-1").material
    sheet.thickness, sheet.refractive_index = parse_length("3mm"), Decimal("1.56")


def _take_forecast(session: Session, by: Actor) -> None:
    known = (
        session.execute(select(PitchOnRecord).where(PitchOnRecord.origin == "test").order_by(PitchOnRecord.id.desc()))
        .scalars()
        .first()
    )
    assert known is not None
    wanted = pitch.Conditions(
        lens_lot=known.lens_lot, mode=known.mode, paper=known.paper, axis=known.axis, distance=parse_length("1m")
    )
    found = forecasts.of(session, wanted)
    assert found is not None
    forecasts.take(session, by, found=found)


def _mount_only(session: Session, by: Actor) -> None:
    of = session.execute(select(Job).order_by(Job.id)).scalars().first()
    assert of is not None
    of.kind = "mount-only"  # as if it had been ordered so
    sheets.start_mounting(session, by, job=of, what=sheets.Mounting(one(session, Lot, label="L-1")))
    of.kind = "print"


def _change_steps(session: Session, by: Actor, told: Story) -> None:
    own = told.shop.shop.settings.own_safety_path
    rows = [
        Row(step.key, number, step.text, step.text_alone, step.text_two, step.record, required=step.required)
        for number, step in enumerate(steplists.standing(session, own).steps.stage("dry").steps)
    ]
    steplists.change_stage(session, by, own, stage="dry", rows=[*rows, Row("", 0, "Note where it lies.")])


def _people_and_shop(told: Story) -> None:
    # the shop was founded and equipped by the fixture; its first entry is the founding
    told.entries["people.found_shop"] = [
        told.shop.read(
            lambda session: session.execute(
                select(func.count(AuditEntry.id)).where(AuditEntry.action == "shop founded")
            ).scalar_one()
        )
    ]
    told.tell(
        "people.add_person",
        lambda session, by: people.add_person(session, by, name="Nell", password=SECRET, role="viewer").id,
    )
    told.tell(
        "people.change_password",
        lambda session, by: people.change_password(session, by, person=_person(session, "Nell"), password=SECRET),
    )
    token = told.tell(
        "people.start_sign_in",
        lambda session, by: people.start_sign_in(session, by, person=_person(session, "Nell"), keys=["name:nell"]),
    )
    told.tell("people.end_sign_in", lambda session, by: people.end_sign_in(session, by, token=token))
    told.tell(
        "people.set_manner",
        lambda session, by: people.set_manner(session, by, person=_person(session, "Nell"), manner=Manner("in")),
    )
    told.tell("shop.set_facts", lambda session, by: shop.set_facts(session, by, {"dressings": "beside the door"}))
    told.tell("texts.set_wordings", lambda session, by: texts.set_wordings(session, by, {"late": "Later, {customer}."}))
    told.tell("steplists.change_stage", lambda session, by: _change_steps(session, by, told))
    told.tell("strengths.choose", lambda session, by: strengths.choose(session, by, wanted={"age": "ask"}))


def _tablets_and_pins(told: Story) -> None:
    told.tell(
        "pins.set_pin",
        lambda session, by: pins.set_pin(session, by, person=_person(session, "Otto"), pin="83052"),
        who="Otto",
    )
    told.tell("places.new_place", lambda session, by: places.new_place(session, by, name="Press", stages=["dry"]).code)
    code = told.tell("places.new_code", lambda session, by: places.new_code(session, by, place=one(session, Place)))
    told.tell("places.enrol", lambda session, by: places.enrol(session, by, code=code))
    told.shop.act(lambda session, by: places.choose_person(one(session, Place), _person(session, "Otto"), by.now))
    told.tell(
        "pins.take_pin_away", lambda session, by: pins.take_pin_away(session, by, person=_person(session, "Otto"))
    )
    for name in ("revoke", "remove"):
        work = getattr(places, name)
        told.tell(f"places.{name}", lambda session, by, work=work: work(session, by, place=one(session, Place)))
    for name in ("let_go", "bring_back"):
        work = getattr(staff, name)
        told.tell(f"staff.{name}", lambda session, by, work=work: work(session, by, person=_person(session, "Nell")))


def _equipment(told: Story) -> None:
    told.tell("machines.add_printer", lambda session, by: machines.add_printer(session, by, name="Second", dpi="360"))
    told.tell(
        "printers.describe",
        lambda session, by: printers.describe(
            session,
            by,
            machine=one(session, Machine, name="Second"),
            values={**PRINTER_FACTS, "native_dpi": "360, 720"},
        ),
    )
    told.tell(
        "machines.add_mode",
        lambda session, by: machines.add_mode(session, by, machine=one(session, Machine, name="Second"), dpi="720"),
    )
    told.tell(
        "machines.add_machine",
        lambda session, by: machines.add_machine(
            session, by, kind="trimmer", name="Wheel", drive="hand", cutting="rotary"
        ),
    )

    def machine(name: str, act: Any, **more: Any) -> None:
        told.tell(name, lambda session, by: act(session, by, machine=one(session, Machine, name="Wheel"), **more))

    machine("machines.set_machine_facts", machines.set_machine_facts, values={"manual": "drawer"})
    machine("machines.set_widest", machines.set_widest, widest=parse_length("24in"))
    machine("machinehistory.note_event", machinehistory.note_event, what="service", note="new wheel")
    machine("machines.check_machine", machines.check_machine, items=[], answers={})
    told.tell(
        "badchecks.withdraw_check",
        lambda session, by: badchecks.withdraw_check(
            session, by, check=one(session, Machine, name="Wheel").checks[-1], reason="blade not looked at"
        ),
    )
    machine("machines.take_out_of_use", machines.take_out_of_use, reason="blunt")
    proofs = machinehistory.Proofs(stops=False, guards=True, test_piece=True)
    done = {"done": "wheel changed", "done_by": "Otto", "proofs": proofs}
    machine("machinehistory.back_into_use", machinehistory.back_into_use, **done)
    told.tell(
        "machines.authorise",
        lambda session, by: machines.authorise(
            session,
            by,
            machine=one(session, Machine, name="Wheel"),
            person=_person(session, "Otto"),
            until=by.now.date() + timedelta(days=90),
        ),
    )
    told.tell(
        "authorisations.withdraw",
        lambda session, by: authorisations.withdraw(
            session,
            by,
            machine=one(session, Machine, name="Wheel"),
            person=_person(session, "Otto"),
            reason="the course is over",
        ),
    )
    told.tell(
        "materials.add_material", lambda session, by: materials.add_material(session, by, kind="paper", name="matte").id
    )
    told.tell(
        "materials.add_lot",
        lambda session, by: materials.add_lot(
            session, by, material=one(session, Material, name="matte"), label="M-1", count=4
        ),
    )
    told.tell(
        "materials.count_lot",
        lambda session, by: materials.count_lot(session, by, lot=one(session, Lot, label="M-1"), now_there=3),
    )
    told.tell(
        "materials.change_material",
        lambda session, by: materials.change_material(
            session, by, material=one(session, Lot, label="A-1").material, changes={"trim_hours": Decimal(30)}
        ),
    )
    told.tell(
        "materials.change_lot",
        lambda session, by: materials.change_lot(
            session, by, lot=one(session, Lot, label="M-1"), changes={"place": "shelf 2"}
        ),
    )
    note = BytesIO(b"%PDF-1.7 a note")
    with lotpapers.received(told.shop.shop.store, "note.pdf", note) as paper:
        told.tell(
            "lotpapers.attach",
            lambda session, by: lotpapers.attach(
                session, by, lot=one(session, Lot, label="M-1"), store=told.shop.shop.store, paper=paper
            ),
        )
    text = "name\nInes Vrba\n"
    seen = told.shop.read(lambda session: arriving.seal(arriving.look(session, "customers", text)))
    wish = {"what": "customers", "text": text, "seen": seen}
    rows = {"rows": arriving.rows_of("customers", text)}
    for how, words in (("fail", {"sentence": "no room"}), ("take_some", rows), ("end", {})):
        if how != "end":
            told.tell("takingin.ask_for", lambda session, by: takingin.ask_for(session, by, **wish))
        arrival = told.shop.act(lambda session, by: takingin.begin(session, by.now).id)
        work = getattr(takingin, how)
        told.tell(f"takingin.{how}", lambda s, by, work=work, arrival=arrival, w=words: work(s, by, arrival, **w))
    wish["text"] += "Ida Vrba\n"
    wish["seen"] = told.shop.read(lambda session: arriving.seal(arriving.look(session, "customers", wish["text"])))
    told.tell("takingin.ask_for", lambda session, by: takingin.ask_for(session, by, **wish))
    told.tell("takingin.stop", lambda s, by: takingin.stop(s, by, arrival=takingin.at_work(s)))


def _leaks(told: Story) -> None:
    def known(session: Session) -> PitchOnRecord:
        return leaks.may_serve(session)[-1]

    sheet = told.shop.read(lambda session: leaks.draw(told.shop.shop.store, known(session)))
    told.tell(
        "leaks.keep_sheet",
        lambda session, by: leaks.keep_sheet(session, by, pitch=known(session), drawn=sheet) and None,
    )
    taps = leaks.Taps(dict.fromkeys(leaks.ROWS, ("2", "4")), {8: 8, 4: 8, 2: 8})
    told.tell(
        "leaks.read_sheet",
        lambda session, by: leaks.read_sheet(session, by, made=one(session, LeakSheet), taps=taps) and None,
    )


def _conditions(session: Session, axis: str = "across") -> pitch.Conditions:
    known = session.execute(select(PitchOnRecord).order_by(PitchOnRecord.id)).scalars().first()
    assert known is not None
    told = pitch.conditions_of(known).columns() | {"axis": axis}
    return pitch.Conditions(**told)  # type: ignore[arg-type]


def _pitches(told: Story) -> None:
    told.tell(
        "pitchcharts.start_test",
        lambda session, by: pitchcharts.start_test(session, by, conditions=_conditions(session)),
    )
    wish = pitchcharts.ChartWish(Decimal(20), Decimal("0.1"), 11, parse_length("4in"))
    drawn = told.shop.read(lambda session: pitchcharts.draw_chart(told.shop.shop.store, one(session, PitchTest), wish))
    told.tell(
        "pitchcharts.keep_chart",
        lambda session, by: pitchcharts.keep_chart(session, by, test=one(session, PitchTest), drawn=drawn),
    )
    counts = {5: "0.75", 6: "0.5", 7: "0", 8: "0.5", 9: "0.75"}
    told.tell(
        "pitchreadings.record_readings",
        lambda session, by: pitchreadings.record_readings(session, by, made=one(session, PitchChart), counts=counts),
    )
    _leaks(told)
    told.tell(
        "pitchreadings.accept_result",
        lambda session, by: pitchreadings.accept_result(session, by, test=one(session, PitchTest)),
    )
    told.tell(
        "pitch.carry_over",
        lambda session, by: pitch.carry_over(
            session, by, conditions=_conditions(session, "down"), lpi=Decimal(20), note="page 3", known_since=by.now
        ),
    )
    told.tell(
        "pitch.take_nominal", lambda session, by: pitch.take_nominal(session, by, conditions=_conditions(session))
    )


def _photographed(told: Story) -> None:
    away, shop = parse_length("600mm"), told.shop
    conditions = {"distance": away, "lens_loose": True}
    shop.act(
        lambda session, by: pitchcharts.start_test(session, by, conditions=replace(_conditions(session), **conditions))
    )
    wish = pitchcharts.ChartWish(Decimal(20), Decimal("0.1"), 4, parse_length("3in"))
    drawn = shop.read(lambda session: pitchcharts.draw_chart(shop.shop.store, _newest(session, PitchTest), wish))
    shop.act(
        lambda session, by: pitchcharts.keep_chart(session, by, test=_newest(session, PitchTest), drawn=drawn) and None
    )
    seen = dict.fromkeys(("lpi", "u_lpi", "u_distance_lpi", "u_gap_lpi", "skew_deg"), 20)
    view = pitchphotos.View("file", away, parse_length("2mm"), Decimal("1.56"))
    with PHOTOGRAPHS[0].open("rb") as stream, pictures.received(shop.shop.store, [("a.jpg", stream)]) as taken:
        told.tell(
            "pitchphotos.keep_photo",
            lambda session, by: (
                pitchphotos.keep_photo(
                    session, by, shop.shop.store, made=_newest(session, PitchChart), taken=taken[0], view=view,
                    told=seen,
                )
                and None
            ),
        )  # fmt: skip
    told.tell(
        "pitchphotos.accept",
        lambda session, by: pitchphotos.accept(session, by, photo=one(session, PitchPhoto)) and None,
    )


def _newest(session: Session, table: Any) -> Any:
    return session.execute(select(table).order_by(table.id.desc())).scalars().first()


def _office(told: Story) -> str:
    own = told.shop.shop.settings.own_safety_path
    wish = orders.JobWish(width=parse_length("70mm"), height=parse_length("80mm"), flip="left-right", quantity=2)
    code: str = told.tell(
        "orders.place_order",
        lambda session, by: (
            orders.place_order(session, by, own, customer_name=CUSTOMER, contact=CONTACT, wish=wish, note=WORDS).code
        ),
    )
    told.tell("orders.add_job", lambda session, by: orders.add_job(session, by, own, order=_order(session), wish=wish))
    told.tell(
        "orderchanges.change_order",
        lambda session, by: orderchanges.change_order(
            session, by, order=_order(session), customer_name=CUSTOMER, contact=CONTACT, note=WORDS,
            due_on=date(2026, 4, 1),
        ),
    )
    told.tell(
        "orders.change_job",
        lambda session, by: orders.change_job(session, by, job=job(session, code), changes={"quantity": 1}),
    )
    _pictures(told, code)
    told.tell("jobs.choose_materials", lambda session, by: _choose_materials(session, by, code))
    told.tell("depthorder.turn_round", lambda session, by: depthorder.turn_round(session, by, job=job(session, code)))
    told.tell(
        "ghosting.set_figures",
        lambda session, by: ghosting.set_figures(
            session, by, job=job(session, code), radius=None, ink_spread=parse_length("0.03mm"),
            registration=Decimal("0.05"), floor_percent=Decimal("2"),
        ),
    )  # fmt: skip
    looked = told.shop.read(lambda session: ghosting.looked_at(session, told.shop.shop.store, job(session, code)))
    for which in ("lowered", "none"):
        told.tell(
            "leakcorrections.choose",
            lambda session, by, which=which: (
                leakcorrections.choose(
                    session, by, job=job(session, code), choice=leakcorrections.offered(looked).of(which)
                )
                and None
            ),
        )
    told.tell(
        "lenses.choose_lens",
        lambda session, by: (
            lenses.choose_lens(session, by, job=job(session, code), lot=one(session, Lot, label="L-1"), reasons=["a"])
            and None
        ),
    )
    told.tell(
        "alignment.move",
        lambda session, by: (
            alignment.move(
                session,
                by,
                picture=pictures.current(job(session, code))[0],
                mode=_conditions(session).mode,
                dx=3,
                dy=-2,
            )
            and None
        ),
    )
    draft = told.shop.read(lambda session: proofs.drawing(told.shop.shop.store, job(session, code))())
    told.tell(
        "proofs.keep_proof", lambda session, by: proofs.keep_proof(session, by, job=job(session, code), draft=draft)
    )
    told.shop.act(lambda session, by: shop.set_facts(session, by, {prooflinks.FACT: "https://proofs.example.org"}))
    for _ in range(2):
        told.tell(
            "prooflinks.make_link",
            lambda session, by: prooflinks.make_link(session, by, proof=job(session, code).proofs[-1]) and None,
        )
    told.tell("prooflinks.revoke", lambda session, by: prooflinks.revoke(session, by, link=_links(session)[0]))
    told.tell(
        "prooflinks.decide",
        lambda session, by: (
            prooflinks.decide(
                session, by, link=_links(session)[1], verdict="change", given_by=GIVEN_BY, words=WORDS
            )
            and None
        ),
    )
    for verdict in ("change", "approved"):
        told.tell(
            "proofs.record_answer",
            lambda session, by, verdict=verdict: proofs.record_answer(
                session,
                by,
                proof=job(session, code).proofs[-1],
                verdict=verdict,
                how="telephone",
                given_by=GIVEN_BY,
                words=WORDS,
            ),
        )
    told.tell(
        "pitchchoices.choose",
        lambda session, by: pitchchoices.choose(
            session, by, job=job(session, code), pitch=one(session, PitchOnRecord, origin="test"), reason="as measured"
        ),
    )
    stored = papers.store_pdf(told.shop.shop.store, b"%PDF-1.7 a paper")
    told.tell("papers.issue_traveller", lambda session, by: _issue(told, session, by, code, stored))
    return code


def _order(session: Session) -> Any:
    return session.execute(select(orders.Order).order_by(orders.Order.id.desc())).scalars().first()


def _issue(told: Story, session: Session, by: Any, code: str, stored: tuple[str, int]) -> None:
    gathered = papers.traveller(
        session,
        by,
        job=job(session, code),
        store=told.shop.shop.store,
        own_safety=told.shop.shop.settings.own_safety_path,
        address="http://127.0.0.1/",
    )
    papers.issue_traveller(session, by, job=job(session, code), gathered=gathered, pdf=stored)


def _choose_materials(session: Session, by: Any, code: str) -> None:
    known = _conditions(session)
    choice = jobs.MaterialChoice(
        lens_lot=known.lens_lot,
        mode=known.mode,
        paper=known.paper,
        paper_lot=one(session, Lot, label="P-1"),
        adhesive_lot=one(session, Lot, label="A-1"),
    )
    jobs.choose_materials(session, by, job=job(session, code), choice=choice)


def _pictures(told: Story, code: str) -> None:
    store = told.shop.shop.store
    streams = [path.open("rb") for path in [*PHOTOGRAPHS, *PHOTOGRAPHS]]
    with pictures.received(store, [(f"{place}.jpg", stream) for place, stream in enumerate(streams)]) as taken:
        told.tell(
            "pictures.add_pictures",
            lambda session, by: (
                pictures.add_pictures(session, by, store, job=job(session, code), taken=taken[:3]) and 0
            ),
        )
        told.tell(
            "pictures.replace_picture",
            lambda session, by: pictures.replace_picture(
                session, by, store, picture=pictures.current(job(session, code))[1], intake=taken[3]
            ),
        )
    for stream in streams:
        stream.close()
    told.tell(
        "pictures.remove_picture",
        lambda session, by: pictures.remove_picture(session, by, picture=pictures.current(job(session, code))[0]),
    )

    def swap(session: Session, by: Any) -> None:
        codes = [row.code for row in pictures.current(job(session, code))]
        pictures.swap_order(session, by, job=job(session, code), codes=codes[::-1])

    told.tell("pictures.swap_order", swap)


def _run(session: Session) -> Run:
    found = session.execute(select(Run).order_by(Run.id.desc())).scalars().first()
    assert found is not None
    return found


def _runs(told: Story, code: str) -> None:
    def ask(session: Session, by: Any) -> None:
        runs.ask_for(session, by, job=job(session, code), wish=runs.RunWish(waste=True))

    def claim() -> runs.Claim:
        made: runs.Claim = told.shop.act(lambda session, _by: runs.claim(session, _run(session).id, told.shop.now))
        return made

    told.tell("sharing.ask_for", lambda session, by: _share(session, by, job(session, code)))
    told.shop.act(lambda session, by: runs.cancel(session, by, run=_run(session)))
    told.tell("runs.ask_for", ask)
    claimed = claim()
    told.tell("runs.fail", lambda session, by: runs.fail(session, by, claimed, trouble="the disk is full"))
    told.tell("runs.again", lambda session, by: runs.again(session, by, run=_run(session)))
    second = claim()
    told.tell("runs.cancel", lambda session, by: runs.cancel(session, by, run=_run(session)))
    told.tell("runs.stopped", lambda session, by: runs.stopped(session, by, second))
    told.shop.act(lambda session, by: runs.again(session, by, run=_run(session)))
    for _ in range(runs.MOST_ATTEMPTS):
        claim()
        told.shop.now += runs.LEASE * 2
    told.tell("repairs.note_swept", lambda session, by: repairs.note_swept(session, by, temporary=2, unknown=1))
    told.tell("runs.give_up_dead", lambda session, by: runs.give_up_dead(session, by, told.shop.now))
    told.shop.act(lambda session, by: runs.again(session, by, run=_run(session)))
    third = claim()
    stored = papers.store_pdf(told.shop.shop.store, b"no raster at all")
    result = {"pixels_sha256": "0" * 64, "dots": [1, 1], "trim_dots": [0, 0, 1, 1]}
    told.tell(
        "runs.finish",
        lambda session, by: runs.finish(session, by, third, stored=stored, result=result, engine_version="none"),
    )
    told.shop.act(ask)
    work_on(told.shop.shop, told.shop.read(lambda session: _run(session).id), clock=lambda: told.shop.now)
    told.tell("runs.accept", lambda session, by: runs.accept(session, by, run=_run(session)))
    told.tell("sheets.start_sheets", lambda session, by: sheets.start_sheets(session, by, run=_run(session), count=3))
    told.tell(
        "sheets.enter_midway",
        lambda session, by: sheets.enter_midway(session, by, job=job(session, code), stage="inspect", count=1),
    )


def _bench(told: Story, code: str, folder: Any) -> None:
    store = told.shop.shop.store
    folder = folder / "printer"
    folder.mkdir()
    told.tell(
        "outputs.hand_over", lambda session, by: outputs.hand_over(session, by, store, _run(session), folder, "label")
    )
    counts = dict(enumerate(("1", "1/2", "0", "1/2", "1"), start=1))
    told.tell(
        "strips.record_counts",
        lambda session, by: strips.record_counts(
            session, by, sheet=session.execute(select(Sheet).order_by(Sheet.id)).scalars().first(), counts=counts
        ),
    )

    def sign(stage: str, **values: str) -> None:
        told.tell(
            "bench.sign_stage",
            lambda session, by: bench.sign_stage(
                session,
                by,
                subjects=standing(session, code, stage),
                stage=stage,
                signature=bench.Signature(values=values, reason="in a hurry"),
            ),
        )

    told.tell(
        "onpaper.begin", lambda session, by: onpaper.begin(session, by, subject=standing(session, code, "print")[0])
    )
    with PHOTOGRAPHS[1].open("rb") as stream, pictures.received(store, [("page.jpg", stream)]) as taken:

        def said(session: Session) -> onpaper.Page:
            return onpaper.Page(_person(session, "Otto"), told.shop.now, taken[0], store, reasons={"reason-file": ""})

        told.tell(
            "onpaper.take_over",
            lambda session, by: onpaper.take_over(
                session, by, subject=standing(session, code, "print")[0], page=said(session)
            ),
        )

    def rollers(session: Session, by: Any, stage: str) -> None:
        waiting = standing(session, code, stage)
        ticks = frozenset(step.key for step in benchrecords.stage_definition(waiting[0]).steps if step.record == "tick")
        start = atrollers.RollerStart(one(session, Machine, name="Rollers"), _person(session, "Otto"), "", ticks)
        atrollers.start_rollers(session, by, sheets=waiting, stage=stage, start=start)

    sign("print")
    _take_back(told)
    sign("print")
    sign("dry")
    told.shop.check_machine()
    _check_from_paper(told)
    _from_paper(told, code)
    told.tell("atrollers.start_rollers", lambda session, by: rollers(session, by, "adhesive"))
    told.tell(
        "atrollers.leave_rollers",
        lambda session, by: atrollers.leave_rollers(
            session, by, sheet=standing(session, code, "adhesive")[0], reason="film folded"
        ),
    )
    for stage in ("adhesive", "laminate"):
        told.tell("atrollers.start_rollers", lambda session, by, stage=stage: rollers(session, by, stage))
        sign(stage)
    sign("dwell")
    sign("trim")
    _verdicts(told, code, sign)


def _from_paper(told: Story, code: str) -> None:
    """One of the sheets went through the rollers on paper."""
    store = told.shop.shop.store
    with PHOTOGRAPHS[1].open("rb") as stream, pictures.received(store, [("rollers.jpg", stream)]) as taken:

        def take_over(session: Session, by: Any) -> None:
            sheet, otto = standing(session, code, "adhesive")[0], _person(session, "Otto")
            all_steps = benchrecords.stage_definition(sheet).steps
            steps = [step for step in all_steps if step.safety and step.record == "tick"]
            set_up = rollerpages.SetUp(
                machine=one(session, Machine, name="Rollers"),
                read_at=by.now,
                helper=_person(session, "Olga"),
                ticks={step.key: rollerpages.Tick(otto, by.now) for step in steps},
            )
            page = onpaper.Page(otto, by.now, taken[0], store)
            rollerpages.take_over(session, by, sheet=sheet, page=page, set_up=set_up)

        told.tell("rollerpages.take_over", take_over)


def _check_from_paper(told: Story) -> None:
    store = told.shop.shop.store
    with PHOTOGRAPHS[0].open("rb") as stream, pictures.received(store, [("check.jpg", stream)]) as taken:
        told.tell(
            "paperchecks.take_over",
            lambda session, by: paperchecks.take_over(
                session,
                by,
                machine=one(session, Machine, name="Wheel"),
                items=[],
                page=paperchecks.CheckPage(_person(session, "Otto"), by.now, taken[0], store, {}),
            ),
        )


def _take_back(told: Story) -> None:
    told.shop.wait(minutes=-1)  # every act of the story takes a minute: this one comes within it
    seq = told.shop.read(lambda session: session.execute(select(func.max(AuditEntry.id))).scalar_one())
    told.tell("takingback.take_back", lambda session, by: takingback.take_back(session, by, seq=seq))


def _verdicts(told: Story, code: str, sign: Any) -> None:
    def decide(place: int, kind: str) -> None:
        told.tell(
            "leaving.decide",
            lambda session, by: leaving.decide(
                session, by, piece=prints(session, code)[place], kind=kind, reason="scratched"
            ),
        )

    sign("inspect", **{"inspect-result": "failed"})
    decide(0, "concession")
    decide(1, "rework")
    decide(2, "replace")
    decide(3, "scrap")
    told.shop.act(lambda session, _by: setattr(prints(session, code)[0], "set_aside_reason", "in doubt"))
    told.tell(
        "leaving.put_back",
        lambda session, by: leaving.put_back(session, by, piece=prints(session, code)[0], reason="looked again"),
    )
    way = leaving.WayOut(how="sent", on=told.shop.now.astimezone().date(), reason="in a hurry")
    told.tell(
        "leaving.leave",
        lambda session, by: leaving.leave(session, by, piece=prints(session, code)[0], way=way, values={}),
    )
    decide(1, "scrap")
    told.tell(
        "leaving.decide_sheet",
        lambda session, by: leaving.decide_sheet(
            session, by, sheet=prints(session, code)[4].sheet, kind="scrap", reason="printed askew"
        ),
    )
    _last_of_an_order(told, way)
    told.tell("outputs.drop", lambda session, by: outputs.drop(session, by, run=_run(session)))
    told.tell("outputs.make_anew", lambda session, by: outputs.make_anew(session, by, run=_run(session)))


def _last_of_an_order(told: Story, way: leaving.WayOut) -> None:
    """The piece whose leaving closes its job and order."""
    code = told.shop.order(customer="")
    told.shop.act(
        lambda session, by: sheets.enter_midway(session, by, job=job(session, code), stage="pack", count=1) and None
    )
    store = told.shop.shop.store
    with PHOTOGRAPHS[1].open("rb") as stream, pictures.received(store, [("page.jpg", stream)]) as taken:

        def said(session: Session, by: Any) -> onpaper.Page:
            return onpaper.Page(_person(session, "Otto"), by.now, taken[0], store)

        told.tell(
            "onpaper.leave",
            lambda session, by: onpaper.leave(
                session, by, piece=prints(session, code)[0], page=said(session, by), way=way
            ),
        )
    assert told.shop.read(lambda session: job(session, code).order.closed_at) == told.shop.now
    shelves = Shelves(told.shop.shop.store, told.shop.shop.settings.own_safety_path)
    told.tell(
        "reorders.order_again",
        lambda session, by: reorders.order_again(session, by, shelves, jobs=[job(session, code)]) and None,
    )


def _quotes(told: Story) -> None:
    own = told.shop.shop.settings.own_safety_path

    def line(session: Session) -> quotes.LineWish:
        size = parse_length("70mm")
        return quotes.LineWish("Gulls", size, size, "left-right", 2, one(session, Lot, label="L-1"))

    def newest(session: Session) -> Quote:
        return session.execute(select(Quote).order_by(Quote.id.desc())).scalars().first()  # type: ignore[return-value]

    def give() -> None:
        told.tell(
            "quotes.give_quote",
            lambda session, by: (
                quotes.give_quote(
                    session, by, customer_name=CUSTOMER, contact=CONTACT, valid_until=by.day, line=line(session)
                )
                and None
            ),
        )

    give()
    told.tell(
        "quotes.add_line",
        lambda session, by: quotes.add_line(session, by, quote=newest(session), line=line(session)) and None,
    )
    told.tell(
        "quotes.take_line_out",
        lambda session, by: quotes.take_line_out(session, by, line=newest(session).lines[0]),
    )
    told.tell(
        "quotes.prolong",
        lambda session, by: quotes.prolong(session, by, quote=newest(session), valid_until=by.day + timedelta(days=9)),
    )
    told.tell(
        "quotes.accept_quote",
        lambda session, by: (
            quotes.accept_quote(
                session,
                by,
                own,
                quote=newest(session),
                more=quotes.Acceptance(mode=_conditions(session).mode, paper=_conditions(session).paper),
            )
            and None
        ),
    )
    told.tell(
        "quotes.write_money",
        lambda session, by: quotes.write_money(session, by, order=_order(session), deposit=Decimal(5), paid_on=None),
    )
    give()
    told.tell("quotes.decline", lambda session, by: quotes.decline(session, by, quote=newest(session)))


def _share(session: Session, by: Any, mine: Job) -> None:
    side = parse_length("400mm")
    wish = sharing.SheetWish((sharing.Share(mine, 1),), side, side)
    asked = sharing.proposed(session, by, wish).findings
    sharing.ask_for(session, by, replace(wish, reasons={one.field: "it served before" for one in asked}))


def _doubt(told: Story) -> None:
    work_on(told.shop.shop, told.shop.read(lambda session: _run(session).id), clock=lambda: told.shop.now)
    told.shop.act(lambda session, by: sheets.start_sheets(session, by, run=_run(session), count=2))
    told.tell("takingoff.take_off", lambda session, by: takingoff.take_off(session, by, run=_run(session), count=1))
    told.tell(
        "pitch.withdraw",
        lambda session, by: (
            pitch.withdraw(
                session,
                by,
                pitch=one(session, PitchOnRecord, origin="carried over", axis="across"),
                reason="wrong paper",
            )
            and None
        ),
    )
    told.tell(
        "materials.set_lot_aside",
        lambda session, by: (
            materials.set_lot_aside(session, by, lot=one(session, Lot, label="P-1"), reason="damp") and None
        ),
    )
    told.tell(
        "materials.release_lot",
        lambda session, by: (
            materials.release_lot(session, by, lot=one(session, Lot, label="P-1"), reason="dry again") and None
        ),
    )


def _after_a_loss(told: Story) -> None:
    """The interlaced file of a run did not come along with the backup."""
    output = told.shop.read(lambda session: _run(session).output.sha256)
    anchor = Anchor("0" * 64, 1, "0" * 64, "2026-03-09")
    found = Manifest(told.shop.now, "0", anchor, (), left_out=(output,))
    _all_travellers(told)
    _kept_safe(told)
    handed_out = export_shop(told.shop.shop, told.shop.shop.settings.data.with_name("copy"), now=told.shop.now)
    told.tell("exporting.note_export", lambda session, by: exporting.note_export(session, by, made=handed_out))
    told.tell("restoring.begin_again", lambda session, by: restoring.begin_again(session, by, found=found))
    mine = select(Job.code).join(Order).join(Customer).where(Customer.name == CUSTOMER).order_by(Job.id)
    code = told.shop.read(lambda session: session.execute(mine).scalars().first())
    why = "asked for by mail"
    told.tell(
        "erasing.forget_pictures",
        lambda session, by: erasing.forget_pictures(session, by, job=job(session, code), reason=why),
    )
    told.tell(
        "erasing.forget_customer",
        lambda session, by: erasing.forget_customer(
            session, by, customer=one(session, Customer, name=CUSTOMER), reason=why
        ),
    )


def _all_travellers(told: Story) -> None:
    def asked():
        wish = {"page": "A4", "address": "http://192.0.2.1:8420/"}
        return told.tell("travellerbatches.ask_for", lambda session, by: travellerbatches.ask_for(session, by, **wish))

    for how, words in (("end", {}), ("fail", {"sentence": "no paper"})):
        asked()
        batch = told.shop.act(lambda session, by: travellerbatches.begin(session, by.now).id)
        work = getattr(travellerbatches, how)
        told.tell(f"travellerbatches.{how}", lambda s, by, work=work, batch=batch, w=words: work(s, by, batch, **w))
    asked()
    told.tell(
        "travellerbatches.stop",
        lambda session, by: travellerbatches.stop(session, by, batch=travellerbatches.at_work(session)),
    )


def _kept_safe(told: Story) -> None:
    data, stick = told.shop.shop.settings.data, told.shop.shop.settings.data.with_name("stick")
    stick.mkdir()
    wanted = backups.Setup(stick)
    told.tell("backups.set_up", lambda session, by: backups.set_up(session, by, data=data, wanted=wanted))
    for how in ("end", "fail", "fail_left_behind"):
        told.tell("backups.ask_for", lambda session, by: backups.ask_for(session, by))
        run = told.shop.act(lambda session, by: backups.begin(session, by).id)
        more = {"end": {"size": 1, "entries": 1, "sentence": ""}, "fail": {"sentence": "no stick"}}.get(how)
        words = {"run_id": run, **more} if more else {}
        work = getattr(backups, how)
        told.tell(f"backups.{how}", lambda session, by, work=work, words=words: work(session, by, **words))
    told.tell("backups.ask_for", lambda session, by: backups.ask_for(session, by))
    told.tell("backups.stop", lambda session, by: backups.stop(session, by, run=backups.at_work(session)))
    told.tell("backups.ask_for_check", lambda session, by: backups.ask_for_check(session, by))
    told.shop.act(lambda session, by: backups.stop(session, by, run=backups.at_work(session)))
    made = back_up(told.shop.shop, BackupWish(stick), now=told.shop.now)
    told.tell("backups.note_made", lambda session, by: backups.note_made(session, by, made=made))
    told.shop.act(_optics)
    told.tell("forecasts.take", _take_forecast)
    told.tell("sheets.start_mounting", _mount_only)


def test_every_act_of_the_room_is_in_the_story(story: Story) -> None:
    assert set(_acts()) == set(story.entries) | set(NO_ENTRY)
    assert not set(story.entries) & set(NO_ENTRY)


def test_every_act_writes_exactly_one_entry(story: Story) -> None:
    wrong = {name: entries for name, entries in story.entries.items() if set(entries) != {1}}
    assert wrong == {}


def test_every_entry_lists_everything_that_its_act_wrote_to(story: Story) -> None:
    assert {name: unlisted for name, unlisted in story.unlisted.items() if unlisted} == {}


def test_every_entry_is_made_by_a_known_word_and_about_something(story: Story) -> None:
    bodies = [json.loads(body) for body in story.shop.read(_bodies)]
    assert [body["action"] for body in bodies if not body["objects"]] == []
    meanings = {"performed", "checked", "approved", "released", "rejected", None}
    assert {body["meaning"] for body in bodies} <= meanings


def test_what_is_left_after_every_move_is_the_sum_of_the_moves_up_to_it(story: Story) -> None:
    """Through every act, and again by the step that brings older shops to it."""
    listed = story.shop.read(_moves)
    summed = [sum(change for lot, change, _ in listed[: at + 1] if lot == here) for at, (here, *_) in enumerate(listed)]
    assert [left for *_, left in listed] == summed
    with story.shop.shop.database.writing() as session:
        session.execute(update(StockMove).values(left_after=0))
        session.execute(text(SUMS))
        assert _moves(session) == listed


def _moves(session: Session) -> list[tuple[int, int, int]]:
    shown = select(StockMove.lot_id, StockMove.change, StockMove.left_after).order_by(StockMove.id)
    return [(lot, change, left) for lot, change, left in session.execute(shown)]


def _bodies(session: Session) -> list[str]:
    return list(session.execute(select(AuditEntry.body)).scalars())


def test_nothing_personal_of_a_customer_and_no_secret_stands_in_any_entry(story: Story) -> None:
    bodies = "\n".join(story.shop.read(_bodies))
    for private in (CUSTOMER, CONTACT, GIVEN_BY, WORDS, SECRET, "hmac"):
        found = private in bodies
        assert found == (private == "hmac"), private
