"""Materials: types and lots of lens, paper and adhesive, and what is left of them."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from decimal import Decimal

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import Session

from logbook.actions import doubts
from logbook.actions.finding import ref
from logbook.lengths import Length
from logbook.records.audit import Act, Actor, record
from logbook.records.floor import Print, Sheet
from logbook.records.materials import MATERIAL_KINDS, Lot, Material, StockMove
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from logbook.rules.reasons import needed as reason_needed

CHANGEABLE = ("place", "sheet_width", "sheet_height", "price", "expires_on", "reorder_level")
"""What may be put right about a lot; its label is what others know it by, its count is counted."""
OF_A_LENS = ("nominal_lpi", "thickness", "refractive_index", "substance")
OF_A_KIND = {"lens": OF_A_LENS, "paper": ("dry_hours",), "adhesive": ("trim_hours", "ship_hours")}
"""What may be put right about a type; its name is what others know it by."""
LENS_RANGE_LPI = (Decimal(10), Decimal(100))


def add_material(
    session: Session,
    by: Actor,
    *,
    kind: str,
    name: str,
    nominal_lpi: Decimal | None = None,
    thickness: Length | None = None,
    refractive_index: Decimal | None = None,
    substance: str = "",
    dry_hours: Decimal | None = None,
    trim_hours: Decimal | None = None,
    ship_hours: Decimal | None = None,
    note: str = "",
) -> Material:
    """A type of lens, paper or adhesive."""
    if kind not in MATERIAL_KINDS:
        raise Refused(f"{kind!r} is no kind of material.", field="kind")
    if kind == "lens":
        check_lens(nominal_lpi)
        name = name.strip() or f"{nominal_lpi} LPI lens"
    if not name.strip():
        raise Refused("Give it the name it goes by in the shop.", field="name")
    if material_named(session, name.strip()):
        raise Refused(
            f"There is a material called {name.strip()} already: bring in a lot of it, or name this one otherwise.",
            field="name",
        )
    material = Material(
        kind=kind,
        name=name.strip(),
        nominal_lpi=nominal_lpi,
        thickness=thickness,
        refractive_index=refractive_index,
        substance=substance,
        dry_hours=dry_hours,
        trim_hours=trim_hours,
        ship_hours=ship_hours,
        note=note.strip(),
    )
    session.add(material)
    session.flush()
    record(
        session,
        by,
        Act("material added", [ref(material)], new={"kind": kind, "name": material.name, "nominal_lpi": nominal_lpi}),
    )
    return material


def check_lens(nominal_lpi: Decimal | None) -> None:
    """Refuse a lens without the lines per inch that its wrapping names."""
    low, high = LENS_RANGE_LPI
    if nominal_lpi is None or not low <= nominal_lpi <= high:
        raise Refused(
            f"A lens has between {low} and {high} lines per inch; it stands on its wrapping.", field="nominal_lpi"
        )


def material_named(session: Session, name: str) -> Material | None:
    """The material that goes by this name."""
    return session.execute(select(Material).where(Material.name == name)).scalar_one_or_none()


def add_lot(
    session: Session,
    by: Actor,
    *,
    material: Material,
    label: str,
    count: int | None = None,
    place: str = "",
    sheet_width: Length | None = None,
    sheet_height: Length | None = None,
    price: Decimal | None = None,
    expires_on: date | None = None,
    reorder_level: int | None = None,
) -> Lot:
    """One delivery; without a count it is not counted."""
    lot = Lot(
        material=material,
        label=label.strip() or _unlabelled(session, by, material),
        place=place.strip(),
        sheet_width=sheet_width,
        sheet_height=sheet_height,
        price=price,
        expires_on=expires_on,
        received_at=by.now,
        reorder_level=reorder_level,
    )
    session.add(lot)
    session.flush()
    if count is not None:
        move(session, by, lot=lot, change=count, why="received")
    record(session, by, Act("lot added", [ref(lot), ref(material)], new={"label": lot.label, "count": count}))
    return lot


def _unlabelled(session: Session, by: Actor, material: Material) -> str:
    """A label for a delivery that has none on its wrapping; two of one day stay two lots."""
    label = f"first lot, {by.day:%Y-%m-%d}"
    same = select(func.count(Lot.id)).where(
        Lot.material_id == material.id, Lot.label.startswith(label, autoescape=True)
    )
    before = session.execute(same).scalar_one()
    return f"{label} ({before + 1})" if before else label


def change_lot(session: Session, by: Actor, *, lot: Lot, changes: Mapping[str, object]) -> None:
    """Put right what a delivery is said to be: where it lies, its sheet size, price, dates; ``changes`` by column."""
    if strange := next((name for name in changes if name not in CHANGEABLE), None):
        raise Refused(f"{strange!r} of a lot does not change; bring in a lot of its own instead.")
    old = {name: getattr(lot, name) for name, value in changes.items() if getattr(lot, name) != value}
    if (changes.get("sheet_width") is None) != (changes.get("sheet_height") is None):
        raise Refused("A sheet has a width and a height: give both, or neither.", field="sheet_height")
    for name in old:
        setattr(lot, name, changes[name])
    if old:
        told = {name: _plain(value) for name, value in old.items()}
        new = {name: _plain(changes[name]) for name in old}
        record(session, by, Act("lot changed", [ref(lot)], old=told, new=new))


def change_material(session: Session, by: Actor, *, material: Material, changes: Mapping[str, object]) -> None:
    """Put right what a type is said to be, by column of ``OF_A_KIND``; finished runs keep the numbers they used.

    The lines per inch only while no pitch is on record for a lot of it: one that is would stand beside a wrong name.
    """
    if strange := next((name for name in changes if name not in OF_A_KIND[material.kind]), None):
        raise Refused(f"{strange!r} of a {material.kind} does not change; add one of its own instead.")
    old = {name: getattr(material, name) for name, value in changes.items() if getattr(material, name) != value}
    if "nominal_lpi" in old:
        check_lens(changes["nominal_lpi"])  # type: ignore[arg-type]
        used = select(PitchOnRecord.id).join(Lot, PitchOnRecord.lens_lot_id == Lot.id)
        used = used.where(Lot.material_id == material.id).limit(1)
        if session.execute(used).first():
            words = "A pitch is on record for a lot of it: add a lens of its own with the right number."
            raise Refused(words, field="nominal_lpi")
    for name in old:
        setattr(material, name, changes[name])
    if old:
        told = {name: _plain(value) for name, value in old.items()}
        record(
            session,
            by,
            Act("material changed", [ref(material)], old=told, new={name: _plain(changes[name]) for name in old}),
        )


def _plain(value: object) -> str | None:
    return None if value is None else str(value)


def deliveries(session: Session, lot: Lot) -> list[Lot]:
    """Every delivery with this label of this material, oldest first: one lot may come in several parcels."""
    same = select(Lot).where(Lot.material_id == lot.material_id, func.lower(Lot.label) == lot.label.lower())
    return list(session.execute(same.order_by(Lot.id)).scalars())


def count_lot(session: Session, by: Actor, *, lot: Lot, now_there: int) -> None:
    """There are now N: the difference is recorded as a move."""
    if now_there < 0:
        raise Refused("There cannot be fewer than none; write 0 where nothing is left.", field="now_there")
    before = left(session, lot)
    move(session, by, lot=lot, change=now_there - (before or 0), why="counted")
    record(session, by, Act("lot counted", [ref(lot)], old={"count": before}, new={"count": now_there}))


def left(session: Session, lot: Lot) -> int | None:
    """Sheets left of a lot; None where nobody counts it."""
    return session.execute(_NEWEST.where(StockMove.lot_id == lot.id)).scalar_one_or_none()


def all_left(session: Session, lots: Collection[int] | None = None) -> dict[int, int]:
    """Sheets left of every counted lot (of these), all by row id: one question for a page that shows many."""
    asked = select(Lot.id, _NEWEST.where(StockMove.lot_id == Lot.id).scalar_subquery())
    if lots is not None:
        asked = asked.where(Lot.id.in_(lots))
    return {lot: count for lot, count in session.execute(asked) if count is not None}


_NEWEST = select(StockMove.left_after).order_by(StockMove.id.desc()).limit(1)


def move(session: Session, by: Actor, *, lot: Lot, change: int, why: str, sheet: Sheet | None = None) -> None:
    """Sheets come or go; part of another act, so no entry of its own."""
    after = (left(session, lot) or 0) + change
    made_for = sheet.id if sheet else None
    session.add(StockMove(lot_id=lot.id, change=change, left_after=after, why=why, sheet_id=made_for, at=by.now))
    session.flush()


def consume(session: Session, by: Actor, *, lot: Lot | None, why: str, sheet: Sheet) -> None:
    """One sheet of a counted lot is used; part of another act."""
    if lot is not None and left(session, lot) is not None:
        move(session, by, lot=lot, change=-1, why=why, sheet=sheet)


def refuse_set_aside(*lots: Lot | None) -> None:
    """Refuse to make anything of a lot that is in doubt."""
    for lot in lots:
        if lot is not None and lot.set_aside_reason:
            raise Refused(f"Lot {lot.label} was set aside: {lot.set_aside_reason}; choose another lot.")


def set_lot_aside(session: Session, by: Actor, *, lot: Lot, reason: str) -> list[Print]:
    """A lot that is in doubt, in every delivery; every print of it is listed, those that have not left are held.

    What is only planned on it is not held: another lot may be chosen at its stage. Returns the prints that are held.
    """
    reason = reason_needed(reason, "Say what is wrong with the lot.")
    lots = [lot, *(one for one in deliveries(session, lot) if one is not lot and not one.set_aside_reason)]
    for one in lots:
        one.set_aside_reason = reason
    made = _prints_of(session, made_of(lots))
    doubts.set_aside(made, doubt_about(lot))
    record(session, by, Act("lot set aside", [*map(ref, lots), *map(ref, made)], reason=reason))
    return [piece for piece in made if piece.stage not in ("gone", "scrapped")]


def doubt_about(lot: Lot) -> str:
    """Why a print of a lot that was set aside is held."""
    return f"lot {lot.label}: {lot.set_aside_reason}"


def made_of(lots: Sequence[Lot]) -> ColumnElement[bool]:
    """The condition that a sheet was made of one of these lots: paper once printed, adhesive once brought on.

    A print is made for its lens from the beginning: its pitch is that lot's.
    """
    of = [one.id for one in lots]
    return or_(
        Sheet.lens_lot_id.in_(of),
        Sheet.paper_lot_id.in_(of) & (Sheet.stage != "print"),
        Sheet.adhesive_lot_id.in_(of) & Sheet.stage.not_in(("print", "dry", "adhesive")),
    )


def _named_on(lots: Sequence[Lot]) -> ColumnElement[bool]:
    """The condition that a sheet names one of these lots, used or planned."""
    of = [one.id for one in lots]
    return or_(Sheet.lens_lot_id.in_(of), Sheet.paper_lot_id.in_(of), Sheet.adhesive_lot_id.in_(of))


def _prints_of(session: Session, used: ColumnElement[bool]) -> list[Print]:
    """Every print of such sheets, whether it has left or not."""
    found = select(Print).join(Sheet, Print.sheet_id == Sheet.id).where(used).order_by(Print.id)
    return list(session.execute(found).scalars())


def release_lot(session: Session, by: Actor, *, lot: Lot, reason: str) -> list[Print]:
    """The doubt about a lot is settled: every delivery that was set aside for it serves again, and its prints go on.

    Returns the prints that it held; one that another reason holds as well stays held for that.
    """
    if lot.set_aside_reason is None:
        raise Refused(f"Lot {lot.label} is not set aside; there is nothing to release.")
    if by.role != "owner":
        raise Refused("Releasing a lot that was set aside is the owner's decision; ask the owner.")
    reason = reason_needed(reason, "Write down why it may serve again.")
    was = lot.set_aside_reason
    lots = [one for one in deliveries(session, lot) if one.set_aside_reason == was]
    prints = _prints_of(session, _named_on(lots))
    held = [piece for piece in prints if _lift(piece, {f"lot {one.label}: {was}" for one in lots})]
    for one in lots:
        one.set_aside_reason = None
    touched = [*map(ref, lots), *map(ref, held)]
    act = Act("lot released", touched, old={"set aside": was}, reason=reason, meaning="approved")
    record(session, by, act)
    return held


def _lift(piece: Print, whys: Collection[str]) -> bool:
    """Take away the doubt that the lot brought; whether there was one."""
    mine = [why for why in doubts.reasons(piece) if why in {doubts.as_kept(one) for one in whys}]
    for why in mine:
        doubts.lift(piece, why)
    return bool(mine)
