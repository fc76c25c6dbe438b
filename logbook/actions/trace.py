"""Which pitch produced which print: forwards from a print or a file, backwards from a pitch, a test or a lot.

Everything is a plain dictionary that turns into JSON as it stands.
"""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import ColumnElement, CompoundSelect, func, or_, select, union
from sqlalchemy.orm import Session

from logbook.actions import benchrecords
from logbook.actions.finding import ref
from logbook.actions.materials import deliveries, made_of
from logbook.actions.pitchreadings import readings_of
from logbook.actions.proofs import state
from logbook.actions.recipes import corrected_words
from logbook.actions.standing import has_fallen, runs_of
from logbook.engine.readback import read_provenance
from logbook.records.audit import entries_for
from logbook.records.files import KeptFile, hash_file
from logbook.records.floor import Departure, Print, Run, RunPiece, Sheet, StepRecord, TravellerIssue
from logbook.records.forecasts import ForecastSource
from logbook.records.materials import Lot
from logbook.records.orders import Customer, Job, Order, Picture, Proof
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchTest
from logbook.refusals import Refused

_SHA256 = re.compile(r"[0-9a-f]{64}")


def find(session: Session, words: str, *, files: bool = True) -> dict[str, Any]:
    """Trace whatever the words name: a serial, a code, a SHA-256, or (with ``files``) a file on this machine."""
    words = words.strip()
    if files and _is_file(words):
        return of_file(session, Path(words))
    if _SHA256.fullmatch(words.lower()):
        return of_hash(session, words.lower())
    answers: tuple[tuple[Any, Any], ...] = (
        (Print, of_print),
        (Sheet, of_sheet),
        (PitchOnRecord, of_pitch),
        (Lot, of_lot),
    )
    for table, answer in answers:
        called = select(table).where(_named(table, words)).order_by(table.id).limit(_MOST_NAMESAKES)
        rows = list(session.execute(called).scalars())
        if len(rows) > 1 and not _one_lot(rows):
            raise Refused(f"Several are called {words!r}; use the code: {', '.join(map(_told_apart, rows))}.")
        if rows:
            return dict(answer(session, rows[0]))
    test = session.execute(select(PitchTest).where(PitchTest.code == words.upper())).scalar_one_or_none()
    if test is not None:
        return of_test(session, test)
    run = session.execute(select(Run).where(Run.code == words.upper())).scalar_one_or_none()
    if run is not None:
        return of_run(session, run)
    for answer_for in (_of_short_hash, _of_job_or_order, _of_customer):
        if (wider := answer_for(session, words)) is not None:
            return wider
    shown = words if len(words) <= _MOST_SHOWN else f"{words[:_MOST_SHOWN]}…"
    raise Refused(
        f"Nothing here is called {shown!r}: not a serial, sheet, job, order, customer, pitch, lot or file. "
        "Write less of it, or its last three characters."
    )


_MOST_NAMESAKES, _MOST_SHOWN = 9, 80
_SHORT_HASH = re.compile(r"[0-9a-f]{6,63}")


def _of_short_hash(session: Session, words: str) -> dict[str, Any] | None:
    """The file whose SHA-256 begins so, as papers and pages print it."""
    if not _SHORT_HASH.fullmatch(words.lower()):
        return None
    begins = select(KeptFile.sha256).where(KeptFile.sha256.startswith(words.lower())).limit(_MOST_NAMESAKES)
    rows = list(session.execute(begins).scalars())
    if len(rows) > 1:
        raise Refused(f"Several files begin with {words!r}; write more of it: {', '.join(row[:16] for row in rows)}.")
    return of_hash(session, rows[0]) if rows else None


def _of_job_or_order(session: Session, words: str) -> dict[str, Any] | None:
    """Every print of a job, or of an order's jobs, by number or code."""
    called = words.upper()
    job = session.execute(select(Job).where(or_(Job.number == called, Job.code == called))).scalar_one_or_none()
    if job is not None:
        return {"job": {"number": job.number, "code": job.code}, "prints": _prints(session, Print.job_id == job.id)}
    order = session.execute(select(Order).where(or_(Order.number == called, Order.code == called))).scalar_one_or_none()
    if order is None:
        return None
    told = {"number": order.number, "code": order.code, "jobs": [one.number for one in order.jobs]}
    return {"order": told, "prints": _prints(session, Job.order_id == order.id)}


def _of_customer(session: Session, words: str) -> dict[str, Any] | None:
    """Every print of the customer of this name."""
    known = select(Customer).where(func.lower(Customer.name) == words.lower()).limit(_MOST_NAMESAKES)
    rows = list(session.execute(known).scalars())
    if not rows:
        return None
    orders = select(Order.id).where(Order.customer_id.in_([row.id for row in rows]))
    told = {"name": rows[0].called, "code": rows[0].code}
    return {"customer": told, "prints": _prints(session, Job.order_id.in_(orders))}


