"""Papers: what the shop knows, gathered for printing. The paper room turns it into HTML and PDF."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from io import BytesIO
from pathlib import Path

from PIL import Image
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from logbook.actions import benchrecords, jobs, machines, overtaken, printers, travellernumbers, waithours
from logbook.actions.alignment import on_piece
from logbook.actions.finding import fact, ref
from logbook.actions.pictures import current
from logbook.actions.sheets import MOUNT_ONLY, without_run
from logbook.actions.shop import step_list
from logbook.actions.travellernumbers import PLAIN
from logbook.engine import proofing
from logbook.manner import Manner
from logbook.paper import views
from logbook.paper.forms import ProofSheet
from logbook.paper.rows import shown_cards
from logbook.paper.shelf import read_shelf
from logbook.records.audit import Act, Actor, Head, entries_for, head, record
from logbook.records.files import FileStore, keep
from logbook.records.floor import JobMaterials, Print, Run, RunPiece, Sheet, StepRecord, TravellerIssue
from logbook.records.machines import Machine
from logbook.records.orders import Job, Order
from logbook.records.people import Person
from logbook.refusals import Refused
from logbook.rules.rollers import LEADING_EDGE, missing_fields

THUMBNAIL_LONG_SIDE = 420
_JOB_STAGES = ("order", "pictures", "materials", "pitch", "interlace")



@dataclass(frozen=True, slots=True)
class Gathered:
    """A traveller ready to be rendered: its view and what draws the pictures it links to, by asset name."""

    view: views.Traveller
    pictures: dict[str, Callable[[], bytes]]
    revision: int
    head: Head
    """The trail's head that the paper shows."""

    def assets(self) -> dict[str, bytes]:
        """The pictures' bytes, drawn now: when the database is closed."""
        return {name: draw() for name, draw in self.pictures.items()}


def traveller(
    session: Session, by: Actor, *, job: Job, store: FileStore, own_safety: Path, address: str, manner: Manner = PLAIN
) -> Gathered:
    """Everything a job's traveller shows, as it stands now.

    ``address`` is this logbook's address, for the QR codes; ``manner`` is how whoever prints it reads numbers.
    """
    shelf = read_shelf(own_safety)
    materials, run = jobs.materials_of(session, job), _newest_run(session, job)
    prints = list(
        session.execute(
            select(Print).where(Print.job_id == job.id, Print.stage != "scrapped").order_by(Print.id)
        ).scalars()
    )
    sheets = list(dict.fromkeys(piece.sheet for piece in prints))
    runs = list(dict.fromkeys(sheet.run for sheet in sheets if sheet.run)) or ([run] if run else [])
    revision = _next_revision(session, job)
    pictures = thumbnails(job, store)
    newest, steps = head(session), travellernumbers.own_steps(step_list(job.step_list), manner)
    pitch, numbers = (
        travellernumbers.shared([travellernumbers.made(job, sheet, manner=manner) for sheet in sheets])
        if sheets
        else travellernumbers.planned(job, materials, jobs.pitch_of(session, job), run, manner=manner)
    )
    view = views.Traveller(
        imprint=views.Imprint(
            shop=fact(session, "shop name"),
            printed_at=f"{by.now.astimezone():%Y-%m-%d %H:%M}",
            printed_by=by.name,
            revision=str(revision),
            audit_head=f"{newest.seq} {newest.hash[:16]}",
        ),
        job=job.number,
        title=job.artwork,
        address=f"{address}go/{job.code}",
        steps=steps,
        cards=shelf.cards,
        pitch=pitch,
        flip=job.flip,  # type: ignore[arg-type]
        order=job.order.number,
        customer=job.order.customer.called if job.order.customer else "the shop's own",
        due=f"{job.order.due_on:%Y-%m-%d}" if job.order.due_on else "",
        quantity=str(job.quantity),
        banners=(*_banners(job, prints), *_look_first(session, sheets, run)),
        pictures=tuple(views.Thumbnail(number, name) for number, name in enumerate(pictures, start=1)),
        numbers=numbers,
        sheets=tuple(_sheet_columns(job, sheets, numbers, address, manner)),
        pieces=tuple(_piece_column(piece, address) for piece in prints),
        machines=tuple(_benches(session, materials)),
        entries=tuple(_entries(session, sheets, prints, manner)),
        closed=_closed(session, job, runs),
        remarks=(*map(manner.sentence, _remarks(session, sheets, prints)), *(one.sentence for one in steps.altered)),
        people=_people(session),
        leading_edge=LEADING_EDGE[job.flip],
        local_rule=fact(session, "local rule"),
        limits=travellernumbers.limits_of(steps, job, run, manner) | waithours.on_paper(sheets, materials),
    )
    return Gathered(view, pictures, revision, newest)


