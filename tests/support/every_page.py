"""Every page of the app with a real object behind it: the demo's folder gives one of each kind."""

from pathlib import Path

from sqlalchemy import select

from logbook.records.floor import Print, Run, Sheet
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.opened import open_shop
from logbook.records.orders import Job, Proof
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchTest
from logbook.settings import Settings
from logbook.web.app import create_app

SIZES = {"phone": (360, 740), "tablet": (820, 1180), "desktop": (1280, 900)}
THEMES = ("light", "dark")
OWNER, OWNER_PASSWORD = "Ilse Varga", "ridge-and-valley"

NOT_PAGES = {
    "static",
    "entry.icon",
    "files.preview",
    "files.on_piece",
    "files.original",
    "files.photo",
    "files.moving",
    "files.proof_page",
    "papers.asset",
    "papers.go",
    "papers.view",
    "papers.issued",
    "papers.safety_pdf",
    "papers.small_pdf",
    "pitch.chart_file",
    "pitch.on_paper",
    "runs.state",
    "runs.file",
    "runs.seen",
    "runs.strips",
}
"""Endpoints that answer a GET with a file, a picture, data or a redirect."""
PAPERS = {"papers.traveller", "papers.safety", "papers.first_aid", "papers.small"}
"""Pages that are papers: they keep the size of a sheet, with margins of their own on a phone."""
BENCH_PAGES = {"bench.sheet", "bench.piece", "bench.place_list"}


def every_page(data: Path) -> dict[str, str]:
    """Name of a page to its path, for every GET page of the URL map; several where one address has several faces.

    Raises AssertionError for an endpoint nobody gave an object to: a new page needs a row here.
    """
    shop = open_shop(Settings(data=data))
    app = create_app(shop, ring=lambda _: None)
    known = {rule.endpoint: rule.rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())}
    with shop.database.reading() as session:
        paths = _paths(session)
    shop.database.close()
    missing = set(known) - set(paths) - NOT_PAGES
    assert missing == set(), f"pages without an example in tests/support/every_page.py: {sorted(missing)}"
    return {
        name if not face else f"{name}-{face}": path for name, faces in paths.items() for face, path in faces.items()
    }


def _paths(session) -> dict[str, dict[str, str]]:
    def first(table, *conditions):
        return session.execute(select(table).where(*conditions).order_by(table.id)).scalars().first()

    def one(path: str) -> dict[str, str]:
        return {"": path}

    sheets = {
        stage: first(Sheet, Sheet.stage == stage)
        for stage in ("print", "dry", "adhesive", "laminate", "dwell", "parted")
    }
    pieces = {stage: first(Print, Print.stage == stage) for stage in ("trim", "inspect", "pack", "gone", "scrapped")}
    job = first(Job, Job.quantity == 5)
    asked = session.execute(select(Job).join(Proof, Proof.job_id == Job.id).order_by(Job.id.desc())).scalars().first()
    own = session.execute(select(Job).order_by(Job.id.desc())).scalars().first()
    withdrawn = next(row for row in session.execute(select(PitchOnRecord)).scalars() if row.withdrawal)
    machines = {row.name: row for row in session.execute(select(Machine)).scalars()}
    order, run, test, lot = job.order, first(Run, Run.state == "done"), first(PitchTest), first(Lot)
    return {
        "entry.found": one("/found"),
        "entry.sign_in": one("/sign-in"),
        "today.today": one("/"),
        "orders.listing": {"": "/orders", "closed": "/orders?show=closed"},
        "orders.new": one("/orders/new"),
        "orders.order": one(f"/order/{order.code}"),
        "orders.add_job": one(f"/order/{order.code}/job"),
        "jobs.job": {"copies": f"/job/{job.code}", "asked": f"/job/{asked.code}", "own": f"/job/{own.code}"},
        "jobs.materials": one(f"/job/{own.code}/materials"),
        "jobs.pitch": one(f"/job/{own.code}/pitch"),
        "jobs.change": one(f"/job/{own.code}/change"),
        "jobs.midway": one(f"/job/{own.code}/half-done"),
        "runs.run": one(f"/run/{run.code}"),
        "pitch.listing": one("/pitch"),
        "pitch.new": one("/pitch/new"),
        "pitch.carry": one("/pitch/carry"),
        "pitch.test": one(f"/pitch/test/{test.code}"),
        "pitch.on_record": {"": f"/pitch/{first(PitchOnRecord).code}", "withdrawn": f"/pitch/{withdrawn.code}"},
        "pitch.over_time": one(f"/pitch/{first(PitchOnRecord).code}/over-time"),
        "bench.place_list": one("/bench"),
        "bench.sheet": {stage: f"/sheet/{row.code}" for stage, row in sheets.items()},
        "bench.piece": {stage: f"/print/{row.code}" for stage, row in pieces.items()},
        "stock.listing": one("/stock"),
        "stock.new": one("/stock/new"),
        "stock.new_lot": one(f"/stock/{first(Material).code}/lot"),
        "stock.lot": one(f"/lot/{lot.code}"),
        "machines.listing": one("/machines"),
        "machines.new": one("/machines/new"),
        "machines.machine": {
            "set": f"/machine/{machines['Rosa'].code}",
            "not-set": f"/machine/{machines['Old crank'].code}",
            "printer": f"/machine/{machines['Ida'].code}",
        },
        "shop.shop": one("/shop"),
        "shop.tablet": one("/shop/tablet"),
        "shop.record": one("/shop/record"),
        "shop.check_record": one("/shop/record/check"),
        "tracing.by_words": {"": "/trace", "lot": f"/trace?q={lot.code}", "nothing": "/trace?q=nothing-here"},
        "papers.traveller": {"": f"/job/{job.code}/traveller", "not-set": f"/job/{own.code}/traveller?page=Letter"},
        "papers.safety": {"wall": "/safety", "traveller": "/safety?size=traveller"},
        "papers.first_aid": one("/safety/first-aid"),
        "papers.small": {
            kind: f"/print-out/{kind}/{code}"
            for kind, code in (
                ("labels", job.code),
                ("chart-note", first(PitchChart).code),
                ("daily-check", machines["Rosa"].code),
                ("care-card", order.code),
                ("shipping-note", order.code),
                ("inspection", pieces["gone"].code),
                ("quote", order.code),
                ("today", "now"),
            )
        },
    }
