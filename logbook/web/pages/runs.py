"""Interlace runs: progress, look, accept, hand over, start the sheets."""

import json
import re
from pathlib import Path

from flask import Blueprint, abort, request, send_file, url_for
from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import IntegerField, StringField
from wtforms.validators import NumberRange

from logbook.actions import cutplans, flips, leakcorrections, outputs, overtaken, sheets, takingoff
from logbook.actions import runs as actions
from logbook.actions.finding import by_code, fact
from logbook.actions.orders import for_the_order
from logbook.actions.recipes import corrected_words, pictures_of
from logbook.actions.standing import why_withdrawn
from logbook.engine.ruler import LENGTHS_MM
from logbook.lengths import INCH_IN_MM
from logbook.paper.codes import opens_here_only
from logbook.paper.cutplan import drawing
from logbook.records.audit import Actor
from logbook.records.files import KeptFile
from logbook.records.floor import Run
from logbook.refusals import Refused
from logbook.web import peeking
from logbook.web.acting import act, page, reading
from logbook.web.fields import NEEDED, BenchForm, own_units
from logbook.web.gate import own_manner, the_shop, without_request
from logbook.web.howfar import how_far
from logbook.web.ringing import ring

pages = Blueprint("runs", __name__)
_SIGNED = re.compile(r"-?\d{1,5}(\.\d{1,3})?")
_PATCH_MM = {"left": "10", "top": "15"}
_PLACE = re.compile(r"\d{1,5}(\.\d{1,3})?")


class Plain(BenchForm):
    """A button."""


class SheetsForm(BenchForm):
    """How many sheets to print."""

    count = IntegerField("Sheets to print", [NEEDED, NumberRange(min=1, max=200)], default=1)
    reason = StringField("Why this run all the same", description="Printed on the record.")


class TakeOffForm(BenchForm):
    """How many of the unprinted sheets are not wanted."""

    count = IntegerField("Sheets to take off", [NEEDED, NumberRange(min=1, max=200)])


@pages.route("/run/<code>")
def run(code: str) -> tuple[str, int]:
    """How far it is, what came out, what to do with it."""
    return _page(code)


def _page(code: str, form: BenchForm | None = None) -> tuple[str, int]:
    eyes = _eyes(code)
    with reading() as session:
        found = by_code(session, Run, code)
        job = found.pieces[0].job
        return page(
            "run.html",
            run=found,
            job=job,
            jobs=list(dict.fromkeys(piece.job for piece in found.pieces)),
            drawing=_drawing(found),
            recipe=json.loads(found.recipe),
            pictures_of=pictures_of,
            corrected=corrected_words(found.recipe),
            code_here_only=opens_here_only((json.loads(found.recipe).get("waste") or {}).get("code", "")),
            result=json.loads(found.result) if found.result else None,
            form=form or Plain(formdata=None),
            sheets_form=_sheets_form(session, found, form),
            asked_because=actions.asked_because(session, found),
            off_form=_off_form(session, found, form),
            taken_off=takingoff.taken_off(session, found.sheets),
            overtaken=overtaken.overtaken(session, found) if found.state == "done" else "",
            ghosting=_ghosting(session, found),
            look_first=any(overtaken.before_printing(session, one) for one in found.sheets if one.stage == "print"),
            gone=why_withdrawn(session, found.pitch),
            flip=flips.of_run(the_shop().store, found),
            folder=fact(session, "hand-over folder"),
            patch=_patch(),
            lengths=LENGTHS_MM,
            place=_place(found),
            own_place=[one / _asked_unit(own_units()) for one in _place(found)],
            eyes=eyes,
            file_name=outputs.file_name(found, outputs.label(found)),
            whole_size=outputs.whole_size(found, own_manner()),
        )


def _ghosting(session: Session, found: Run) -> tuple[float, str, str] | None:
    """How much the pictures of a file ghost that nobody has accepted yet; None for a shared sheet, and afterwards."""
    if found.accepted_at is not None or len({piece.job_id for piece in found.pieces}) > 1:
        return None
    return leakcorrections.seen_through(session, the_shop().store, found.pieces[0].job)


def _sheets_form(session: Session, found: Run, form: BenchForm | None) -> SheetsForm:
    """As many sheets as the job still lacks pieces, and the reason for that number beside it."""
    job, lacking = found.pieces[0].job, sheets.sheets_lacking(session, found)
    shown = form if isinstance(form, SheetsForm) else SheetsForm(formdata=None, count=max(1, lacking))
    if found.sample:
        shown.count.description = "A sample does not count for the order."
    elif sheets.shared(found):
        words = f"Every job on it has all its pieces with {lacking}." if lacking else "No job on it lacks a piece."
        shown.count.description = words
    else:
        shown.count.description = _why(job.quantity, for_the_order(session, job).made)
    return shown


