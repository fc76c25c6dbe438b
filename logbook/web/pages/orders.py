"""Orders: the list, a new one, one order."""

from decimal import Decimal

from flask import Blueprint, flash, request, url_for
from sqlalchemy import Select, and_, or_, select
from sqlalchemy.orm import Session, selectinload
from werkzeug import Response
from wtforms import DateField, IntegerField, MultipleFileField, RadioField, SelectField, StringField, TextAreaField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import jobs, machines, materials, pictures, quotes, reorders
from logbook.actions import orders as actions
from logbook.actions.finding import by_code
from logbook.actions.sheets import MOUNT_ONLY
from logbook.records.audit import Actor
from logbook.records.machines import PrinterMode
from logbook.records.materials import Lot, Material
from logbook.records.orders import Customer, Job, Order
from logbook.records.pitch import PitchOnRecord
from logbook.records.quotes import Quote
from logbook.refusals import Refused
from logbook.rules.naming import name_from_files
from logbook.web import choices
from logbook.web.acting import act, page, reading, say
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, NumberField, SizeField
from logbook.web.gate import the_shop, without_request
from logbook.web.uploads import Held, hold, sorted_with_held

pages = Blueprint("orders", __name__)
PAGE_SIZE = 50
CALLED_AFTER_PICTURES = "called after its pictures"
"""What is said once on the page of a new job that nobody had named."""
FLIP_WORDS = [
    ("left-right", "left – right: steps past it, or turns it about an upright axis"),
    ("up-down", "up – down: tilts it towards and away"),
]


EFFECT_WORDS = {
    "flip": "flip: one picture, then another",
    "depth": "depth: a picture of its own for each eye",
    "sequence": "step by step: movement, zoom, one turning into another",
}


class JobFields(BenchForm):
    """What a job is to become; everything but the size has a usual value."""

    width = SizeField(
        "Finished width", [NEEDED], description="After trimming; write 8in or 203mm, or a bare number in your own unit."
    )
    height = SizeField("Finished height", [NEEDED], description="After trimming.")
    flip = RadioField(
        "Flip", choices=dict(FLIP_WORDS), default="left-right", description="Walls: left – right. In the hand: either."
    )
    artwork = StringField(
        "Artwork",
        [MAYBE, TextLength(max=200)],
        description="What you call it in the shop. Left empty, it is called after its pictures.",
    )
    quantity = IntegerField("Pieces", [NEEDED, NumberRange(min=1, max=1000)], default=1)
    distance = LengthField(
        "Viewing distance",
        [MAYBE],
        default=actions.DEFAULT_DISTANCE,
        description="From the eye to the print where it will hang; 0.6 m is usual.",
    )
    bleed = LengthField("Bleed", [MAYBE], default=actions.DEFAULT_BLEED, description="On every side; 5 mm is usual.")
    use = RadioField("Use", choices={"wall": "on a wall", "hand": "in the hand"}, default="wall")
    effect = RadioField("Effect", choices=EFFECT_WORDS, default="flip", validate_choice=False)
    fit = RadioField(
        "Pictures of another shape",
        default="crop",
        choices={"crop": "cut to fill", "pad": "white border", "stretch": "stretched"},
    )
    price = NumberField("Price of one piece", [MAYBE], low=Decimal(0), description="Without tax.")
    kind = RadioField(
        "What is made",
        default="print",
        choices={"print": "an interlaced print, mounted", "mount-only": "mounting only: the customer brings the print"},
        validate_choice=False,
    )

    def wish(self) -> actions.JobWish:
        """As the action takes it."""
        return actions.JobWish(
            width=self.width.data,
            height=self.height.data,
            flip=self.flip.data,
            artwork=self.artwork.data or "",
            distance=self.distance.data or actions.DEFAULT_DISTANCE,
            bleed=actions.DEFAULT_BLEED if self.bleed.data is None else self.bleed.data,
            use=self.use.data,
            effect=self.effect.data or "",
            fit=self.fit.data,
            kind=self.kind.data or "print",
            quantity=self.quantity.data,
            price=self.price.data,
        )


class OrderForm(JobFields):
    """A new order with its first job, and what the shop still lacks for it."""

    customer = StringField("Customer", [MAYBE, TextLength(max=200)], description="Empty for a piece of the shop's own.")
    contact = StringField("How to reach them", [MAYBE, TextLength(max=300)])
    due = DateField("Due", [MAYBE])
    note = TextAreaField("Note", [MAYBE, TextLength(max=2000)])
    pictures = MultipleFileField(
        "Pictures", description="In play order: the first is seen from the left, or from above. JPEG, PNG or TIFF."
    )
    mode = SelectField("Printer", validate_choice=False)
    lens_lot = SelectField("Lens", validate_choice=False)
    printer_name = StringField(
        "Printer", [MAYBE, TextLength(max=120)], default="Printer", description="What you call it."
    )
    printer_dpi = StringField(
        "Dots per inch",
        [MAYBE, TextLength(max=40)],
        default="720",
        description="As the driver prints: 720, or 1440x720.",
    )
    lens_lpi = NumberField("Lens: lines per inch", [MAYBE], description="As on its wrapping, 10 to 100.")


