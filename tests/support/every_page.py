"""Every page of the app with a real object behind it, and what nobody may have forgotten."""

from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.leaving import failed_inspection
from logbook.records.floor import JobMaterials, Print, Run, Sheet
from logbook.records.leaks import LeakReading, LeakSheet
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.opened import open_shop
from logbook.records.orders import Job, Proof, Reorder
from logbook.records.people import Person
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchPhoto, PitchTest
from logbook.records.places import Place
from logbook.records.quotes import Quote
from logbook.settings import Settings
from logbook.web.app import create_app
from support.furnished import LOT_ASIDE, SPARE, TABLET_CODE

SIZES = {"phone": (360, 740), "tablet": (820, 1180), "desktop": (1280, 900)}
THEMES = ("light", "dark")

LENS_ASKED = "width=80mm&height=100mm&distance=0.4m&pictures=6&use=hand&flip=left-right"
NOT_PAGES = {
    "align.blended",
    "align.fitted",
    "static",
    "arriving.state",
    "batches.state",
    "batches.document",
    "entry.again",
    "entry.icon",
    "files.preview",
    "files.on_piece",
    "files.of_job",
    "files.of_proof",
    "files.original",
    "files.photo",
    "files.moving",
    "files.proof_page",
    "lotpapers.paper",
    "numbers.as_csv",
    "papers.asset",
    "papers.go",
    "places.begin",
    "papers.view",
    "papers.issued",
    "papers.safety_pdf",
    "papers.small_pdf",
    "pitch.chart_file",
    "pitch.on_paper",
    "pitch.read_again",
    "pitchphotos.picture",
    "runs.state",
    "status.state",
    "runs.file",
    "runs.seen",
    "runs.flip",
    "runs.strips",
    "runs.eye",
    "ghosting.drawn",
    "leaks.sheet_file",
    "leaks.sheet_json",
    "leaks.sheet_pdf",
}
"""Endpoints that answer a GET with a file, a picture, data or a redirect."""
BEFORE_SIGN_IN = {"entry.found": "/found", "entry.sign_in": "/sign-in"}
"""Pages for people whom the logbook does not know yet."""
BENCH_PAGES = ("bench.", "places.here", "places.enrol", "onpaper.", "papercheck.")
"""Pages of the bench begin with one of these: hands there are inky, gloved or in a hurry."""

PAPERS = ("papers.",)
"""Papers begin with this: laid out for a sheet, perhaps with several cards or labels on it, and shown as they print."""

Faces = dict[str, dict[str, str]]
"""Endpoint to the faces that it has, each with its path; the face "" is the only one."""


def every_page(data: Path) -> dict[str, str]:
    """Name of a page to its path, for every GET page of the URL map; several where one address has several faces.

    Raises AssertionError for an endpoint nobody gave an object to: a new page needs a row here.
    """
    shop = open_shop(Settings(data=data))
    app = create_app(shop, ring=lambda _: None)
    known = {rule.endpoint for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())}
    with shop.database.reading() as session:
        faces = _office(session) | _pitches(session) | _bench(session) | _stores(session) | _papers(session)
    shop.database.close()
    missing = known - set(faces) - NOT_PAGES - set(BEFORE_SIGN_IN)
    assert missing == set(), f"pages without an example in tests/support/every_page.py: {sorted(missing)}"
    assert set(faces) <= known, f"no such pages any more: {sorted(set(faces) - known)}"
    return {
        name if not face else f"{name}-{face}": path for name, shown in faces.items() for face, path in shown.items()
    }


def _first(session: Session, table: Any, *conditions: Any) -> Any:
    found = session.execute(select(table).where(*conditions).order_by(table.id)).scalars().first()
    assert found is not None, f"no {table.__name__} like that in the furnished shop"
    return found


def _shared(session: Session) -> Sheet:
    """A sheet with several pieces on it."""
    found = session.execute(select(Sheet).order_by(Sheet.id.desc())).scalars()
    return next(sheet for sheet in found if sheet.run and len(sheet.run.pieces) > 1)


def _measured(session: Session) -> Job:
    """A job that is not over, whose lens, printer and paper have a measured leak."""
    reading = _first(session, LeakReading)
    found = _first(
        session,
        JobMaterials,
        JobMaterials.paper_id == reading.paper_id,
        JobMaterials.lens_lot.has(material_id=reading.lens_id),
        JobMaterials.mode.has(machine_id=reading.printer_id),
        JobMaterials.job_id.in_(select(Job.id).where(Job.ended_at.is_(None))),
    )
    return session.get_one(Job, found.job_id)


def _one(path: str) -> dict[str, str]:
    return {"": path}