def _drawing(found: Run) -> Markup | str:
    """How the pieces of a shared sheet lie; nothing where one lies alone."""
    plan = cutplans.plan_of(found)
    names = tuple(piece.job.number for piece in found.pieces)
    return drawing(cutplans.drawn(plan, names, cuts=False)) if plan else ""


def _off_form(session: Session, found: Run, form: BenchForm | None) -> TakeOffForm | None:
    """The unprinted sheets that are more than the job wants; all of them where it wants none of this run."""
    if not (ahead := len(takingoff.unprinted(session, found))):
        return None
    if isinstance(form, TakeOffForm):
        return form
    job = found.pieces[0].job
    beyond = 0 if found.sample else for_the_order(session, job).made - job.quantity
    return TakeOffForm(formdata=None, count=min(ahead, beyond) if beyond > 0 else ahead)


def _why(ordered: int, under_way: int) -> str:
    """Why so many sheets are proposed."""
    order = f"{ordered} {'piece is' if ordered == 1 else 'pieces are'} ordered"
    if under_way >= ordered:
        beyond = under_way - ordered
        already = f", {beyond} beyond already" if beyond else ""
        return f"{order}, and nothing is lacking any more{already}: this would be one more than wanted."
    return f"{order}, {under_way or 'none'} made or on the way: {ordered - under_way} to go, one on each sheet."


@pages.get("/run/<code>.json")
def state(code: str) -> Response:
    """What the page polls."""
    with reading() as session:
        found = by_code(session, Run, code)
        return how_far(found, trouble=found.trouble)


def _button(code: str, work: object) -> Response | tuple[str, int]:
    form = Plain()
    if form.validate_on_submit() and (done := act(form, work, lambda _: url_for("runs.run", code=code))):  # type: ignore[arg-type]
        return done
    return _page(code, form)


@pages.post("/run/<code>/cancel")
def cancel(code: str) -> Response | tuple[str, int]:
    """Stop it."""
    return _button(code, lambda session, by: actions.cancel(session, by, run=by_code(session, Run, code)))


@pages.post("/run/<code>/again")
def again(code: str) -> Response | tuple[str, int]:
    """Start a failed or stopped run again."""
    answer = _button(code, lambda session, by: actions.again(session, by, run=by_code(session, Run, code)))
    with reading() as session:
        ring(by_code(session, Run, code).id)
    return answer


@pages.post("/run/<code>/accept")
def accept(code: str) -> Response | tuple[str, int]:
    """Somebody looked at it and takes it for printing: its sheets and serials begin."""
    form = SheetsForm()

    def work(session: Session, by: Actor) -> object:
        found = by_code(session, Run, code)
        reason = form.reason.data or ""
        actions.accept(session, by, run=found, reason=reason)
        return sheets.start_sheets(session, without_request(by), run=found, count=form.count.data, reason=reason)

    if form.validate_on_submit() and (done := act(form, work, lambda _: url_for("runs.run", code=code))):
        return done
    return _page(code, form)


@pages.post("/run/<code>/drop")
def drop(code: str) -> Response | tuple[str, int]:
    """Let the large file go; its recipe stays."""
    dropped: list[str] = []

    def work(session: Session, by: Actor) -> None:
        dropped.append(outputs.drop(session, by, run=by_code(session, Run, code)))

    answer = _button(code, work)
    for sha256 in dropped:
        the_shop().store.drop(sha256)
    return answer


@pages.post("/run/<code>/anew")
def anew(code: str) -> Response | tuple[str, int]:
    """Make a dropped file again from its recipe."""
    answer = _button(code, lambda session, by: outputs.make_anew(session, by, run=by_code(session, Run, code)))
    with reading() as session:
        ring(by_code(session, Run, code).id)
    return answer


@pages.post("/run/<code>/hand-over")
def hand_over(code: str) -> Response | tuple[str, int]:
    """Copy the file into the folder that the printer's computer reads."""

    def work(session: Session, by: Actor) -> object:
        found = by_code(session, Run, code)
        folder = fact(session, "hand-over folder")
        if not folder:
            raise Refused("No hand-over folder is set; it is set once on the shop's page.")
        return outputs.hand_over(session, by, the_shop().store, found, Path(folder), outputs.label(found))

    return _button(code, work)


