"""Two lens lots and two printers, all of them tested together but lens lot L-1 on the printer Second."""

from decimal import Decimal
from typing import Any

from logbook.actions import chartscales, materials, pitch, pitchcharts
from logbook.lengths import parse_length
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from support.small_shop import SmallShop, described_printer, one

TESTED = (("L-1", "Printer", "20.07"), ("L-2", "Printer", "20.05"), ("L-2", "Second", "20.03"))


def conditions(session: Any, lot: str, printer: str) -> pitch.Conditions:
    """A pairing as it is read: across, with the lens bonded, from 0.6 m, at 23 degrees."""
    return pitch.Conditions(
        lens_lot=one(session, Lot, label=lot),
        mode=one(session, Machine, name=printer).modes[0],
        paper=one(session, Material, name="paper"),
        axis="across",
        distance=parse_length("0.6m"),
        lens_loose=False,
        temperature_c=Decimal(23),
    )


def put_on_record(shop: SmallShop, lot: str, printer: str, lpi: str, u: str = "0.002") -> str:
    """An accepted test, put on record as its fit would be; returns its code."""

    def accept(session: Any, by: Any) -> str:
        made = pitch.put_on_record(
            session,
            by,
            conditions=conditions(session, lot, printer),
            origin="test",
            lpi=Decimal(lpi),
            u_lpi=Decimal(u),
            note="",
        )
        return made.code

    return shop.act(accept)


def pair(shop: SmallShop) -> SmallShop:
    """The lots, the printers and their three tests, one a day."""

    def equip(session: Any, by: Any) -> None:
        sheet = one(session, Lot, label="L-1").material
        sheet.thickness, sheet.refractive_index = parse_length("3mm"), Decimal("1.56")
        materials.add_lot(session, by, material=sheet, label="L-2")
        described_printer(session, by, "Second", dpi="300")

    shop.act(equip)
    for lot, printer, lpi in TESTED:
        put_on_record(shop, lot, printer, lpi)
        shop.wait(days=1)
    return shop


def measure_scale(shop: SmallShop, test_code: str, *, off_mm: str) -> None:
    """Give a test of L-2 on Second a chart whose long scale across was measured ``off_mm`` longer than drawn."""

    def measure(session: Any, by: Any) -> None:
        test = pitchcharts.start_test(session, by, conditions=conditions(session, "L-2", "Second"))
        wish = pitchcharts.ChartWish(
            centre_lpi=Decimal(20), step_lpi=Decimal("0.1"), bands=5, width=parse_length("100mm")
        )
        made = pitchcharts.keep_chart(
            session, by, test=test, drawn=pitchcharts.draw_chart(shop.shop.store, test, wish, address="http://x/")
        )
        chartscales.write_down(made, {"across": str(chartscales.drawn(made)["across"] + Decimal(off_mm))})
        one(session, pitch.PitchOnRecord, code=test_code).test = test

    shop.act(measure)
