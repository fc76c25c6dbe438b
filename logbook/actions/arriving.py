"""Customers and stock from a CSV file: read whole, looked at first, taken in whole or not at all."""

import csv
import hashlib
import io
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import materials
from logbook.actions.finding import ref
from logbook.actions.orders import hashed
from logbook.lengths import Length
from logbook.manner import Manner, counted
from logbook.records.audit import Act, Actor, record
from logbook.records.materials import MATERIAL_KINDS, Lot, Material
from logbook.records.orders import Customer
from logbook.refusals import Refused

MOST_BYTES, MOST_ROWS = 200_000, 500
"""As many lines as one act takes in within a second or two: all or none, with nobody kept waiting at the bench."""
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
        raise Refused(f"The file is larger than {MOST_BYTES // 1000} kB; bring it in in parts.", field="file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Refused("The file is not UTF-8 text; save it as CSV, UTF-8.", field="file") from None
    if "\x00" in text:
        raise Refused("The file holds zero bytes; it is no CSV text.", field="file")
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
        raise Refused(f"Line {reader.line_num} cannot be read as CSV: {error}.", field="file") from None
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
        raise Refused(f"No column is called {strange[0][:40]!r}; there are: {listed}.", field="file")
    if len(set(names)) < len(names):
        raise Refused("A column stands there twice.", field="file")
    return names


def _by_name(names: list[str], cells: list[str]) -> Row:
    row = dict(zip(names, [cell.replace("\r\n", "\n") for cell in cells], strict=False))
    return row | ({"": "more"} if len(cells) > len(names) else {})


def look(session: Session, what: str, text: str) -> list[Line]:
    """What every line would do, in order; nothing is written."""
    rows = rows_of(what, text)
    if not rows:
        raise Refused("There is no line below the column names.", field="file")
    known = _Known(session)
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
        raise Refused("This line has more cells than there are columns.")
    for name, most in LONGEST.items():
        if len(row.get(name, "")) > most:
            raise Refused(f"{name}: longer than {most} characters.")


class _Known:
    """What is there already, and what earlier lines of the same file would add."""

    def __init__(self, session: Session) -> None:
        self.customers = {
            row.name: row for row in session.execute(select(Customer).where(Customer.name.is_not(None))).scalars()
        }
        here = session.execute(select(Material)).scalars().all()
        self.materials = {row.name: row.kind for row in here}
        self.lpi = {row.name: row.nominal_lpi for row in here}
        labels = select(Material.name, Lot.label).join(Lot, Lot.material_id == Material.id)
        self.lots = {(name, label.lower()) for name, label in session.execute(labels)}
        self.names: set[str] = set()


def _customer(known: _Known, row: Row) -> Line:
    name, contact = " ".join(row["name"].split()), row.get("contact", "")
    if not name:
        raise Refused("name: this is needed.")
    if name in known.names:
        raise Refused(f"{name} stands in the file twice.")
    known.names.add(name)
    here = known.customers.get(name)
    if here is None:
        return Line(0, f"new customer {name}", take=lambda session, _by: _add_customer(session, name, contact))
    if contact and not here.contact:
        return Line(0, f"{name} is here; how to reach them is added", take=lambda s, _by: _reach(s, here.id, contact))
    kept = "; how to reach them stays as it is here" if contact and contact != here.contact else ""
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
        raise Refused(f"material: {name} is {known.materials[name]} here, not {kind}.")
    if (name, label.lower()) in known.lots:
        raise Refused(f"lot: {name} has a lot {label} already.")
    values = {key: read(key, row.get(key, "")) for key, read in _CELLS.items()}
    new = name not in known.materials
    if kind == "lens":
        _check_lpi(known, name, values["lines per inch"], new)
    known.materials[name] = kind
    known.lots.add((name, label.lower()))
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


def seal(lines: list[Line]) -> str:
    """A sum over what was shown, so that what is taken in is what was looked at."""
    told = "\n".join(f"{line.number} {line.words}" for line in lines)
    return hashlib.sha256(told.encode()).hexdigest()


def take(session: Session, by: Actor, *, what: str, text: str, seen: str) -> int:
    """Take every line in, all or none; returns how many did something.

    Refused where a line is at fault, or where things changed since they were looked at.
    """
    if by.role != "owner":
        raise Refused("Bringing lists in is the owner's act.")
    lines = look(session, what, text)
    if any(line.fault for line in lines):
        raise Refused("A line is at fault; mend the file first.")
    if seal(lines) != seen:
        raise Refused("Something here has changed since you looked; look again.")
    quiet = replace(by, request_id=None)
    touched = [one for line in lines if line.take for one in line.take(session, quiet)]
    if not touched:
        raise Refused("Everything in this file is here already.")
    session.flush()
    told: dict[str, object] = {"lines": len(lines)}
    if what == "customers":
        told["names"] = dict(_hashes(session, touched))
    record(session, by, Act(f"{what} brought in", list(dict.fromkeys(touched)), new=told))
    return sum(line.take is not None for line in lines)


def _hashes(session: Session, touched: list[str]) -> Iterator[tuple[str, dict[str, str]]]:
    codes = [one.partition(":")[2] for one in touched]
    for row in session.execute(select(Customer).where(Customer.code.in_(codes)).order_by(Customer.id)).scalars():
        yield ref(row), hashed(row, customer=row.name, contact=row.contact)
