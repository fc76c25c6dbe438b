"""The demo's workshop: people, machines, materials, pitches. Every name is invented."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import machines, materials, people, pitch, printers, shop
from logbook.actions.materials import material_named
from logbook.lengths import Length, parse_length
from logbook.paper.shelf import read_shelf
from logbook.records.audit import Actor
from logbook.records.machines import Machine, PrinterMode
from logbook.records.materials import Lot
from logbook.records.opened import Shop
from logbook.records.people import Person
from logbook.records.pitch import PitchOnRecord
from logbook.rules.traits import machine_traits

SHOP = "Kittiwake Lenticular Workshop"
OWNER, OPERATOR, VIEWER = "Ilse Varga", "Tomas Reed", "Ama Sorel"
PASSWORDS = {OWNER: "ridge-and-valley", OPERATOR: "one-fringe-left", VIEWER: "only-looking-in"}
LONG_AGO = timedelta(days=40)


@dataclass
class Diary:
    """Everything that is to happen, in the order of its time, each act in a transaction of its own."""

    shop: Shop
    now: datetime
    entries: list[tuple[datetime, int, Callable[[datetime], None]]] = field(default_factory=list)

    def act(self, when: datetime, who: str, work: Callable[[Session, Actor], Any]) -> None:
        """Somebody does something at a time."""
        self.entries.append((when, len(self.entries), lambda at: self.do(at, who, work)))

    def outside(self, when: datetime, work: Callable[[datetime], None]) -> None:
        """Something that runs with no transaction open, such as a worker's run."""
        self.entries.append((when, len(self.entries), work))

    def play(self) -> None:
        """Let it all happen; what happens may add to the diary."""
        while self.entries:
            self.entries.sort(key=lambda entry: entry[:2])
            when, _, work = self.entries.pop(0)
            work(when)

    def do(self, at: datetime, who: str, work: Callable[[Session, Actor], Any]) -> None:
        """Somebody does something at once, in a transaction of its own."""
        with self.shop.database.writing() as session:
            person = session.execute(select(Person).where(Person.name == who)).scalar_one()
            work(session, Actor(person.id, person.name, person.role, at))


def lot(session: Session, label: str) -> Lot:
    """A lot by its label."""
    return session.execute(select(Lot).where(Lot.label == label)).scalar_one()


def machine(session: Session, name: str) -> Machine:
    """A machine by its name."""
    return session.execute(select(Machine).where(Machine.name == name)).scalar_one()


def mode(session: Session) -> PrinterMode:
    """The printer mode that the demo prints in."""
    return session.execute(select(PrinterMode).where(PrinterMode.name == "360 fine")).scalar_one()


def conditions(session: Session, lens: str, axis: str = "across", distance: str = "0.6m") -> pitch.Conditions:
    """A pitch's conditions for a lens lot in this workshop."""
    paper = material_named(session, "satin 260")
    assert paper is not None
    return pitch.Conditions(
        lens_lot=lot(session, lens),
        mode=mode(session),
        paper=paper,
        paper_lot=lot(session, "S-118"),
        axis=axis,
        distance=parse_length(distance),
        temperature_c=Decimal("22.5"),
        humidity_percent=Decimal(48),
    )


def pitch_for(session: Session, lens: str, axis: str = "across") -> PitchOnRecord:
    """The newest pitch on record of a lens lot and axis."""
    return (
        session.execute(
            select(PitchOnRecord)
            .join(Lot, PitchOnRecord.lens_lot_id == Lot.id)
            .where(Lot.label == lens, PitchOnRecord.axis == axis)
            .order_by(PitchOnRecord.id.desc())
        )
        .scalars()
        .first()
    )  # type: ignore[return-value]


def found(diary: Diary) -> None:
    """The shop with its people; the first act of all."""
    with diary.shop.database.writing() as session:
        by = Actor(None, "nobody yet", "none", diary.now - LONG_AGO)
        people.found_shop(session, by, shop_name=SHOP, name=OWNER, password=PASSWORDS[OWNER])
    start = diary.now - LONG_AGO + timedelta(minutes=5)
    for name, role in ((OPERATOR, "operator"), (VIEWER, "viewer")):
        diary.act(
            start,
            OWNER,
            lambda session, by, name=name, role=role: people.add_person(
                session, by, name=name, password=PASSWORDS[name], role=role
            ),
        )
    diary.act(
        start,
        OWNER,
        lambda session, by: shop.set_facts(
            session,
            by,
            {
                "first-aider": OPERATOR,
                "hourly rate": "42",
                "money": "EUR",
                "dressings": "white box beside the door",
                "eyewash": "at the sink",
                "emergency number": "as on the telephone",
                "ambulance address": "Slipway 4, back yard, green door",
            },
        ),
    )
    diary.act(start + timedelta(hours=1), OWNER, _machines)
    diary.act(start + timedelta(hours=2), OWNER, _materials)