def _office(session: Session) -> Faces:
    copies = _first(session, Job, Job.quantity == 5)
    asked = session.execute(select(Job).join(Proof, Proof.job_id == Job.id).order_by(Job.id.desc())).scalars().first()
    own = session.execute(select(Job).order_by(Job.id.desc())).scalars().first()
    half = _first(session, Job, Job.entered_at_stage.is_not(None))
    gone = _first(session, Job, Job.ended_at.is_not(None))
    again = _first(session, Reorder).job
    assert asked is not None
    assert own is not None
    order = copies.order
    return {
        "today.today": _one("/"),
        "batches.overview": _one("/travellers"),
        "orders.listing": {"": "/orders", "closed": "/orders?show=closed"},
        "orders.new": _one("/orders/new"),
        "orders.order": _one(f"/order/{order.code}"),
        "customers.customer": _one(f"/customer/{order.customer.code}"),
        "erasing.customer": _one(f"/customer/{order.customer.code}/forget"),
        "erasing.pictures": _one(f"/job/{asked.code}/forget-pictures"),
        "orderchange.change": _one(f"/order/{order.code}/change"),
        "orders.add_job": _one(f"/order/{order.code}/job"),
        "ghosting.for_job": {"known": f"/job/{copies.code}/ghosting", "unknown": f"/job/{own.code}/ghosting",
                             "measured": f"/job/{_measured(session).code}/ghosting"},
        "lenses.ask": {"": "/lens", "answered": f"/lens?{LENS_ASKED}"},
        "lenses.for_job": _one(f"/job/{copies.code}/lens"),
        "align.for_job": _one(f"/job/{copies.code}/pictures-on-print"),
        "texts.for_job": _one(f"/job/{copies.code}/texts"),
        "texts.wording": _one("/shop/texts"),
        "quotes.listing": _one("/quotes"),
        "quotes.new": _one("/quotes/new"),
        "quotes.quote": {row.state: f"/quote/{row.code}" for row in session.execute(select(Quote)).scalars()},
        "reorders.of_order": _one(f"/order/{gone.order.code}/again"),
        "reorders.of_job": _one(f"/job/{gone.code}/again"),
        "jobs.job": {
            "again": f"/job/{again.code}",
            "copies": f"/job/{copies.code}",
            "asked": f"/job/{asked.code}",
            "own": f"/job/{own.code}",
            "half-done": f"/job/{half.code}",
        },
        "jobs.materials": _one(f"/job/{own.code}/materials"),
        "jobs.pitch": _one(f"/job/{own.code}/pitch"),
        "jobs.change": _one(f"/job/{own.code}/change"),
        "jobs.midway": _one(f"/job/{own.code}/half-done"),
        "forecasts.for_job": {"known": f"/job/{copies.code}/forecast", "unknown": f"/job/{own.code}/forecast"},
        "mounting.begin": _one(f"/job/{own.code}/mounting"),
        "arriving.arriving": _one("/shop/arriving"),
        "numbers.overview": _one("/shop/numbers"),
        "sharing.sheet": _one(f"/job/{copies.code}/share"),
        "runs.run": {
            **{state: f"/run/{_first(session, Run, Run.state == state).code}" for state in ("done", "cancelled")},
            "dots": f"/run/{_first(session, Run, Run.state == 'done').code}?left=5&top=5&mm=5",
            "shared": f"/run/{_shared(session).run.code}",
            "eyes": f"/run/{_first(session, Run, Run.state == 'done').code}?distance=600&beside=0",
        },
        "shop.shop": _one("/shop"),
        "status.status": _one("/shop/status"),
        "steps.steps": _one("/shop/steps"),
        "steps.stage": {"plain": "/shop/steps/trim", "rollers": "/shop/steps/adhesive"},
        "staff.person": {
            "": f"/shop/person/{_first(session, Person, Person.active).code}",
            "gone": f"/shop/person/{_first(session, Person, ~Person.active).code}",
        },
        "places.listing": _one("/shop/places"),
        "places.place": _one(f"/shop/place/{_first(session, Place).code}"),
        "places.enrol": {"": f"/enrol/{TABLET_CODE}", "used": "/enrol/NOTHERE"},
        "places.here": _one(f"/place/{_first(session, Place).code}"),
        "shop.tablet": _one("/shop/tablet"),
        "shop.record": _one("/shop/record"),
    }