@pages.post("/run/<code>/sheets")
def start_sheets(code: str) -> Response | tuple[str, int]:
    """Sheets and serials for what is to be printed from this run."""
    form = SheetsForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: sheets.start_sheets(
                session, by, run=by_code(session, Run, code), count=form.count.data, reason=form.reason.data or ""
            ),
            lambda made: (
                url_for("bench.sheet", code=made[0].code) if len(made) == 1 else url_for("runs.run", code=code)
            ),
        )
    ):
        return done
    return _page(code, form)


@pages.post("/run/<code>/sheets/off")
def take_off(code: str) -> Response | tuple[str, int]:
    """Sheets that were started and are not to be printed after all."""
    form = TakeOffForm()

    def work(session: Session, by: Actor) -> object:
        return takingoff.take_off(session, by, run=by_code(session, Run, code), count=form.count.data)

    if form.validate_on_submit() and (done := act(form, work, lambda _: url_for("runs.run", code=code))):
        return done
    return _page(code, form)


@pages.get("/run/<code>/file")
def file(code: str) -> Response:
    """Download the interlaced file under a name that says what it is."""
    with reading() as session:
        found = by_code(session, Run, code)
        if found.output is None or not the_shop().store.has(found.output.sha256):
            abort(404)
        return send_file(
            the_shop().store.path(found.output.sha256),
            mimetype="image/tiff",
            as_attachment=True,
            download_name=outputs.file_name(found, outputs.label(found)),
        )


@pages.get("/run/<code>/seen.jpg")
def seen(code: str) -> Response:
    """What an eye sees from a place: from=-1 far left (above), 0 the middle, 1 far right (below)."""
    place = request.args.get("from", "0")
    with reading() as session:
        found = peeking.of_run(by_code(session, Run, code))
    return peeking.seen(found, place)


@pages.get("/run/<code>/flip.jpg")
def flip(code: str) -> Response:
    """What an eye sees from side to side, one view below the other."""
    with reading() as session:
        found = flips.of_run(the_shop().store, by_code(session, Run, code))
    return peeking.flip(found)


@pages.get("/run/<code>/eye-<which>.jpg")
def eye(code: str, which: str) -> Response:
    """What the left or the right eye sees: ``distance`` and ``beside`` in mm, or with ``unit=in`` in inches."""
    with reading() as session:
        found = by_code(session, Run, code)
        distance, beside = _place(found)
        looked = peeking.of_run(found)
    return peeking.eye(looked, which, distance_mm=distance, beside_mm=beside)


def _place(found: Run) -> tuple[float, float]:
    """Where somebody stands, in mm; by itself in the middle, at the job's distance."""
    unit = _asked_unit(request.args.get("unit", "mm"))
    distance, beside = (_number(name) for name in ("distance", "beside"))
    usual = float(found.pieces[0].job.distance.mm)
    return distance * unit if distance is not None and distance > 0 else usual, (beside or 0.0) * unit


def _asked_unit(name: str) -> float:
    """How many millimetres are one of the unit."""
    return float(INCH_IN_MM) if name == "in" else 1.0


def _number(name: str) -> float | None:
    text = request.args.get(name, "").strip().replace(",", ".").replace("−", "-")
    return float(text) if _SIGNED.fullmatch(text) else None


def _eyes(code: str) -> peeking.Eyes | None:
    with reading() as session:
        of_run = select(KeptFile.sha256).join(Run, Run.output_id == KeptFile.id).where(Run.code == code)
        sha256 = session.execute(of_run.where(Run.state == "done")).scalar_one_or_none()
        if sha256 is None or not the_shop().store.has(sha256):
            return None
        found = by_code(session, Run, code)
        distance, beside = _place(found)
        looked = peeking.of_run(found)
    return peeking.eyes_at(looked, distance_mm=distance, beside_mm=beside)


@pages.get("/run/<code>/strips.png")
def strips(code: str) -> Response:
    """Single dots of the interlaced file under a ruler: ``left`` and ``top`` in mm, ``mm`` the length shown."""
    left, top, length = _patch()
    with reading() as session:
        found = peeking.of_run(by_code(session, Run, code))
    return peeking.strips(found, left_mm=left, top_mm=top, length_mm=length)


def _patch() -> tuple[float, float, int]:
    """Where somebody looks: at first inside the picture's corner, for the waste shows white; unreadable counts as 0."""
    places = [request.args.get(name, usual).strip().replace(",", ".") for name, usual in _PATCH_MM.items()]
    left, top = (float(place) if _PLACE.fullmatch(place) else 0.0 for place in places)
    length = request.args.get("mm", "")
    return left, top, int(length) if length in map(str, LENGTHS_MM) else LENGTHS_MM[1]
