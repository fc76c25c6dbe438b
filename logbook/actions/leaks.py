"""The leak of light between pictures: sheets made for it, what was read on them, and which reading counts."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from io import BytesIO
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, lazyload

from logbook.actions.finding import ref
from logbook.actions.machines import dots_per_inch
from logbook.engine import chart_tiff, leaksheet, raster_pdf
from logbook.engine.leak import Nulled, Series, agree, joined, nulled
from logbook.engine.paper_sizes import parse_paper
from logbook.engine.tone import SHARES, Tone
from logbook.records.audit import Act, Actor, canonical, record
from logbook.records.base import new_code
from logbook.records.files import FileStore, keep
from logbook.records.leaks import LeakReading, LeakSheet
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused

ROWS = ("1", "2", "3", "4")
NONE = "none"


@dataclass(frozen=True, slots=True)
class Drawn:
    """A sheet that was drawn and stored, before any row knows it."""

    code: str
    stored: tuple[str, int]
    plan: str


def draw(store: FileStore, pitch: PitchOnRecord, *, address: str = "") -> Drawn:
    """Draw and store a leak sheet at this pitch; long work: no transaction is open for writing."""
    if pitch.withdrawal is not None:
        raise Refused("This pitch is withdrawn; make the leak sheet at one that serves.")
    code = new_code()
    plan = _plan(pitch, f"{address}go/{code}" if address else code)
    stored = store.put(BytesIO(chart_tiff.tiff_bytes(leaksheet.draw_leak_sheet(plan), dpi=plan.dpi)))
    return Drawn(code, stored, json.dumps(leaksheet.sidecar(plan)))


def _plan(pitch: PitchOnRecord, code: str) -> leaksheet.LeakSheet:
    dpi = dots_per_inch(pitch.mode.dpi_across), dots_per_inch(pitch.mode.dpi_down)
    flip = "left-right" if pitch.axis == "across" else "up-down"
    return leaksheet.make_leak_sheet(lpi=pitch.lpi, dpi=dpi, flip=flip, code=code)


def keep_sheet(session: Session, by: Actor, *, pitch: PitchOnRecord, drawn: Drawn) -> LeakSheet:
    """Put a drawn sheet on record."""
    sha256, size = drawn.stored
    made = LeakSheet(
        code=drawn.code,
        pitch=pitch,
        plan=drawn.plan,
        raster=keep(session, sha256=sha256, size=size, media_type="image/tiff", kind="record", now=by.now),
        made_at=by.now,
        made_by_id=by.person_id,
    )
    session.add(made)
    session.flush()
    touched = [ref(made), ref(pitch), ref(pitch.lens_lot), ref(pitch.mode), ref(pitch.paper)]
    record(session, by, Act("leak sheet made", touched, files=[sha256], new={"lpi": pitch.lpi}))
    return made


def on_paper(made: LeakSheet, paper: str) -> Callable[[], bytes]:
    """The same sheet as a PDF page of one paper, every dot unresampled: what is returned draws it, or raises Refused
    where it does not lie between that paper's margins."""
    plan, size = _plan(made.pitch, json.loads(made.plan)["code"]), parse_paper(paper)
    return lambda: raster_pdf.pdf_bytes(
        [raster_pdf.page_on(size, leaksheet.draw_leak_sheet(plan), dpi=plan.dpi, what="leak sheet")]
    )


def file_name(made: LeakSheet) -> str:
    """What a sheet's file is called when it is handed to the printer."""
    dpi = made.pitch.mode.dpi_across
    return f"leak-sheet_{made.code}_{made.pitch.lpi}lpi_{dpi}dpi.tif".replace("/", "over")


@dataclass(frozen=True, slots=True)
class Taps:
    """What a reader tapped. ``rows``: for each row "1" … "4" the last patch with the ghost and the first reversed, a
    number or "none"; ``greys``: for each pattern (8, 4, 2) the number of the grey that matches."""

    rows: Mapping[str, tuple[str, str]]
    greys: Mapping[int, int]
    note: str = ""