def _pitches(session: Session) -> Faces:
    rows = session.execute(select(PitchOnRecord).order_by(PitchOnRecord.id)).scalars().all()
    withdrawn = next(row for row in rows if row.withdrawal)
    tests = {state: _first(session, PitchTest, PitchTest.state == state).code for state in ("accepted", "open")}
    lot = _first(session, Lot)
    return {
        "pitch.listing": _one("/pitch"),
        "pitch.new": _one("/pitch/new"),
        "pitch.carry": _one("/pitch/carry"),
        "pitch.test": {state: f"/pitch/test/{code}" for state, code in tests.items()},
        "pitch.on_record": {"": f"/pitch/{rows[0].code}", "withdrawn": f"/pitch/{withdrawn.code}"},
        "pitchphotos.take": _one(f"/pitch/chart/{_first(session, PitchPhoto).chart.code}/photograph"),
        "pitchphotos.show": _one(f"/pitch/photograph/{_first(session, PitchPhoto).code}"),
        "leaks.listing": _one("/leaks"),
        "leaks.sheet": {
            "read": f"/leak-sheet/{_first(session, LeakSheet, LeakSheet.readings.any()).code}",
            "to-read": f"/leak-sheet/{_first(session, LeakSheet, ~LeakSheet.readings.any()).code}",
        },
        "pitch.over_time": _one(f"/pitch/{rows[0].code}/over-time"),
        "words.listing": _one("/words"),
        "tracing.by_words": {"": "/trace", "lot": f"/trace?q={lot.code}", "nothing": "/trace?q=nothing-here"},
    }


def _bench(session: Session) -> Faces:
    sheets = {
        stage: _first(session, Sheet, Sheet.stage == stage, Sheet.run_id.is_not(None))
        for stage in ("print", "dry", "adhesive", "laminate", "dwell", "parted")
    }
    sheets["rollers"] = _first(session, Sheet, Sheet.stage == "laminate", Sheet.run_id.is_(None))
    pieces = {
        stage: _first(session, Print, Print.stage == stage, Print.set_aside_reason.is_(None))
        for stage in ("on sheet", "trim", "inspect", "pack", "gone", "scrapped")
    }
    waiting = session.execute(select(Print).where(Print.stage == "inspect")).scalars()
    pieces["failed"] = next(piece for piece in waiting if failed_inspection(session, piece))
    pieces["aside"] = _first(session, Print, Print.set_aside_reason.is_not(None))
    return {
        "bench.place_list": _one("/bench"),
        "onpaper.take_over": {
            "sheet": f"/from-paper/sheet/{sheets['print'].code}",
            "print": f"/from-paper/print/{pieces['trim'].code}",
        },
        "bench.sheet": {stage: f"/sheet/{row.code}" for stage, row in sheets.items()},
        "bench.piece": {stage.replace(" ", "-"): f"/print/{row.code}" for stage, row in pieces.items()},
    }


def _stores(session: Session) -> Faces:
    aside = _first(session, Lot, Lot.label == LOT_ASIDE)
    return {
        "stock.listing": _one("/stock"),
        "stock.new": _one("/stock/new"),
        "materialfacts.change": _one(f"/stock/{_first(session, Material).code}/change"),
        "stock.new_lot": _one(f"/stock/{_first(session, Material).code}/lot"),
        "stock.lot": {"": f"/lot/{_first(session, Lot).code}", "aside": f"/lot/{aside.code}"},
        "machines.listing": _one("/machines"),
        "machines.new": _one("/machines/new"),
        "papercheck.take_over": _one(f"/machine/{_machines(session)['set'].code}/check-from-paper"),
        "machines.machine": {face: f"/machine/{row.code}" for face, row in _machines(session).items()},
    }


def _machines(session: Session) -> dict[str, Machine]:
    laminator = Machine.kind == "laminator"
    return {
        "set": _first(session, Machine, laminator, Machine.manual != ""),
        "not-set": _first(session, Machine, laminator, Machine.manual == "", Machine.out_of_use_reason.is_(None)),
        "out-of-use": _first(session, Machine, Machine.name == SPARE),
        "printer": _first(session, Machine, Machine.kind == "printer"),
        "trimmer": _first(session, Machine, Machine.kind == "trimmer"),
    }


def _papers(session: Session) -> Faces:
    job = _first(session, Job, Job.quantity == 5)
    own = session.execute(select(Job.code).order_by(Job.id.desc())).scalars().first()
    machines = _machines(session)
    small = {
        "labels": job.code,
        "chart-note": _first(session, PitchChart).code,
        "daily-check": machines["set"].code,
        "out-of-use": machines["out-of-use"].code,
        "care-card": job.order.code,
        "shipping-note": job.order.code,
        "inspection": _first(session, Print, Print.stage == "gone").code,
        "quote": job.order.code,
        "given-quote": _first(session, Quote).code,
        "today": "now",
        "cut-plan": _shared(session).code,
    }
    return {
        "papers.traveller": {"": f"/job/{job.code}/traveller", "not-set": f"/job/{own}/traveller?page=Letter"},
        "papers.safety": _one("/safety"),
        "papers.first_aid": _one("/safety/first-aid"),
        "papers.small": {kind: f"/print-out/{kind}/{code}" for kind, code in small.items()},
    }
