"""The small papers around a print, gathered from what is on record: each function gives one paper's frozen view."""

import json
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import benchfindings, benchlist, benchrecords, chartscales, leaving, overtaken, quotes
from logbook.actions.finding import by_code, fact
from logbook.actions.papers import bench_view
from logbook.actions.pitchcharts import bands_of, file_name
from logbook.actions.sheets import without_run
from logbook.actions.travellernumbers import PLAIN
from logbook.engine.chart import middle_numbers
from logbook.manner import Manner
from logbook.paper import customer, forms, views
from logbook.paper.shelf import read_shelf
from logbook.records.audit import Actor, AuditEntry, entries_for, head
from logbook.records.floor import Departure, Print, Run, Sheet, StepRecord
from logbook.records.machines import Machine
from logbook.records.orders import Job, Order
from logbook.records.pitch import PitchChart
from logbook.refusals import Refused
from logbook.rules import signing
from logbook.rules.signing import limits
from logbook.rules.steplist import Step
from logbook.rules.traits import machine_traits

QUOTE_HOLDS = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class Desk:
    """Who prints, from which shop's files, and the address that QR codes open."""

    by: Actor
    own_safety: Path
    address: str
    manner: Manner = PLAIN


def imprint(session: Session, desk: Desk) -> views.Imprint:
    """Whose paper this is, who printed it when, and where the trail stood."""
    newest = head(session)
    return views.Imprint(
        shop=fact(session, "shop name"),
        printed_at=f"{desk.by.now.astimezone():%Y-%m-%d %H:%M}",
        printed_by=desk.by.name,
        audit_head=f"{newest.seq} {newest.hash[:16]}",
    )


def _link(desk: Desk, code: str) -> str:
    return f"{desk.address}go/{code}"


def _size(job: Job, desk: Desk) -> str:
    return f"{desk.manner.length(job.width)} × {desk.manner.length(job.height)}"


def labels(session: Session, desk: Desk, code: str) -> forms.LabelSheet:
    """Serial labels for every piece of a job that has not been scrapped."""
    job = by_code(session, Job, code)
    rows = session.execute(
        select(Print).where(Print.job_id == job.id, Print.stage != "scrapped").order_by(Print.id)
    ).scalars()
    made = tuple(
        forms.Label(
            serial=piece.serial,
            address=_link(desk, piece.code),
            title=job.artwork,
            detail=f"{_size(job, desk)}{', SAMPLE' if piece.sample else ''}",
        )
        for piece in rows
    )
    if not made:
        raise Refused("No serial has begun yet: accept an interlaced file first.")
    return forms.LabelSheet(shop=fact(session, "shop name"), labels=made)


def chart_note(session: Session, desk: Desk, code: str) -> forms.ChartNote:
    """How to print and read one pitch chart."""
    made = by_code(session, PitchChart, code)
    test = made.test
    return forms.ChartNote(
        imprint=imprint(session, desk),
        code=made.code,
        address=f"{desk.address}pitch/test/{test.code}",
        kind="coarse" if made is test.charts[0] else "fine",
        bands=tuple((number, desk.manner.number(lpi)) for number, lpi in bands_of(made).items()),
        scale=desk.manner.told(", ".join(f"{axis} {words}" for axis, words in chartscales.in_words(made).items())),
        rule_unit=desk.manner.units,
        middle=middle_numbers(made.bands) if made.kind == "bands" else (),
        flip="left-right" if test.axis == "across" else "up-down",
        dots_per_inch=f"{test.mode.dpi_across} × {test.mode.dpi_down}",
        lens_lot=f"{test.lens_lot.material.name}, lot {test.lens_lot.label}",
        printer=test.mode.machine.name,
        mode=test.mode.name,
        paper=test.paper.name,
        viewing_distance=desk.manner.length(test.distance) if test.distance else "",
        file_name=file_name(made),
        file_hash=made.raster.sha256[:8],
    )


def check_sheet(session: Session, desk: Desk, code: str) -> forms.CheckSheet:
    """The daily check of one machine, to be filled in by hand."""
    machine = by_code(session, Machine, code)
    traits = machine_traits(drive=machine.drive, heated=machine.heated, cutting=machine.cutting)
    items = read_shelf(desk.own_safety).machine_check.items_for(machine.kind, traits)
    return forms.CheckSheet(
        imprint=imprint(session, desk),
        machine=bench_view(machine),
        items=items,
        freeing_procedure=machine.freeing_procedure,
    )