def _one_lot(rows: list[Any]) -> bool:
    """Whether these are deliveries of one lot, which are followed together."""
    return all(isinstance(row, Lot) for row in rows) and len({row.material_id for row in rows}) == 1


def _is_file(words: str) -> bool:
    try:
        return Path(words).is_file()
    except OSError:  # longer than any file name, or in a folder nobody may look into
        return False


def _told_apart(row: Any) -> str:
    return f"{row.code} ({row.material.name})" if isinstance(row, Lot) else str(row.code)


def _named(table: Any, words: str) -> ColumnElement[bool]:
    names = {Print: "serial", Sheet: "number", Lot: "label"}
    named = [table.code == words.upper()]
    if table in names:
        wanted = [words] if table is Lot else [words, words.upper()]  # serials are typed in small letters, too
        named.append(getattr(table, names[table]).in_(wanted))
    return or_(*named)


def of_print(session: Session, piece: Print) -> dict[str, Any]:
    """Forwards: print, sheet, run, pitch, readings, lots, printer, paper, people, files."""
    return {
        **way_of(session, piece),
        "steps": [
            _step(row)
            for row in benchrecords.records_of(session, piece.sheet) + benchrecords.records_of(session, piece)
        ],
        "travellers": [
            {"revision": issue.revision, "sha256": issue.file.sha256, "audit_head": issue.head_seq}
            for issue in session.execute(
                select(TravellerIssue).where(TravellerIssue.job_id == piece.job_id).order_by(TravellerIssue.id)
            ).scalars()
        ],
        "acts": [_act(entry) for entry in entries_for(session, ref(piece))],
    }


def way_of(session: Session, piece: Print) -> dict[str, Any]:
    """The same without what was recorded on the way."""
    job = piece.job
    return {
        "print": {
            "serial": piece.serial,
            "code": piece.code,
            "stage": piece.stage,
            "sample": piece.sample,
            "set_aside": piece.set_aside_reason,
            "replaces": piece.replaces.serial if piece.replaces else None,
            "departure": _departure(session, piece),
        },
        "order": {"number": job.order.number, "customer": job.order.customer.called if job.order.customer else None},
        "job": _job(job),
        "sheet": _sheet(piece.sheet),
        "run": _run(piece.sheet.run),
        "pitch": _pitch(piece.sheet.run.pitch) if piece.sheet.run else None,
    }


def _departure(session: Session, piece: Print) -> dict[str, Any] | None:
    gone = session.execute(select(Departure).where(Departure.print_id == piece.id)).scalar_one_or_none()
    return (
        None
        if gone is None
        else {
            "how": gone.how,
            "on": gone.on.isoformat(),
            "carrier": gone.carrier,
            "tracking": gone.tracking,
            "by": gone.person.name,
        }
    )


def _job(job: Job) -> dict[str, Any]:
    answer, about_now = state(job)
    return {
        "number": job.number,
        "code": job.code,
        "artwork": job.artwork,
        "size": f"{job.width} x {job.height}",
        "flip": job.flip,
        "distance": str(job.distance),
        "answer": answer,
        "answer_is_about_these_files": about_now,
        "entered_at_stage": job.entered_at_stage,
    }


def _sheet(sheet: Sheet) -> dict[str, Any]:
    return {
        "number": sheet.number,
        "code": sheet.code,
        "lens_lot": _lot(sheet.lens_lot),
        "paper_lot": _lot(sheet.paper_lot),
        "adhesive_lot": _lot(sheet.adhesive_lot),
        "printer": f"{sheet.mode.machine.name}, {sheet.mode.name}" if sheet.mode else None,
    }


def _lot(lot: Lot | None) -> dict[str, Any] | None:
    return None if lot is None else {"code": lot.code, "label": lot.label, "material": lot.material.name}


def _run(run: Run | None) -> dict[str, Any] | None:
    if run is None:
        return None
    return {
        "code": run.code,
        "state": run.state,
        "sample": run.sample,
        "lpi": str(run.lpi),
        "pitch_on_record": str(run.pitch_lpi),
        "pitch_reason": run.pitch_reason,
        "asked_by": run.asked_by.name,
        "asked_at": run.asked_at.isoformat(),
        "accepted_by": run.accepted_by.name if run.accepted_by else None,
        "engine": run.engine_version,
        "printer": f"{run.mode.machine.name}, {run.mode.name}",
        "paper": run.paper.name,
        "lens_lot": _lot(run.lens_lot),
        "recipe": json.loads(run.recipe),
        "corrected": corrected_words(run.recipe),
        "pixels_sha256": run.pixels_sha256,
        "file_sha256": run.output.sha256 if run.output else None,
    }