def read_sheet(session: Session, by: Actor, *, made: LeakSheet, taps: Taps) -> LeakReading:
    """What the reader saw, and the leaks that follow; they count from now on for this lens type, printer and paper.

    Raises Refused with the field (``row_1_turned``, ``match_8`` …) where the taps cannot be.
    """
    told = json.loads(made.plan)
    tone = _tone(told["wedge"], taps.greys)
    found = [_nulled(row, name, tone, taps) for name, row in zip(ROWS, told["rows"], strict=True)]
    leaks = _both_ways(found)
    pitch = made.pitch
    row = LeakReading(
        sheet=made,
        lens=pitch.lens_lot.material,
        printer=pitch.mode.machine,
        paper=pitch.paper,
        taps=canonical({"rows": dict(taps.rows), "greys": {str(share): grey for share, grey in taps.greys.items()}}),
        tone=" ".join(str(level) for level in (tone.eighth, tone.quarter, tone.half)),
        at=by.now,
        reader_id=by.person_id,
        note=taps.note.strip(),
        **leaks,
    )
    session.add(row)
    session.flush()
    touched = [ref(row), ref(made), ref(row.lens), ref(row.printer), ref(row.paper)]
    new = {**{name: str(value) for name, value in leaks.items()}, "tone": row.tone}
    record(session, by, Act("leak sheet read", touched, meaning="performed", new=new))
    return row


def _tone(wedge: Sequence[Mapping[str, Any]], greys: Mapping[int, int]) -> Tone:
    levels = {row["white_dot_in"]: row["levels"] for row in wedge}
    return Tone(*(Decimal(levels[share][greys[share] - 1]) for share in SHARES))


def _nulled(row: Mapping[str, Any], name: str, tone: Tone, taps: Taps) -> Nulled:
    series = Series(row["field_level"], tuple(patch["level"] for patch in row["patches"]))
    shows, turned = (None if tap == NONE else int(tap) for tap in taps.rows[name])
    try:
        return nulled(series, tone, shows=shows, turned=turned, wedge_step=leaksheet.WEDGE_STEP)
    except Refused as refusal:
        raise Refused(refusal.sentence, field=f"row_{name}_{refusal.field}") from None


def _both_ways(found: Sequence[Nulled]) -> dict[str, Decimal]:
    """The leaks and bounds in per cent from the four rows."""
    into_first, into_last = (joined(*found[at : at + 2]) for at in (0, 2))
    return {
        "into_first_percent": _percent(into_first.leak),
        "first_bound_percent": _percent(into_first.bound + into_first.tone_bound),
        "into_last_percent": _percent(into_last.leak),
        "last_bound_percent": _percent(into_last.bound + into_last.tone_bound),
    }


def _percent(part: float) -> Decimal:
    return Decimal(f"{100 * part:.2f}")


def disagreement(reading: LeakReading) -> list[str]:
    """Directions in which light and dark marks gave leaks that do not overlap, in a sentence each."""
    told, taps = json.loads(reading.sheet.plan), json.loads(reading.taps)
    tone = tone_of(reading)
    kept = Taps({name: tuple(both) for name, both in taps["rows"].items()}, {})
    found = [_nulled(row, name, tone, kept) for name, row in zip(ROWS, told["rows"], strict=True)]
    return [
        f"Into PICTURE {into} light marks say {100 * light.leak:.1f} % and dark ones {100 * dark.leak:.1f} %: the "
        "wedge may be matched wrongly, or the printer is not even. Read it again."
        for into, (light, dark) in enumerate((found[:2], found[2:]), start=1)
        if not agree(light, dark)
    ]


def tone_of(reading: LeakReading) -> Tone:
    """The printed tone that a reading found."""
    return Tone(*(Decimal(level) for level in reading.tone.split()))


def measured(session: Session, *, lens_id: int, printer_id: int, paper_id: int) -> LeakReading | None:
    """The reading that counts for a lens type, printer and paper: the newest."""
    rows = select(LeakReading).where(
        LeakReading.lens_id == lens_id, LeakReading.printer_id == printer_id, LeakReading.paper_id == paper_id
    )
    alone = rows.options(lazyload("*"))  # asked for by every job's page, which shows nothing of who read it or where
    return session.execute(alone.order_by(LeakReading.id.desc()).limit(1)).scalars().first()


def that_count(session: Session) -> list[LeakReading]:
    """The newest reading of every lens type, printer and paper, newest first."""
    newest = select(func.max(LeakReading.id)).group_by(
        LeakReading.lens_id, LeakReading.printer_id, LeakReading.paper_id
    )
    rows = select(LeakReading).where(LeakReading.id.in_(newest)).order_by(LeakReading.id.desc())
    return list(session.execute(rows).scalars())


def unread(session: Session) -> list[LeakSheet]:
    """Sheets that nobody read yet, newest first."""
    rows = select(LeakSheet).where(~LeakSheet.readings.any()).order_by(LeakSheet.id.desc()).limit(50)
    return list(session.execute(rows).scalars())


def may_serve(session: Session) -> list[PitchOnRecord]:
    """Pitches on record at which a sheet may be made, newest first."""
    rows = select(PitchOnRecord).where(~PitchOnRecord.withdrawal.has()).order_by(PitchOnRecord.id.desc()).limit(100)
    return list(session.execute(rows).scalars())