def _next_revision(session: Session, job: Job) -> int:
    issued = select(func.count(TravellerIssue.id)).where(TravellerIssue.job_id == job.id)
    return 1 + session.execute(issued).scalar_one()


def _newest_run(session: Session, job: Job) -> Run | None:
    return session.execute(
        select(Run)
        .join(RunPiece, RunPiece.run_id == Run.id)
        .where(RunPiece.job_id == job.id, Run.state == "done")
        .order_by(Run.accepted_at.is_(None), Run.id.desc())
        .limit(1)
    ).scalar_one_or_none()


def open_jobs(session: Session) -> list[Job]:
    """Every job that has not ended, in due order."""
    rows = session.execute(
        select(Job).join(Order).where(Job.ended_at.is_(None)).order_by(Order.due_on.is_(None), Order.due_on, Job.id)
    )
    return list(rows.scalars())


def thumbnails(job: Job, store: FileStore) -> dict[str, Callable[[], bytes]]:
    """What draws small JPEG views of a job's pictures as they will stand on the piece, by asset name in play order."""

    def drawn(view: Callable[[], Image.Image]) -> bytes:
        return proofing.jpeg(view())

    return {
        f"view-{number}": partial(drawn, on_piece(picture, store, long_side=THUMBNAIL_LONG_SIDE))
        for number, picture in enumerate(current(job), start=1)
    }


def _banners(job: Job, prints: list[Print]) -> tuple[str, ...]:
    told = []
    if prints and all(piece.sample for piece in prints):
        told.append("SAMPLE: cannot leave as the order")
    if job.kind == MOUNT_ONLY:
        told.append("Mounting only: the customer's own print, nothing to spare")
    if job.entered_at_stage:
        told.append(f"Before the logbook: everything up to {job.entered_at_stage}")
    return tuple(told)


def _look_first(session: Session, sheets: list[Sheet], newest: Run | None) -> Iterator[str]:
    """What was chosen since a file was made that is still to be printed."""
    waiting = [sheet.run for sheet in sheets if sheet.stage == "print"] if sheets else [newest]
    for run in dict.fromkeys(filter(None, waiting)):
        if told := overtaken.overtaken(session, run):
            yield f"Look before printing. {told}"


def _sheet_columns(
    job: Job, sheets: list[Sheet], common: views.Numbers, address: str, manner: Manner
) -> Iterator[views.Column]:
    for sheet in sheets:
        pitch, numbers = travellernumbers.made(job, sheet, manner=manner)
        yield views.Column(
            code=sheet.number,
            address=f"{address}go/{sheet.code}",
            holds=", ".join(piece.serial for piece in sheet.prints),
            aside="; ".join(dict.fromkeys(filter(None, map(_aside, sheet.prints)))),
            pitch=pitch,
            file_hash=numbers.file_hash,
            more=travellernumbers.beside(numbers, common),
        )


def _piece_column(piece: Print, address: str) -> views.Column:
    note = "sample" if piece.sample else ""
    return views.Column(code=piece.serial, address=f"{address}go/{piece.code}", note=note, aside=_aside(piece))


def _aside(piece: Print) -> str:
    """Why nothing of this print, or of the sheet that carries it, can be signed; empty for most."""
    return (piece.set_aside_reason or "") if piece.stage != "scrapped" else ""


def _benches(session: Session, materials: JobMaterials | None) -> list[views.Bench]:
    found = [materials.mode.machine] if materials else []
    for kind in ("laminator", "trimmer"):
        rows = list(
            session.execute(
                select(Machine).where(Machine.kind == kind).order_by(Machine.out_of_use_reason.is_not(None), Machine.id)
            ).scalars()
        )
        # the one that work can be done at, else the traveller says what is missing
        rows.sort(key=lambda row: bool(row.out_of_use_reason or missing_fields(machines.machine_facts(row))))
        found.extend(rows[:1])
    shown = [bench_view(machine) for machine in found]
    if not any(machine.kind == "trimmer" for machine in found):
        shown.append(views.Bench(kind="trimmer", name="by hand: knife and rule", drive="hand", cutting="knife"))
    return shown