def out_of_use(session: Session, desk: Desk, code: str) -> forms.OutOfUse:
    """The sheet that hangs on a machine which must not run."""
    machine = by_code(session, Machine, code)
    if machine.out_of_use_reason is None:
        raise Refused(f"{machine.name} is in use; take it out of use first.")
    acts = [entry for entry in entries_for(session, f"machine:{machine.code}") if _took_out(entry)]
    return forms.OutOfUse(
        imprint=imprint(session, desk),
        machine=bench_view(machine),
        reason=machine.out_of_use_reason,
        since=f"{acts[-1].at.astimezone():%Y-%m-%d %H:%M}" if acts else "",
        by=acts[-1].actor_name if acts else "",
        address=_link(desk, machine.code),
    )


def _took_out(entry: AuditEntry) -> bool:
    """A check that passed while the machine was out of use did not take it out."""
    failed = entry.action == "machine checked" and not json.loads(entry.body)["new"]["passed"]
    return failed or entry.action == "machine out of use"


def care_card(session: Session, desk: Desk, code: str) -> customer.CareCard:
    """The card that goes along with the pieces of an order."""
    order = by_code(session, Order, code)
    pieces = _pieces(session, order)
    return customer.CareCard(
        shop=fact(session, "shop name"),
        title=", ".join(dict.fromkeys(job.artwork for job in order.jobs)),
        serials=tuple(piece.serial for piece in pieces if not piece.sample),
        viewing=f"made to be seen from {desk.manner.length(order.jobs[0].distance)}" if order.jobs else "",
    )


def _pieces(session: Session, order: Order) -> list[Print]:
    found = select(Print).join(Job, Print.job_id == Job.id).where(Job.order_id == order.id, Print.stage != "scrapped")
    return list(session.execute(found.order_by(Print.id)).scalars())


def shipping_note(session: Session, desk: Desk, code: str) -> customer.ShippingNote:
    """What leaves or has left of an order."""
    order = by_code(session, Order, code)
    pieces = _pieces(session, order)
    left = {
        row.print_id: row
        for row in session.execute(
            select(Departure).where(Departure.print_id.in_([piece.id for piece in pieces]))
        ).scalars()
    }
    packed = [piece for piece in pieces if piece.stage == "pack" and not piece.set_aside_reason]
    free = [piece for piece in packed if not _rests(session, desk, piece)]
    # one that rests goes along only while none has left and none may
    going = [piece for piece in pieces if piece.id in left or piece in (free or ([] if left else packed))]
    if not going:
        raise Refused("Nothing of this order is packed yet; inspect and pack a print first.")
    last = next((left[piece.id] for piece in reversed(going) if piece.id in left), None)
    wanted = sum(job.quantity for job in order.jobs)
    return customer.ShippingNote(
        imprint=imprint(session, desk),
        order=order.number,
        customer=_addressed(order),
        items=tuple(customer.Item(piece.serial, piece.job.artwork, _size(piece.job, desk)) for piece in going),
        how=last.how if last else "",
        carrier=last.carrier if last else "",
        tracking=last.tracking if last else "",
        part=f"{len(going)} of {wanted} pieces" if len(going) < wanted else "",
        address=_link(desk, order.jobs[0].code),
    )


def _rests(session: Session, desk: Desk, piece: Print) -> bool:
    wait = benchfindings.wait_for(session, piece)
    return bool(wait and wait.left(desk.by.now))


def _addressed(order: Order) -> tuple[str, ...]:
    if order.customer is None:
        return ("the shop's own",)
    return tuple(line for line in (order.customer.called, order.customer.contact) if line)