def _pitch(pitch: PitchOnRecord) -> dict[str, Any]:
    return {
        "code": pitch.code,
        "origin": pitch.origin,
        "lpi": str(pitch.lpi),
        "u_lpi": str(pitch.u_lpi) if pitch.u_lpi else None,
        "lens_lot": _lot(pitch.lens_lot),
        "printer": f"{pitch.mode.machine.name}, {pitch.mode.name}",
        "paper": pitch.paper.name,
        "paper_lot": _lot(pitch.paper_lot),
        "axis": pitch.axis,
        "distance": str(pitch.distance) if pitch.distance else None,
        "temperature_c": str(pitch.temperature_c) if pitch.temperature_c is not None else None,
        "note": pitch.note,
        "accepted_by": pitch.accepted_by.name,
        "accepted_at": pitch.accepted_at.isoformat(),
        "withdrawn": pitch.withdrawal.reason if pitch.withdrawal else None,
        "test": _test(pitch.test) if pitch.test else None,
    }


def _test(test: PitchTest) -> dict[str, Any]:
    return {
        "code": test.code,
        "started_by": test.started_by.name,
        "started_at": test.started_at.isoformat(),
        "state": test.state,
        "charts": [
            {
                "code": made.code,
                "centre_lpi": str(made.centre_lpi),
                "step_lpi": str(made.step_lpi),
                "bands": made.bands,
                "width": str(made.width),
                "file_sha256": made.raster.sha256,
                "readings": [
                    {
                        "band": row.band,
                        "lpi": str(row.lpi),
                        "fringes": str(row.fringes),
                        "reader": row.reader.name,
                        "at": row.at.isoformat(),
                    }
                    for row in readings_of(made)
                ],
            }
            for made in test.charts
        ],
    }


def _step(row: StepRecord) -> dict[str, Any]:
    return {
        "stage": row.stage,
        "step": row.step_key,
        "value": row.value,
        "unit": row.unit,
        "meaning": row.meaning,
        "by": row.person.name if row.person else None,
        "at": row.at.isoformat(),
        "source": row.source,
        "reason": row.reason,
        "machine": row.machine.name if row.machine else None,
    }


def _act(entry: Any) -> dict[str, Any]:
    return {
        "seq": entry.id,
        "at": entry.at.isoformat(),
        "by": entry.actor_name,
        "action": entry.action,
        "reason": entry.reason,
    }


def of_sheet(session: Session, sheet: Sheet) -> dict[str, Any]:
    """A sheet and every print on it."""
    return {"sheet": _sheet(sheet), "prints": [of_print(session, piece) for piece in sheet.prints]}


def of_run(session: Session, run: Run) -> dict[str, Any]:
    """A run, its pitch, and every print that came from it."""
    made = Print.sheet_id.in_([sheet.id for sheet in run.sheets])
    return {"run": _run(run), "pitch": _pitch(run.pitch), "prints": _prints(session, made)}


def of_pitch(session: Session, pitch: PitchOnRecord) -> dict[str, Any]:
    """Backwards: a pitch on record and every print whose run used it."""
    return {"pitch": _pitch(pitch), "prints": _prints(session, _made_at(pitch.id)), **_forecast(session, pitch)}


def _forecast(session: Session, pitch: PitchOnRecord) -> dict[str, Any]:
    """The tests that a forecast was made from, and whether one of them was withdrawn."""
    if pitch.origin != "forecast":
        return {}
    of_it = select(ForecastSource).where(ForecastSource.forecast_id == pitch.id).order_by(ForecastSource.id)
    rows = session.execute(of_it).scalars()
    return {"forecast_from": [_pitch(row.source) for row in rows]}


def of_test(session: Session, test: PitchTest) -> dict[str, Any]:
    """Backwards: a pitch test, the pitches that came from it, and every print of them."""
    of_it = select(PitchOnRecord).where(PitchOnRecord.test_id == test.id).order_by(PitchOnRecord.id)
    pitches = list(session.execute(of_it).scalars())
    return {
        "test": _test(test),
        "pitches": [_pitch(pitch) for pitch in pitches],
        "prints": _prints(session, _made_at(*(pitch.id for pitch in pitches))),
    }


def of_lot(session: Session, lot: Lot) -> dict[str, Any]:
    """Backwards: a lot, in every delivery of it, and every print made of it."""
    lots = deliveries(session, lot)
    of = [one.id for one in lots]
    return {
        "lot": {**(_lot(lot) or {}), "kind": lot.material.kind, "set_aside": lot.set_aside_reason},
        "deliveries": [{"code": one.code, "received": one.received_at.isoformat()} for one in lots],
        "pitches": [
            _pitch(pitch)
            for pitch in session.execute(
                select(PitchOnRecord).where(PitchOnRecord.lens_lot_id.in_(of)).order_by(PitchOnRecord.id)
            ).scalars()
        ],
        "prints": _prints(session, made_of(lots)),
    }