@pages.route("/orders")
def listing() -> tuple[str, int]:
    """Open orders by due date, or closed ones, newest first."""
    closed = request.args.get("show") == "closed"
    before = request.args.get("before", type=int)
    with reading() as session:
        query = _closed(before) if closed else _open(session, before)
        query = query.options(selectinload(Order.jobs).lazyload("*"))
        rows = list(session.execute(query.limit(PAGE_SIZE + 1)).scalars())
        return page(
            "orders.html",
            orders=rows[:PAGE_SIZE],
            more=rows[PAGE_SIZE - 1].id if len(rows) > PAGE_SIZE else None,
            closed=closed,
        )


def _closed(before: int | None) -> Select[Order]:
    """Newest first, those older than ``before``."""
    query = select(Order).where(Order.closed_at.is_not(None)).order_by(Order.id.desc())
    return query if before is None else query.where(Order.id < before)


def _open(session: Session, before: int | None) -> Select[Order]:
    """What is due first stands first, what has no day last; those that come after ``before`` in this order."""
    query = select(Order).where(Order.closed_at.is_(None)).order_by(Order.due_on.is_(None), Order.due_on, Order.id)
    last = session.get(Order, before) if before is not None else None
    if last is None:
        return query
    if last.due_on is None:
        return query.where(Order.due_on.is_(None), Order.id > last.id)
    same_day = and_(Order.due_on == last.due_on, Order.id > last.id)
    return query.where(or_(Order.due_on.is_(None), Order.due_on > last.due_on, same_day))


@pages.route("/orders/new", methods=["GET", "POST"])
def new() -> Response | tuple[str, int]:
    """Take an order; what was never said before (printer, lens) is asked here once."""
    form = OrderForm()
    with reading() as session:
        if request.method == "GET" and "customer" in request.args:
            form.customer.data = by_code(session, Customer, request.args["customer"]).name
        form.mode.choices, form.lens_lot.choices = choices.modes(session), choices.lots(session, "lens")
        names = known_names(session)
    _check_first_things(form)
    held: list[Held] = []
    if form.is_submitted() and (done := _placed(form, held)):
        return done
    return page("order_new.html", form=form, names=names, held=held)


def known_names(session: Session) -> list[str]:
    """Names of customers to choose from, the newest first."""
    known = select(Customer.name).where(Customer.name.is_not(None)).order_by(Customer.id.desc()).limit(200)
    return [name for name in session.execute(known).scalars() if name]


def _check_first_things(form: OrderForm) -> None:
    if (
        request.method == "POST"
        and form.kind.data != MOUNT_ONLY
        and not form.lens_lot.choices
        and form.lens_lpi.data is None
        and not form.lens_lpi.errors
    ):
        say(form, Refused("This is needed once: it stands on the lens's wrapping.", field="lens_lpi"))
        form.form_errors.append("One thing is missing below.")


def _placed(form: OrderForm, held: list[Held]) -> Response | None:
    """Take the order; what is not accepted leaves its good pictures in ``held``, and names every bad one."""
    unnamed = not form.artwork.data
    readable = form.validate() and not form.form_errors
    try:
        with sorted_with_held(form.pictures.data, request.form.getlist("held")) as found:

            def work(session: Session, by: Actor) -> Job:
                if found.bad:
                    raise Refused(" ".join(found.bad), field="pictures")
                return _place(session, by, form, found.good)

            def then(job: Job) -> str:
                if unnamed and found.good:
                    flash(job.code, CALLED_AFTER_PICTURES)
                return url_for("jobs.job", code=job.code)

            if readable and (done := act(form, work, then)):
                return done
            if not readable and found.bad:
                say(form, Refused(" ".join(found.bad), field="pictures"))
            held.extend(hold(found))
    except Refused as refusal:
        say(form, refusal)
    return None


def _place(session: Session, by: Actor, form: OrderForm, taken: list[pictures.Intake]) -> Job:
    if not form.artwork.data:
        # never after the customer: an artwork's name stands in the trail, and nothing erases it there
        form.artwork.data = name_from_files([one.name for one in taken])
    job = actions.place_order(
        session,
        by,
        the_shop().settings.own_safety_path,
        customer_name=form.customer.data or "",
        wish=form.wish(),
        contact=form.contact.data or "",
        due_on=form.due.data,
        note=form.note.data or "",
    )
    quiet = without_request(by)
    if taken:
        pictures.add_pictures(session, quiet, the_shop().store, job=job, taken=taken)
    if job.kind == MOUNT_ONLY:  # its lens is chosen when the print is here; nothing is printed
        return job
    mode, lens_lot = _mode(session, quiet, form), _lens_lot(session, quiet, form)
    jobs.choose_materials(
        session,
        quiet,
        job=job,
        choice=jobs.MaterialChoice(lens_lot=lens_lot, mode=mode, paper=_paper_for(session, quiet, lens_lot, mode)),
    )
    return job