def inspection(session: Session, desk: Desk, code: str) -> customer.InspectionReport:
    """The inspection of one piece, value by value against its limit."""
    piece = by_code(session, Print, code)
    rows = {row.step_key: row for row in benchrecords.records_of(session, piece) if row.stage == "inspect"}
    signed = rows.get("inspect-sign")
    if signed is None or signed.person is None:
        raise Refused(f"{piece.serial} was not inspected here yet; sign its inspection first.")
    stage = benchrecords.steps_of(piece.job).stage("inspect")
    found = tuple(
        customer.Finding(
            step.text,
            desk.manner.number(limits(signing.in_unit(step, desk.manner.unit(step.unit)))),
            desk.manner.measured(rows[step.key].value, rows[step.key].unit) if step.key in rows else "not measured",
            _outcome(step, rows[step.key]) if step.key in rows else "–",
        )
        for step in stage.steps
        if step.record == "number"
    )
    run = piece.sheet.run
    return customer.InspectionReport(
        imprint=imprint(session, desk),
        serial=piece.serial,
        title=piece.job.artwork,
        address=_link(desk, piece.code),
        result=rows["inspect-result"].value if "inspect-result" in rows else "",
        findings=found,
        inspector=signed.person.name,
        at=f"{signed.at.astimezone():%Y-%m-%d %H:%M}",
        viewing_distance=desk.manner.length(piece.job.distance),
        pitch=_printed_at(run, desk) if run else without_run(piece.job),
        remarks=(
            *([signed.notes.partition(".")[0] + "."] if signed.source == "paper" else []),
            *([signed.reason] if signed.reason else []),
            *(
                f"{one.kind}: {one.reason} ({one.person.name})" + ("; agreed with the customer" if one.word else "")
                for one in leaving.verdicts_on(session, piece)
            ),
        ),
    )


def _outcome(step: Step, row: StepRecord) -> str:
    inside = signing.is_within(signing.in_unit(step, row.unit), Decimal(row.value))
    return "within" if inside else "outside"


def _printed_at(run: Run, desk: Desk) -> str:
    return f"{desk.manner.number(run.lpi)} lines per inch, {run.pitch.origin} {run.pitch.code}"


def quote(session: Session, desk: Desk, code: str) -> customer.Quote:
    """The jobs of an order with their prices."""
    order = by_code(session, Order, code)
    priced = [(job, job.price) for job in order.jobs if job.price is not None]
    if not priced:
        raise Refused("No job of this order has a price yet; set it on the job's change page.")
    lines = tuple(
        customer.QuoteLine(
            what=job.artwork,
            quantity=str(job.quantity),
            each=quotes.amount(session, price, desk.manner),
            amount=quotes.amount(session, price * job.quantity, desk.manner),
            detail=f"{_size(job, desk)}, {job.flip}",
        )
        for job, price in priced
    )
    total = sum((price * job.quantity for job, price in priced), Decimal(0))
    return customer.Quote(
        imprint=imprint(session, desk),
        number=order.number,
        customer=_addressed(order),
        valid_until=f"{(desk.by.now + QUOTE_HOLDS).astimezone():%Y-%m-%d}",
        lines=lines,
        totals=quotes.totals(session, total, desk.manner),
    )


def today(session: Session, desk: Desk, _code: str) -> forms.TodaySheet:
    """What stands at every stage of the bench, for the wall."""
    standing = benchlist.by_stage(session)
    unasked = overtaken.unasked(session, {one.id for one in standing["print"]})
    sections = {
        _stage_title(session, rows[0]): tuple(_today_row(session, desk, one, one.sheet in unasked) for one in rows)
        for rows in standing.values()
        if rows
    }
    return forms.TodaySheet(
        imprint=imprint(session, desk), day=f"{desk.by.now.astimezone():%Y-%m-%d}", sections=sections
    )


def _stage_title(session: Session, one: benchlist.Standing) -> str:
    return benchrecords.steps_of(session.get_one(Job, one.job)).stage(one.stage).title


def _today_row(session: Session, desk: Desk, one: benchlist.Standing, unasked: bool) -> forms.TodayRow:
    until = one.free_at(desk.by.now)
    run = session.get_one(Sheet, one.sheet).run if unasked and one.stage == "print" else None
    look = "look before printing" if run is not None and overtaken.overtaken(session, run) else ""
    held = "set aside" if one.aside else "on paper" if one.on_paper else look
    return forms.TodayRow(
        code=one.called,
        title=one.artwork,
        what=held or (f"waits until {until.astimezone():%Y-%m-%d %H:%M}" if until else ""),
        due=f"{one.due:%Y-%m-%d}" if one.due else "",
    )