def bench_view(machine: Machine) -> views.Bench:
    """A machine as papers show it."""
    return views.Bench(
        kind=machine.kind,
        name=machine.name,
        drive=machine.drive,
        heated=machine.heated,
        cutting=machine.cutting,
        missing=tuple(missing_fields(machines.machine_facts(machine))),
        out_of_use=machine.out_of_use_reason or "",
        manual=machine.manual,
        competent_role=machine.competent_role,
        stop_position=machine.stop_position,
        isolator=machine.isolator,
        freeing_procedure=machine.freeing_procedure,
        remark=_printer_remark(machine) if machine.kind == "printer" else "",
    )


def _printer_remark(machine: Machine) -> str:
    if missing := printers.undescribed(machine):
        return f"not described yet. Missing: {'; '.join(missing)}."
    return f"scaling and sharpening off: {machine.scaling_off}"


def _entries(session: Session, sheets: list[Sheet], prints: list[Print], manner: Manner) -> list[views.Entry]:
    columns: list[tuple[str, list[StepRecord]]] = [
        (sheet.number, benchrecords.records_of(session, sheet)) for sheet in sheets
    ]
    columns += [(piece.serial, benchrecords.records_of(session, piece)) for piece in prints]
    shown = [(column, row) for column, rows in columns for row in rows if not row.step_key.endswith(_UNSHOWN)]
    covered = [entry for sheet in sheets for entry in _covered(session, sheet)]
    return [*(_entry(column, row, manner) for column, row in shown), *covered]


_UNSHOWN = ("-before", "-interrupted")
_SHA256_LENGTH = 64


def _entry(column: str, row: StepRecord, manner: Manner) -> views.Entry:
    if row.person is None:
        return views.Entry(step=row.step_key, column=column, value=row.value)
    value = "photo" if len(row.value) == _SHA256_LENGTH else manner.measured(row.value, row.unit)
    value = "" if row.step_key.endswith("-sign") else value
    at = f"{row.at.astimezone():%m-%d %H:%M}"
    return views.Entry(step=row.step_key, column=column, value=value, by=row.person.initials, at=at)


def _covered(session: Session, sheet: Sheet) -> Iterator[views.Entry]:
    """Safety ticks that an earlier sheet's session at the rollers covers for this one."""
    rows = benchrecords.records_of(session, sheet)
    recorded = {row.step_key for row in rows}
    for row in rows:
        if row.step_key != f"{row.stage}-before" or row.roller_session is None:
            continue
        for step in benchrecords.steps_of(benchrecords.job_of(sheet)).stage(row.stage).steps:
            if step.safety and step.record == "tick" and step.key not in recorded:
                told = row.roller_session
                since = f"{told.started_at.astimezone():%m-%d %H:%M}"
                yield views.Entry(step.key, sheet.number, "ticked once", told.person.initials, since)


def _closed(session: Session, job: Job, runs: list[Run]) -> tuple[views.Closed, ...]:
    """The job's own stages in one line each, once the app has recorded them."""
    if job.entered_at_stage or job.kind == MOUNT_ONLY:
        return tuple(views.Closed(stage, without_run(job)) for stage in _JOB_STAGES)
    lines = {"order": f"taken {job.order.placed_at.astimezone():%Y-%m-%d %H:%M}"}
    if job.proofs and job.proofs[-1].answers:
        answer = job.proofs[-1].answers[-1]
        told = f"proof {job.proofs[-1].revision} {answer.verdict} by {answer.how}"
        lines["pictures"] = f"{told}, {answer.at.astimezone():%Y-%m-%d}, written down by {answer.recorded_by.name}"
    if chosen := jobs.materials_of(session, job):
        lines["materials"] = f"chosen by {chosen.person.name}, {chosen.at.astimezone():%Y-%m-%d %H:%M}"
    if picked := jobs.pitch_of(session, job):
        lines["pitch"] = f"{picked.pitch.origin} {picked.pitch.code}, chosen by {picked.person.name}" + (
            f": {picked.reason}" if picked.reason else ""
        )
    if accepted := [_accepted(session, run) for run in runs if run.accepted_by is not None]:
        lines["interlace"] = "; ".join(accepted)
    return tuple(views.Closed(stage, line) for stage, line in lines.items())


_REASONS = {
    "interlace run asked for": "asked for",
    "shared sheet asked for": "asked for",
    "interlaced file accepted": "accepted although its job had moved on",
    "sheets started": "sheets started although its job had moved on",
}