def _made_at(*pitch_ids: int) -> ColumnElement[bool]:
    """Prints of these pitches' runs, from the runs downwards: the other way round is a walk through every print."""
    sheets = select(Sheet.id).where(Sheet.run_id.in_(select(Run.id).where(runs_of(*pitch_ids))))
    return Print.sheet_id.in_(sheets)


def _prints(session: Session, condition: Any) -> list[dict[str, Any]]:
    rows = session.execute(
        select(*_SHORT.values())
        .select_from(Print)
        .join(Sheet, Print.sheet_id == Sheet.id)
        .join(Lot, Sheet.lens_lot_id == Lot.id)
        .join(Job, Print.job_id == Job.id)
        .outerjoin(Run, Sheet.run_id == Run.id)
        .where(condition)
        .order_by(Print.id)
    )
    return [_told(dict(zip(_SHORT, row, strict=True))) for row in rows]


_SHORT = {
    "serial": Print.serial,
    "code": Print.code,
    "stage": Print.stage,
    "sample": Print.sample,
    "set_aside": Print.set_aside_reason,
    "lpi": Run.lpi,
    "pitch_withdrawn": has_fallen().label("pitch_withdrawn"),
    "job": Job.number,
    "lens_lot": Lot.label,
}
"""What a list shows of a print: columns alone, since a lot leads to hundreds."""


def _told(line: dict[str, Any]) -> dict[str, Any]:
    told = {**line, "lpi": str(line["lpi"]) if line["lpi"] is not None else None}
    return {**told, "pitch_withdrawn": bool(line["pitch_withdrawn"])}


def of_file(session: Session, path: Path, *, name: str = "", told: dict[str, Any] | None = None) -> dict[str, Any]:
    """Whose file this is: by its bytes, or by what it says about itself (``told``, read here where it is None)."""
    sha256 = hash_file(path)
    if session.execute(select(KeptFile.id).where(KeptFile.sha256 == sha256)).first():
        return of_hash(session, sha256)
    code = str((what_a_file_tells(path) if told is None else told).get("run", ""))
    run = session.execute(select(Run).where(Run.code == code)).scalar_one_or_none() if code else None
    if run is None:
        raise Refused(
            f"{name or path.name} is not a file of this shop: neither its bytes nor its own words are on "
            "record. Try the serial that stands on the print."
        )
    return {
        "file": {
            "sha256": sha256,
            "same_bytes": False,
            "remark": "It names this run, but its bytes differ from the file on record.",
        },
        **of_run(session, run),
    }


def what_a_file_tells(path: Path, *, opening: Callable[[Path], dict[str, Any]] = read_provenance) -> dict[str, Any]:
    """An interlaced file's own story, without any logbook; empty for other files."""
    try:
        return dict(opening(path))
    except Refused:
        return {}


def of_hash(session: Session, sha256: str) -> dict[str, Any]:
    """Everything that used the file with this SHA-256."""
    kept = session.execute(select(KeptFile).where(KeptFile.sha256 == sha256)).scalar_one_or_none()
    if kept is None:
        raise Refused(f"No file with the SHA-256 {sha256[:12]}… is on record here; try the serial or the sheet.")
    found = {"sha256": sha256, "same_bytes": True, "kind": kept.kind, "size": kept.size}
    run = session.execute(select(Run).where(Run.output_id == kept.id)).scalars().first()
    if run is not None:
        return {"file": found, **of_run(session, run)}
    chart = session.execute(select(PitchChart).where(PitchChart.raster_id == kept.id)).scalars().first()
    if chart is not None:
        return {"file": found, **of_test(session, chart.test)}
    if session.execute(select(Picture.id).where(Picture.file_id == kept.id)).first():
        # a picture that was replaced before the run made no print of it
        theirs = Run.id.in_(select(RunPiece.run_id).where(RunPiece.job_id.in_(_jobs_with(kept))))
        used = or_(theirs & Run.recipe.contains(sha256), Run.id.is_(None) & Print.job_id.in_(_jobs_with(kept)))
    else:
        used = Print.job_id.in_(_jobs_with(kept))
    return {"file": found, "prints": _prints(session, used)}


def _jobs_with(kept: KeptFile) -> CompoundSelect[tuple[int]]:
    """The jobs whose pictures, proofs or travellers this file is."""
    return union(
        select(Picture.job_id).where(or_(Picture.file_id == kept.id, Picture.preview_id == kept.id)),
        select(Proof.job_id).where(or_(Proof.animation_id == kept.id, Proof.page_id == kept.id)),
        select(TravellerIssue.job_id).where(TravellerIssue.file_id == kept.id),
    )