def _machines(session: Session, by: Actor) -> None:
    printer = machines.add_printer(
        session, by, name="Ida", dpi="720", mode_name="720 best", widest=Length(Decimal(610), "mm")
    )
    machines.add_mode(session, by, machine=printer.machine, dpi="360", name="360 fine")
    printers.describe(
        session,
        by,
        machine=printer.machine,
        values={
            "prints_with": "pigment ink; its safety data sheet lies in the ink drawer",
            "native_dpi": "360, 720",
            "scaling_off": "own sheet size, 100 %, borderless off, sharpening off in the driver's second tab",
            "dry_hours": Decimal(24),
            "manual": "Ida operating manual, first edition, drawer under the feed table",
            "isolator": "plug behind its left foot",
        },
    )
    rosa = machines.add_machine(
        session, by, kind="laminator", name="Rosa", drive="powered", widest=Length(Decimal(700), "mm")
    )
    machines.set_machine_facts(
        session,
        by,
        machine=rosa,
        values={
            "manual": "Rosa operating manual, second edition, drawer under the feed table",
            "freeing_procedure": "Hit a stop. Switch the isolator off. Raise the top roller with the hand wheel. "
            "Do not reverse.",
            "stop_position": "red buttons, feed side left and exit side right",
            "isolator": "wall switch left of the machine",
            "competent_role": "workshop lead",
            "last_inspection": "last spring, Harrow Machine Service",
        },
    )
    machines.add_machine(session, by, kind="laminator", name="Old crank", drive="hand")
    wheel = machines.add_machine(session, by, kind="trimmer", name="Wheel cutter", drive="hand", cutting="rotary")
    freeing = {"freeing_procedure": "Let go of the head; a wheel that is in the hand stays until help is there."}
    machines.set_machine_facts(session, by, machine=wheel, values=freeing)
    until = by.now.date() + timedelta(days=300)
    for row in (rosa, wheel):
        for name in (OWNER, OPERATOR):
            person = session.execute(select(Person).where(Person.name == name)).scalar_one()
            machines.authorise(session, by, machine=row, person=person, until=until, reread=True)


def _materials(session: Session, by: Actor) -> None:
    day = by.now.date()
    coarse = materials.add_material(
        session,
        by,
        kind="lens",
        name="Ridge 20",
        nominal_lpi=Decimal(20),
        thickness=Length(Decimal("2.4"), "mm"),
        refractive_index=Decimal("1.57"),
        substance="PETG",
    )
    fine = materials.add_material(
        session,
        by,
        kind="lens",
        name="Ridge 60",
        nominal_lpi=Decimal(60),
        thickness=Length(Decimal("0.62"), "mm"),
        refractive_index=Decimal("1.57"),
        substance="PETG",
    )
    size = {"sheet_width": Length(Decimal(300), "mm"), "sheet_height": Length(Decimal(400), "mm")}
    materials.add_lot(
        session, by, material=coarse, label="R20-4471", count=24, place="rack 1", price=Decimal("6.80"), **size
    )
    materials.add_lot(
        session, by, material=fine, label="R60-0912", count=40, place="rack 2", price=Decimal("2.10"), **size
    )
    materials.add_lot(
        session, by, material=fine, label="R60-0877", count=9, place="rack 2", price=Decimal("2.05"), **size
    )
    paper = materials.add_material(session, by, kind="paper", name="satin 260", dry_hours=Decimal(24))
    materials.add_lot(
        session, by, material=paper, label="S-118", count=60, place="flat file", price=Decimal("0.70"), reorder_level=50
    )
    film = materials.add_material(
        session, by, kind="adhesive", name="clear film 50", trim_hours=Decimal(24), ship_hours=Decimal(72)
    )
    materials.add_lot(
        session,
        by,
        material=film,
        label="CF-31",
        count=80,
        price=Decimal("0.45"),
        expires_on=day + LONG_AGO + timedelta(days=5),
    )


def check(session: Session, by: Actor, own_safety: Any, name: str) -> None:
    """Today's check of a machine, when nobody has signed it yet."""
    row = machine(session, name)
    if row.checks and row.checks[-1].at.astimezone().date() == by.now.astimezone().date():
        return
    traits = machine_traits(drive=row.drive, heated=row.heated, cutting=row.cutting)
    items = read_shelf(own_safety).machine_check.items_for(row.kind, traits)
    answers = {item.key: "yes" if item.record == "yes-no" else "" for item in items}
    read = {"temperature": "22.5", "humidity": "48"}
    machines.check_machine(session, by, machine=row, items=items, answers={**answers, **read})


def today() -> datetime:
    """Now, without microseconds."""
    return datetime.now(UTC).replace(microsecond=0)