def _mode(session: Session, by: Actor, form: OrderForm) -> PrinterMode:
    if form.mode.data:
        return by_code(session, PrinterMode, form.mode.data, field="mode")
    return machines.add_printer(
        session, by, name=form.printer_name.data or "Printer", dpi=form.printer_dpi.data or "720"
    )


def _lens_lot(session: Session, by: Actor, form: OrderForm) -> Lot:
    if form.lens_lot.data:
        return by_code(session, Lot, form.lens_lot.data, field="lens_lot")
    lpi = form.lens_lpi.data
    try:
        material = materials.material_named(session, f"{lpi} LPI lens") or materials.add_material(
            session, by, kind="lens", name="", nominal_lpi=lpi
        )
    except Refused as refusal:
        raise Refused(refusal.sentence, field="lens_lpi") from None
    return materials.add_lot(session, by, material=material, label="")


def _paper_for(session: Session, by: Actor, lens_lot: Lot, mode: PrinterMode) -> Material:
    """The paper on which this lens lot was last measured on this printer, else the first one on record."""
    measured = (
        select(PitchOnRecord)
        .where(PitchOnRecord.lens_lot_id == lens_lot.id, PitchOnRecord.mode_id == mode.id)
        .where(PitchOnRecord.origin.in_(("test", "carried over")), ~PitchOnRecord.withdrawal.has())
        .order_by(PitchOnRecord.id.desc())
    )
    found = session.execute(measured.limit(1)).scalars().first()
    return found.paper if found else usual_paper(session, by)


def usual_paper(session: Session, by: Actor) -> Material:
    """The first paper on record; a plain one is added when there is none."""
    known = session.execute(select(Material).where(Material.kind == "paper").order_by(Material.id)).scalars().first()
    return known or materials.add_material(session, by, kind="paper", name="the usual paper")


@pages.route("/order/<code>")
def order(code: str) -> tuple[str, int]:
    """One order and its jobs."""
    return _page(code)


def _page(code: str, form: "MoneyForm | None" = None) -> tuple[str, int]:
    with reading() as session:
        found = by_code(session, Order, code)
        money = quotes.money_of(session, found)
        given = session.execute(select(Quote).where(Quote.order_id == found.id)).scalar_one_or_none()
        again = bool(found.jobs) and all(reorders.may_be_repeated(session, job) for job in found.jobs)
        form = form or MoneyForm(None, obj=money)
        return page("order.html", order=found, money=money, quote=given, form=form, again=again)


class MoneyForm(BenchForm):
    """Two facts, no bookkeeping."""

    deposit = NumberField("Deposit", [MAYBE], low=Decimal(0), description="Paid beforehand.")
    paid_on = DateField("All paid on", [MAYBE])


@pages.post("/order/<code>/money")
def money(code: str) -> Response | tuple[str, int]:
    """Deposit and paid date."""
    form = MoneyForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: quotes.write_money(
                session, by, order=by_code(session, Order, code), deposit=form.deposit.data, paid_on=form.paid_on.data
            ),
            lambda _: url_for("orders.order", code=code),
        )
    ):
        return done
    return _page(code, form)


def _added(session: Session, by: Actor, order: Order, wish: actions.JobWish) -> Job:
    """Another job, of the lens, printer and paper of the one before it where they still serve."""
    before = jobs.materials_of(session, order.jobs[-1]) if order.jobs else None
    job = actions.add_job(session, by, the_shop().settings.own_safety_path, order=order, wish=wish)
    if before is None or job.kind == MOUNT_ONLY:
        return job
    lots = (before.lens_lot, before.paper_lot, before.adhesive_lot)
    if not any(lot is not None and lot.set_aside_reason for lot in lots):
        choice = jobs.MaterialChoice(
            **{name: getattr(before, name) for name in ("lens_lot", "mode", "paper", "paper_lot", "adhesive_lot")}
        )
        jobs.choose_materials(session, without_request(by), job=job, choice=choice)
    return job


@pages.route("/order/<code>/job", methods=["GET", "POST"])
def add_job(code: str) -> Response | tuple[str, int]:
    """Another artwork or size in the same order."""
    form = JobFields()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: _added(session, by, by_code(session, Order, code), form.wish()),
            lambda job: url_for("jobs.job", code=job.code),
        )
    ):
        return done
    with reading() as session:
        return page("job_new.html", form=form, order=by_code(session, Order, code))
