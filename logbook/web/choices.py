"""What a form's lists offer: rows of the shop as (code, words)."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.materials import all_left
from logbook.records.machines import Machine, PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.people import Person

NONE = ("", "not said")


def lots(session: Session, kind: str, *, in_doubt: bool = False) -> list[tuple[str, str]]:
    """Lots of a kind, newest first, used-up ones last; those set aside only where what was done is written down."""
    asked = (
        select(Lot.id, Lot.code, Lot.label, Material.name)
        .join(Material, Lot.material_id == Material.id)
        .where(Material.kind == kind, *([] if in_doubt else [Lot.set_aside_reason.is_(None)]))
        .order_by(Lot.id.desc())
    )
    rows = session.execute(asked).all()
    counts = all_left(session, [lot.id for lot in rows])
    ordered = sorted(rows, key=lambda lot: counts.get(lot.id, 1) <= 0)
    return [(lot.code, _lot_words(lot.name, lot.label, counts.get(lot.id))) for lot in ordered]


def _lot_words(material: str, label: str, count: int | None) -> str:
    return f"{material}, {label}" + (f" ({count} left)" if count is not None else "")


def papers(session: Session) -> list[tuple[str, str]]:
    """Paper types."""
    rows = session.execute(select(Material).where(Material.kind == "paper").order_by(Material.name)).scalars()
    return [(row.code, row.name) for row in rows]


def modes(session: Session) -> list[tuple[str, str]]:
    """Printer modes, in the order in which they were added."""
    rows = session.execute(select(PrinterMode).join(Machine).order_by(PrinterMode.id)).scalars()
    return [(mode.code, f"{mode.machine.name}, {mode.name}") for mode in rows]


def machines(session: Session, kind: str) -> list[tuple[str, str]]:
    """Machines of a kind, those in use first."""
    rows = session.execute(select(Machine).where(Machine.kind == kind).order_by(Machine.name)).scalars()
    listed = [(row.code, row.name + (" (out of use)" if row.out_of_use_reason else "")) for row in rows]
    return sorted(listed, key=lambda one: "(out of use)" in one[1])


def people(session: Session) -> list[tuple[str, str]]:
    """Everyone who works here."""
    return [(row.code, row.name) for row in people_who_sign(session)]


def people_who_sign(session: Session) -> list[Person]:
    """Everyone who works here and signs, by name."""
    rows = session.execute(select(Person).where(Person.active, Person.role != "viewer").order_by(Person.name))
    return list(rows.scalars())