def _accepted(session: Session, run: Run) -> str:
    """Who accepted a run, and every reason that was given for it."""
    assert run.accepted_by is not None
    assert run.accepted_at is not None
    told = entries_for(session, ref(run))
    reasons = dict.fromkeys((_REASONS[entry.action], entry.reason) for entry in told if entry.action in _REASONS)
    given = "".join(f"; {words}: {reason}" for words, reason in reasons if reason)
    return f"run {run.code} accepted by {run.accepted_by.name}, {run.accepted_at.astimezone():%Y-%m-%d %H:%M}{given}"


def _people(session: Session) -> int:
    """How many work at the rollers: one in a one-person shop, else open until somebody sets up."""
    workers = select(func.count(Person.id)).where(Person.active, Person.role != "viewer")
    return 1 if session.execute(workers).scalar_one() == 1 else 0


def _remarks(session: Session, sheets: list[Sheet], prints: list[Print]) -> tuple[str, ...]:
    """Reasons and notes on record, each once, with the sheets or pieces that it is about where not all of them are."""
    names = {sheet.number: benchrecords.records_of(session, sheet) for sheet in sheets}
    names |= {piece.serial: benchrecords.records_of(session, piece) for piece in prints}
    about: dict[str, list[str]] = {}
    for name, rows in names.items():
        for words in dict.fromkeys(_remarks_on(rows)):
            about.setdefault(words, []).append(name)
    for sheet in sheets:
        if others := dict.fromkeys(piece.job.number for piece in sheet.prints if piece not in prints):
            about.setdefault(f"shared with {', '.join(others)}; it is cut by its cut plan", []).append(sheet.number)
    everything = ([sheet.number for sheet in sheets], [piece.serial for piece in prints])
    return tuple(words if of in everything else f"{', '.join(of)}: {words}" for words, of in about.items())


def _remarks_on(rows: list[StepRecord]) -> Iterator[str]:
    said = {row.step_key: row.value for row in rows}
    for row in rows:
        stage = "rest" if row.stage == "dwell" else row.stage  # as people read it, see web.shown
        if row.notes and row.person:
            yield f"{stage}: {row.notes}"
        if row.reason:
            yield f"{stage}: {row.reason} ({row.person.initials if row.person else ''})"
        if row.step_key.endswith("-before") and row.roller_session and row.roller_session.helper_id is None:
            own = said.get(f"{row.stage}-alone") or row.roller_session.alone_with
            yield f"{row.stage}: worked alone, {own or 'hand-driven rollers'}"


def issue_traveller(
    session: Session, by: Actor, *, job: Job, gathered: Gathered, pdf: tuple[str, int]
) -> TravellerIssue:
    """Keep a printed traveller: its bytes, the cards it showed, the trail's head at that moment."""
    if gathered.revision != _next_revision(session, job):
        raise Refused("Somebody printed this traveller meanwhile; print it again to get the next revision.")
    kept = keep(session, sha256=pdf[0], size=pdf[1], media_type="application/pdf", kind="record", now=by.now)
    cards = list(shown_cards(gathered.view))
    issue = TravellerIssue(
        job_id=job.id,
        revision=gathered.revision,
        made_at=by.now,
        person_id=by.person_id,
        file=kept,
        cards=json.dumps(cards),
        head_seq=gathered.head.seq,
        head_hash=gathered.head.hash,
    )
    session.add(issue)
    session.flush()
    record(
        session,
        by,
        Act("traveller printed", [ref(job)], files=[pdf[0]], new={"revision": gathered.revision, "cards": cards}),
    )
    return issue


def proof_sheet(session: Session, by: Actor, *, job: Job, address: str, manner: Manner = PLAIN) -> ProofSheet:
    """The page for the customer's answer."""
    pictures = current(job)
    return ProofSheet(
        imprint=views.Imprint(
            shop=fact(session, "shop name"),
            printed_at=f"{by.now.astimezone():%Y-%m-%d %H:%M}",
            printed_by=by.name,
            revision=str(len(job.proofs) + 1),
        ),
        job=job.number,
        title=job.artwork,
        address=f"{address}go/{job.code}",
        flip=job.flip,  # type: ignore[arg-type]
        pictures=tuple(views.Thumbnail(number, f"view-{number}") for number in range(1, len(pictures) + 1)),
        customer=job.order.customer.called if job.order.customer else "",
        finished_size=f"{manner.length(job.width)} × {manner.length(job.height)}",
        viewing_distance=manner.length(job.distance),
        quantity=str(job.quantity),
        files=" ".join(picture.file.sha256[:8] for picture in pictures),
    )


def store_pdf(store: FileStore, pdf: bytes) -> tuple[str, int]:
    """PDF bytes into the file store."""
    return store.put(BytesIO(pdf))
