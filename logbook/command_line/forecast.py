"""``logbook pitch forecast``: what the logbook's tests say of a pairing that nobody tested."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from logbook.command_line.shop import data_option, existing
from logbook.lengths import parse_length
from logbook.refusals import Refused

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from logbook.actions.forecasts import Forecast


@click.command()
@click.option("--lens-lot", required=True, help="the lens lot: label or code")
@click.option("--printer", required=True, help="the printer: name or code")
@click.option("--mode", required=True, help="its mode: name or code")
@click.option("--paper", required=True, help="the paper: name or code")
@click.option("--axis", type=click.Choice(["across", "down"]), default="across", show_default=True)
@click.option("--distance", required=True, help="eye to lens where the print will hang, with its unit")
@data_option
@click.option("--json", "as_json", is_flag=True, help="print one JSON object")
def forecast(*, data: Path, as_json: bool, distance: str, **named: str) -> None:
    """Forecast a pitch for a pairing from every accepted test: lens, printer, mode, paper, mounted."""
    from logbook.actions.forecasts import of

    seen_from = parse_length(distance, field="distance")
    with existing(data).database.reading() as session:
        found = of(session, _conditions(session, named, seen_from))
        if found is None:
            raise Refused(
                "The nominal pitch, thickness or index of this lens is not on record: write it down on its "
                "page under Stock, then ask again."
            )
        click.echo(json.dumps(_plain(found)) if as_json else _told(found))


def _conditions(session: "Session", named: dict[str, str], seen_from: Any) -> Any:
    from logbook.actions.pitch import Conditions
    from logbook.records.machines import Machine
    from logbook.records.materials import Lot, Material

    printer = _one(session, Machine, "name", named["printer"], what="printer")
    modes = [mode for mode in printer.modes if named["mode"] in (mode.name, mode.code)]
    if len(modes) != 1:
        known = ", ".join(mode.name for mode in printer.modes) or "none"
        raise Refused(f"mode: {printer.name} has no mode {named['mode']!r}; it has: {known}.", field="mode")
    return Conditions(
        lens_lot=_one(session, Lot, "label", named["lens_lot"], what="lens lot"),
        mode=modes[0],
        paper=_one(session, Material, "name", named["paper"], what="paper"),
        axis=named["axis"],
        distance=seen_from,
        lens_loose=False,
    )


def _one(session: "Session", table: Any, column: str, words: str, *, what: str) -> Any:
    from sqlalchemy import or_, select

    rows = list(
        session.execute(
            select(table).where(or_(getattr(table, column) == words, table.code == words.upper()))
        ).scalars()
    )
    if len(rows) != 1:
        codes = ", ".join(row.code for row in rows)
        raise Refused(f"{what}: {f'several are called {words!r}, use a code: {codes}' if rows else f'none {words!r}'}.")
    return rows[0]


def _plain(found: "Forecast") -> dict[str, Any]:
    return {
        "lpi": str(found.lpi),
        "u_lpi": float(found.u_lpi),
        "basis": found.basis,
        "tests": [
            {
                "code": one.pitch.code,
                "residual_lpi": round(one.check.residual * float(one.pitch.lpi), 6),
                "redundancy": round(one.check.redundancy, 4),
                "w": round(one.check.w, 3),
                "verdict": one.check.verdict,
            }
            for one in found.used
        ],
        "scales": [
            {
                "test": one.test.code,
                "axis": one.axis,
                "drawn_mm": str(one.drawn_mm),
                "measured_mm": str(one.measured_mm),
            }
            for one in found.scales
        ],
        "left_out": [{"code": pitch.code, "reason": reason} for pitch, reason in found.left_out],
    }


def _told(found: "Forecast") -> str:
    from_what = f"from {len(found.tests)} tests" if found.basis == "tests" else "prior only: no test links this pairing"
    lines = [f"{found.lpi} ± {found.u_lpi} lines per inch (standard uncertainty), {from_what}"]
    lines += [f"{one.pitch.code}: {one.check.verdict}, redundancy {one.check.redundancy:.2f}" for one in found.used]
    return "\n".join([*lines, *(f"{pitch.code} left out: {reason}" for pitch, reason in found.left_out)])
