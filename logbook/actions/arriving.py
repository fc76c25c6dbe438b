"""Customers and stock from a CSV file: what its lines say and would do; `takingin` does it."""

import csv
import hashlib
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import materials
from logbook.actions.finding import ref
from logbook.lengths import Length
from logbook.manner import Manner, counted
from logbook.records.audit import Actor
from logbook.records.materials import MATERIAL_KINDS, Lot, Material
from logbook.records.orders import Customer
from logbook.refusals import Refused

MOST_BYTES, MOST_ROWS = 4_000_000, 20_000
"""More than any small shop knows of customers or has on its shelves; one look at so many stays a matter of seconds."""
COLUMNS = {
    "customers": ("name", "contact"),
    "stock": (
        "kind", "material", "lines per inch", "lot", "count", "place", "width", "height", "price", "use before",
        "order more at",
    ),
}  # fmt: skip
NEEDED = {"customers": ("name",), "stock": ("kind", "material", "lot")}
LONGEST = {"name": 200, "contact": 2000, "material": 120, "lot": 80, "place": 120}

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the file: what would happen, or what is wrong with it."""

    number: int
    words: str
    fault: bool = False
    take: Callable[[Session, Actor], list[str]] | None = None
    """Does it, and returns what it touched; None where there is nothing to do."""


def text_of(data: bytes) -> str:
    """A file's bytes as text, with or without a byte-order mark; Refused where it is no such text."""
    if len(data) > MOST_BYTES:
        raise Refused(f"The file is larger than {MOST_BYTES // 10**6} MB; bring it in as several files.", field="file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Refused("The file is not UTF-8 text; save it as CSV, UTF-8.", field="file") from None
    if "\x00" in text:
        raise Refused("The file is no plain text; save the table as CSV, UTF-8.", field="file")
    return text


def rows_of(what: str, text: str) -> list[tuple[int, Row]]:
    """The filled lines of a file by their number, cells by column; Refused where its head is not as it must be."""
    lines = text.splitlines()
    head = next((line for line in lines if line.strip()), "")
    between = ";" if head.count(";") > head.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    try:
        found = [(reader.line_num, [cell.strip() for cell in cells]) for cells in reader if any(map(str.strip, cells))]
    except csv.Error as error:
        raise Refused(
            f"Line {reader.line_num} cannot be read as CSV: {error}. Mend it, or save the table as CSV anew.",
            field="file",
        ) from None
    if len(found) > MOST_ROWS + 1:
        raise Refused(f"The file has more than {MOST_ROWS} lines; bring it in in parts.", field="file")
    names = _names(what, found[0][1] if found else [])
    return [(number, _by_name(names, cells)) for number, cells in found[1:]]


def _names(what: str, cells: list[str]) -> list[str]:
    names = [name.lower() for name in cells]
    listed = ", ".join(COLUMNS[what])
    if missing := [name for name in NEEDED[what] if name not in names]:
        raise Refused(f"The first line must name the columns; {missing[0]!r} is missing of: {listed}.", field="file")
    if strange := [name for name in names if name not in COLUMNS[what]]:
        raise Refused(
            f"The column {strange[0][:40]!r} is not known: take it out, or call it one of: {listed}.", field="file"
        )
    if len(set(names)) < len(names):
        raise Refused("A column stands there twice; take one of the two out.", field="file")
    return names


def _by_name(names: list[str], cells: list[str]) -> Row:
    row = dict(zip(names, [cell.replace("\r\n", "\n") for cell in cells], strict=False))
    return row | ({"": "more"} if len(cells) > len(names) else {})


def look(session: Session, what: str, text: str) -> list[Line]:
    """What every line would do, in order; nothing is written."""
    rows = rows_of(what, text)
    if not rows:
        raise Refused("There is no line below the column names; write one line for each.", field="file")
    return look_at(session, what, rows)


def look_at(session: Session, what: str, rows: Sequence[tuple[int, Row]], *, alone: bool = False) -> list[Line]:
    """What these lines would do; ``alone``: they are a few of many, and only what they name is fetched."""
    known = _Known(session, {row["name" if what == "customers" else "material"] for _, row in rows} if alone else None)
    lines = []
    for number, row in rows:
        try:
            _check_lengths(row)
            lines.append(replace(_READ[what](known, row), number=number))
        except Refused as refusal:
            lines.append(Line(number, refusal.sentence, fault=True))
    return lines


def _check_lengths(row: Row) -> None:
    if "" in row:
        raise Refused("This line has more cells than there are columns; put what holds a comma in quotes.")
    for name, most in LONGEST.items():
        if len(row.get(name, "")) > most:
            raise Refused(f"{name}: longer than {most} characters; shorten it.")


class _Known:
    """What is there already (of these names alone, where they are given), and what earlier lines would add."""

    def __init__(self, session: Session, names: set[str] | None) -> None:
        people = select(Customer.name, Customer.id, Customer.contact).where(Customer.name.is_not(None))
        materials_here = select(Material.name, Material.kind, Material.nominal_lpi)
        labels = select(Material.name, Lot.label).join(Lot, Lot.material_id == Material.id)
        if names is not None:
            people = people.where(Customer.name.in_({_one_line(name) for name in names}))
            materials_here = materials_here.where(Material.name.in_(names))
            labels = labels.where(Material.name.in_(names))
        self.customers = {name: (id_, contact) for name, id_, contact in session.execute(people)}
        here = session.execute(materials_here).all()
        self.materials = {name: kind for name, kind, _ in here}
        self.lpi = {name: lpi for name, _, lpi in here}
        self.lots = {(name, label.lower()) for name, label in session.execute(labels)}
        self.listed: set[str | tuple[str, str]] = set()

    def expect_first(self, listed: str | tuple[str, str], words: str) -> None:
        """Refused where an earlier line of the file named the same."""
        if listed in self.listed:
            raise Refused(f"{words} stands in the file twice; leave one of the lines out.")
        self.listed.add(listed)


def _one_line(name: str) -> str:
    return " ".join(name.split())


def _customer(known: _Known, row: Row) -> Line:
    name, contact = _one_line(row["name"]), row.get("contact", "")
    if not name:
        raise Refused("name: this is needed.")
    known.expect_first(name, name)
    if name not in known.customers:
        return Line(0, f"new customer {name}", take=lambda session, _by: _add_customer(session, name, contact))
    here, had = known.customers[name]
    if contact and not had:
        return Line(0, f"{name} is here; how to reach them is added", take=lambda s, _by: _reach(s, here, contact))
    kept = "; how to reach them stays as it is here" if contact and contact != had else ""
    return Line(0, f"{name} is here already{kept}")


def _add_customer(session: Session, name: str, contact: str) -> list[str]:
    made = Customer(name=name, contact=contact or None)
    session.add(made)
    session.flush()
    return [ref(made)]


def _reach(session: Session, customer: int, contact: str) -> list[str]:
    here = session.get_one(Customer, customer)
    here.contact = contact
    return [ref(here)]


def _stock(known: _Known, row: Row) -> Line:
    kind, name, label = row["kind"].lower(), row["material"], row["lot"]
    if kind not in MATERIAL_KINDS:
        raise Refused(f"kind: {row['kind']!r} is none of {', '.join(MATERIAL_KINDS)}.")
    for column in ("material", "lot"):
        if not row[column]:
            raise Refused(f"{column}: this is needed.")
    if known.materials.get(name, kind) != kind:
        raise Refused(
            f"material: {name} is {known.materials[name]} here, not {kind}; mend the kind, or name it otherwise."
        )
    known.expect_first((name, label.lower()), f"lot: {name}, {label}")
    values = {key: read(key, row.get(key, "")) for key, read in _CELLS.items()}
    new = name not in known.materials
    if kind == "lens":
        _check_lpi(known, name, values["lines per inch"], new)
    if (name, label.lower()) in known.lots:
        return Line(0, f"{name}, lot {label} is here already; it stays as it is")
    known.materials[name] = kind
    many = "not counted" if values["count"] is None else counted(int(values['count']), 'sheet')
    words = f"{'new ' + kind + ' ' if new else ''}{name}, lot {label}: {many}"
    return Line(
        0, words, take=lambda session, by: _add_lot(session, by, (kind, name, label), row.get("place", ""), values)
    )


def _check_lpi(known: _Known, name: str, lpi: Decimal | None, new: bool) -> None:
    """A lens has its lines per inch once: another number is another lens, or a slip of the pen."""
    if new:
        materials.check_lens(lpi)
        known.lpi[name] = lpi
    elif lpi is not None and lpi != known.lpi[name]:
        raise Refused(f"lines per inch: {name} has {known.lpi[name]}, not {lpi}; another lens needs another name.")


def _add_lot(session: Session, by: Actor, named: tuple[str, str, str], place: str, values: dict) -> list[str]:
    kind, name, label = named
    material = materials.material_named(session, name) or materials.add_material(
        session, by, kind=kind, name=name, nominal_lpi=values["lines per inch"] if kind == "lens" else None
    )
    lot = materials.add_lot(
        session,
        by,
        material=material,
        label=label,
        count=values["count"],
        place=place,
        sheet_width=values["width"],
        sheet_height=values["height"],
        price=values["price"],
        expires_on=values["use before"],
        reorder_level=values["order more at"],
    )
    return [ref(lot), ref(material)]


def _whole(name: str, text: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and int(text) <= 100_000):
        raise Refused(f"{name}: {text[:40]!r} is no whole number from 0 to 100000.")
    return int(text)


def _number(name: str, text: str) -> Decimal | None:
    if not text:
        return None
    try:
        value = Manner().read(text[:40])
    except Refused as refusal:
        raise Refused(f"{name}: {refusal.sentence}") from None
    if value is None or not 0 <= value < 10**9:
        raise Refused(f"{name}: {text[:40]!r} is no number from 0 on.")
    return value


def _length(name: str, text: str) -> Length | None:
    try:
        return Manner().read_length(text) if text else None
    except Refused as refusal:
        raise Refused(f"{name}: {refusal.sentence.removeprefix('a length: ')}") from None


def _day(name: str, text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise Refused(f"{name}: {text[:40]!r} is no day; write it like 2026-05-31.") from None


_CELLS: dict[str, Callable[[str, str], Any]] = {
    "count": _whole, "order more at": _whole, "price": _number, "lines per inch": _number, "width": _length,
    "height": _length, "use before": _day,
}  # fmt: skip
_READ: dict[str, Callable[[_Known, Row], Line]] = {"customers": _customer, "stock": _stock}


def seal(lines: Sequence[Line]) -> str:
    """A sum over what was shown, so that what is taken in is what was looked at."""
    told = "\n".join(f"{line.number} {line.words}" for line in lines)
    return hashlib.sha256(told.encode()).hexdigest()
