"""What stands at the bench, as work lists show it: one line for each sheet and print, in due order.

Lists are long and asked for all day, so a line is gathered from columns, never from whole rows; however many lines
there are, the questions to the database are the same few.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Select, case, func, select
from sqlalchemy.orm import Session, aliased

from logbook.records.floor import PRINT_IS_OPEN, SHEET_IS_OPEN, Print, Run, Sheet, StepRecord, Verdict, stands
from logbook.records.machines import Machine, PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Job, Order
from logbook.rules import signing, waits
from logbook.rules.stages import PAPER_STAGES, PRINT_WAY, SHEET_WAY

ON_SHEETS, CUT_APART = SHEET_WAY[:-1], PRINT_WAY[1:-1]


class Standing(NamedTuple):
    """A sheet that is not cut apart yet, or a print that is: where it stands and what holds it.

    ``job`` is the row id of its first job, ``jobs`` those of all. ``aside`` is the first doubt that holds it;
    ``failed`` says that it failed its inspection and nobody decided since; ``printer`` is why that is out of use;
    ``on_paper`` says that its stage is done on paper, and its page not taken over yet.
    """

    is_print: bool
    id: int
    code: str
    called: str
    stage: str
    sheet: int
    job: int
    jobs: frozenset[int]
    artwork: str
    due: date | None
    aside: str = ""
    failed: bool = False
    printer: str = ""
    on_paper: bool = False
    wait: waits.Wait | None = None

    def free_at(self, now: datetime) -> datetime | None:
        """When a waiting time that guards its stage is over; None where nothing waits, or it is over already."""
        return self.wait.until if self.wait is not None and self.wait.left(now) else None


def by_stage(session: Session) -> dict[str, list[Standing]]:
    """Everything on the bench by its stage, in due order."""
    found: dict[str, list[Standing]] = {stage: [] for stage in (*ON_SHEETS, *CUT_APART)}
    for one in standing(session):
        found[one.stage].append(one)
    return found


def standing(session: Session, jobs: Collection[int] | None = None) -> list[Standing]:
    """Everything on the bench (of these jobs, by row id) in due order; what is due together: sheets, then prints."""
    sheets = session.execute(_lines(SHEET_IS_OPEN & Sheet.stage.in_(ON_SHEETS), jobs)).all()
    prints = session.execute(_lines(PRINT_IS_OPEN & Print.stage.in_(CUT_APART), jobs)).all()
    if not sheets and not prints:
        return []
    signed = _signed(session, {row.sheet_id for row in (*sheets, *prints)})
    failed = _failed(session, [row.print_id for row in prints if row.print_stage == "inspect"])
    gathered = [*_sheets(sheets, signed), *(_print(row, signed, failed) for row in prints)]
    paper = _on_paper(session, gathered)
    found = [one._replace(on_paper=(one.is_print, one.id, one.stage) in paper) for one in gathered]
    return sorted(found, key=lambda one: (one.due is None, one.due or date.max))


_PaperLot, _GlueLot = aliased(Lot), aliased(Lot)
_Paper, _RunPaper, _Glue = aliased(Material), aliased(Material), aliased(Material)
# made once: the longest question of every work list
_LINE = (
    select(
        Print.id.label("print_id"),
        Print.code.label("print_code"),
        Print.serial,
        Print.stage.label("print_stage"),
        Print.set_aside_reason.label("aside"),
        Print.job_id,
        Sheet.id.label("sheet_id"),
        Sheet.code.label("sheet_code"),
        Sheet.number,
        Sheet.stage.label("sheet_stage"),
        Job.artwork,
        Order.due_on,
        Machine.name.label("printer"),
        Machine.out_of_use_reason.label("printer_held"),
        # the lot that was laid in says what paper it is; before, the run does
        case((Sheet.paper_lot_id.is_not(None), _Paper.dry_hours), else_=_RunPaper.dry_hours).label("dry_hours"),
        Machine.dry_hours.label("ink_dry_hours"),
        _Glue.trim_hours,
        _Glue.ship_hours,
    )
    .join(Sheet, Print.sheet_id == Sheet.id)
    .join(Job, Print.job_id == Job.id)
    .join(Order, Job.order_id == Order.id)
    .outerjoin(PrinterMode, Sheet.mode_id == PrinterMode.id)
    .outerjoin(Machine, PrinterMode.machine_id == Machine.id)
    .outerjoin(_PaperLot, Sheet.paper_lot_id == _PaperLot.id)
    .outerjoin(_Paper, _PaperLot.material_id == _Paper.id)
    .outerjoin(Run, Sheet.run_id == Run.id)
    .outerjoin(_RunPaper, Run.paper_id == _RunPaper.id)
    .outerjoin(_GlueLot, Sheet.adhesive_lot_id == _GlueLot.id)
    .outerjoin(_Glue, _GlueLot.material_id == _Glue.id)
    .order_by(Sheet.id, Print.id)
)


def _lines(at: ColumnElement[bool], jobs: Collection[int] | None) -> Select[*tuple[Any, ...]]:
    return _LINE.where(at) if jobs is None else _LINE.where(at, Print.job_id.in_(jobs))


def _signed(session: Session, sheets: Collection[int]) -> dict[tuple[int | None, str], datetime]:
    """When the stages were signed since which something waits, by sheet and stage."""
    rows = session.execute(
        select(StepRecord.sheet_id, StepRecord.stage, StepRecord.at)
        .where(StepRecord.sheet_id.in_(sheets))
        .where(StepRecord.step_key.in_([f"{stage}-sign" for stage in waits.SINCE]))
        .where(StepRecord.source != "before the logbook", stands())
        .order_by(StepRecord.id)
    )
    return {(sheet, stage): at for sheet, stage, at in rows}


def _on_paper(session: Session, found: Collection[Standing]) -> set[tuple[bool, int, str]]:
    """Which of these, as kind, row id and stage, somebody began on paper."""
    sheets, prints = ([one.id for one in found if one.is_print is kind] for kind in (False, True))
    at = StepRecord.sheet_id.in_(sheets) | StepRecord.print_id.in_(prints)
    keys = StepRecord.step_key.in_([f"{stage}-on-paper" for stage in PAPER_STAGES])
    rows = session.execute(select(StepRecord.sheet_id, StepRecord.print_id, StepRecord.stage).where(keys, at, stands()))
    return {(piece is not None, piece or sheet or 0, stage) for sheet, piece, stage in rows}


def _failed(session: Session, prints: Collection[int]) -> set[int | None]:
    """Those of these prints whose newest inspection failed and about which nobody decided since."""
    if not prints:
        return set()
    results: dict[int | None, list[str]] = defaultdict(list)
    inspected = select(StepRecord.print_id, StepRecord.value).where(StepRecord.print_id.in_(prints), stands())
    for piece, value in session.execute(
        inspected.where(StepRecord.step_key == "inspect-result").order_by(StepRecord.id)
    ):
        results[piece].append(value)
    if not results:
        return set()
    decided = select(Verdict.print_id, func.count(Verdict.id)).where(
        Verdict.print_id.in_(results), Verdict.kind.in_(("rework", "concession"))
    )
    counts = {row[0]: row[1] for row in session.execute(decided.group_by(Verdict.print_id))}
    return {piece for piece, values in results.items() if piece and signing.is_undecided(values, counts.get(piece, 0))}


def _sheets(rows: Sequence[Any], signed: dict[tuple[int | None, str], datetime]) -> Iterator[Standing]:
    pieces: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        pieces[row.sheet_id].append(row)
    for on_it in pieces.values():
        first = on_it[0]
        doubts = [row.aside for row in on_it if row.aside and row.print_stage != "scrapped"]
        yield Standing(
            is_print=False,
            id=first.sheet_id,
            code=first.sheet_code,
            called=first.number,
            stage=first.sheet_stage,
            sheet=first.sheet_id,
            job=first.job_id,
            jobs=frozenset(row.job_id for row in on_it),
            artwork=first.artwork,
            due=first.due_on,
            aside=doubts[0] if doubts else "",
            printer=f"{first.printer} is out of use: {first.printer_held}" if first.printer_held else "",
            wait=_wait(first, first.sheet_stage, signed),
        )


def _print(row: Any, signed: dict[tuple[int | None, str], datetime], failed: set[int | None]) -> Standing:
    return Standing(
        is_print=True,
        id=row.print_id,
        code=row.print_code,
        called=row.serial,
        stage=row.print_stage,
        sheet=row.sheet_id,
        job=row.job_id,
        jobs=frozenset({row.job_id}),
        artwork=row.artwork,
        due=row.due_on,
        aside=row.aside or "",
        failed=row.print_id in failed,
        wait=_wait(row, row.print_stage, signed),
    )


def _wait(row: Any, stage: str, signed: dict[tuple[int | None, str], datetime]) -> waits.Wait | None:
    hours = {"dry": waits.longest(row.dry_hours, row.ink_dry_hours), "dwell": row.trim_hours, "pack": row.ship_hours}
    return waits.guarding(stage, hours, lambda since: signed.get((row.sheet_id, since)))
