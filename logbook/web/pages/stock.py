"""Stock: lens, paper and adhesive; lots, counts, and every print of a lot."""

from collections import defaultdict
from decimal import Decimal
from typing import Any

from flask import Blueprint, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug import Response
from wtforms import DateField, FileField, IntegerField, RadioField, SelectField, StringField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import lotpapers, trace
from logbook.actions import materials as actions
from logbook.actions.finding import by_code, ref
from logbook.records.audit import Actor
from logbook.records.materials import Lot, Material
from logbook.web import meanwhile
from logbook.web.acting import act, page, reading
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, NumberField
from logbook.web.gate import owner_only, without_request

pages = Blueprint("stock", __name__)
COUNTED = ("lot counted",)
"""What changes the count that somebody else may be typing."""
MANY, NEWEST = 16, 12
"""Of a material with more lots than this the list shows the newest, and the rest one step behind."""


class LotFacts(BenchForm):
    """What may be put right about a delivery."""

    place = StringField("Where it lies", [MAYBE, TextLength(max=120)])
    sheet_width = LengthField("Sheet width", [MAYBE])
    sheet_height = LengthField("Sheet height", [MAYBE])
    price = NumberField("Price of one sheet", [MAYBE], low=Decimal(0))
    expires_on = DateField("Use before", [MAYBE])
    reorder_level = IntegerField("Order more at", [MAYBE, NumberRange(min=0, max=100000)])


class LotFields(LotFacts):
    """One delivery."""

    label = StringField(
        "Lot", [MAYBE, TextLength(max=80)], description="As on the wrapping; else today's date is used."
    )
    count = IntegerField(
        "Sheets", [MAYBE, NumberRange(min=0, max=100000)], description="Leave empty if you do not count it."
    )


class MaterialForm(LotFields):
    """A new type with its first lot."""

    kind = RadioField("What", choices={"lens": "lens", "paper": "paper", "adhesive": "adhesive"}, default="lens")
    name = StringField(
        "Name",
        [MAYBE, TextLength(max=120)],
        description="As you call it in the shop; a lens may go by its lines per inch.",
    )
    nominal_lpi = NumberField("Lens: lines per inch", [MAYBE], description="As on its wrapping, 10 to 100.")
    thickness = LengthField(
        "Lens: thickness", [MAYBE], description="From the maker's sheet; needed to convert between viewing distances."
    )
    refractive_index = NumberField(
        "Lens: refractive index",
        [MAYBE],
        low=Decimal("1.3"),
        high=Decimal(2),
        description="PETG about 1.57, acrylic 1.49, polystyrene 1.59.",
    )
    substance = SelectField(
        "Lens: made of",
        choices={"": "not known", "PETG": "PETG", "acrylic": "acrylic", "polystyrene": "polystyrene"},
        description="For its expansion with warmth; the most of the usual ones is assumed where it is not known.",
    )
    dry_hours = NumberField(
        "Paper: hours to dry",
        [MAYBE],
        low=Decimal(0),
        high=Decimal(500),
        description="How long a print on it dries before the lens goes on; 24 unless the maker says otherwise.",
    )
    trim_hours = NumberField(
        "Adhesive: hours before trimming",
        [MAYBE],
        low=Decimal(0),
        high=Decimal(500),
        description="How long a mounted sheet rests before it is cut; 24 unless the maker says otherwise.",
    )
    ship_hours = NumberField(
        "Adhesive: hours before it leaves",
        [MAYBE],
        low=Decimal(0),
        high=Decimal(1000),
        description="How long it rests before it goes out; 72 unless the maker says otherwise.",
    )


class PaperForm(BenchForm):
    """A delivery note, a data sheet."""

    paper = FileField("Delivery note or data sheet", description="PDF, JPEG or PNG, up to 20 MB.")


class CountForm(BenchForm):
    """There are now N."""

    now_there = IntegerField("There are now", [NEEDED, NumberRange(min=0, max=100000)])


class AsideForm(BenchForm):
    """What is wrong with a lot."""

    reason = StringField("What is wrong with it", [NEEDED, TextLength(max=300)])


class ReleaseForm(BenchForm):
    """Why a lot serves again."""

    reason = StringField("Why it may serve again", [NEEDED, TextLength(max=300)])


@pages.route("/stock")
def listing() -> tuple[str, int]:
    """Everything in stock, by kind."""
    with reading() as session:
        materials = list(session.execute(select(Material).order_by(Material.kind, Material.name)).scalars())
        counts, lots = actions.all_left(session), _lots_of(session)
        whole = next((one.id for one in materials if one.code == request.args.get("of")), None)
        held = _held(lots, counts)
        return page(
            "stock.html",
            kinds={kind: [one for one in materials if one.kind == kind] for kind in ("lens", "paper", "adhesive")},
            counts=counts,
            lots=lots,
            shown={id_: each if id_ == whole or len(each) <= MANY else each[-NEWEST:] for id_, each in held.items()},
            held={material: len(each) for material, each in held.items()},
            everything=request.args.get("show") == "all",
        )


def _lots_of(session: Session) -> dict[int, list[Any]]:
    """What the list shows of every lot, by its material: columns, for a shop has many."""
    found: dict[int, list[Any]] = defaultdict(list)
    shown = (Lot.id, Lot.material_id, Lot.code, Lot.label, Lot.place, Lot.set_aside_reason, Lot.expires_on)
    for lot in session.execute(select(*shown, Lot.reorder_level).order_by(Lot.id)):
        found[lot.material_id].append(lot)
    return found


def _held(lots: dict[int, list[Any]], counts: dict[int, int]) -> dict[int, list[Any]]:
    """The lots of each material; those that are counted as used up only when all are asked for."""
    everything = request.args.get("show") == "all"
    return {
        material: [lot for lot in each if everything or counts.get(lot.id, 1) > 0 or lot.set_aside_reason]
        for material, each in lots.items()
    }


@pages.route("/stock/new", methods=["GET", "POST"])
def new() -> Response | tuple[str, int]:
    """A new type of lens, paper or adhesive, with its first lot."""
    form = MaterialForm()
    if form.validate_on_submit() and (
        done := act(form, lambda session, by: _new(session, by, form), lambda lot: url_for("stock.lot", code=lot.code))
    ):
        return done
    return page("stock_new.html", form=form, material=None)


def _new(session: Session, by: Actor, form: MaterialForm) -> Lot:
    material = actions.add_material(
        session,
        by,
        kind=form.kind.data,
        name=form.name.data or "",
        nominal_lpi=form.nominal_lpi.data,
        thickness=form.thickness.data,
        refractive_index=form.refractive_index.data,
        substance=form.substance.data or "",
        dry_hours=form.dry_hours.data,
        trim_hours=form.trim_hours.data,
        ship_hours=form.ship_hours.data,
    )
    return _lot(session, without_request(by), material, form)


def _lot(session: Session, by: Actor, material: Material, form: LotFields) -> Lot:
    return actions.add_lot(
        session,
        by,
        material=material,
        label=form.label.data or "",
        count=form.count.data,
        place=form.place.data or "",
        sheet_width=form.sheet_width.data,
        sheet_height=form.sheet_height.data,
        price=form.price.data,
        expires_on=form.expires_on.data,
        reorder_level=form.reorder_level.data,
    )


@pages.route("/stock/<code>/lot", methods=["GET", "POST"])
def new_lot(code: str) -> Response | tuple[str, int]:
    """Another lot of a known type."""
    form = LotFields()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: _lot(session, by, by_code(session, Material, code), form),
            lambda lot: url_for("stock.lot", code=lot.code),
        )
    ):
        return done
    with reading() as session:
        return page("stock_new.html", form=form, material=by_code(session, Material, code))


@pages.route("/lot/<code>")
def lot(code: str) -> tuple[str, int]:
    """A lot, what is left of it, its pitches, every print made of it."""
    return lot_page(code)


def lot_page(code: str, **forms: BenchForm) -> tuple[str, int]:
    """A lot's page, with the forms of a try that was refused."""
    with reading() as session:
        found = by_code(session, Lot, code)
        count_form = forms.get("count_form") or CountForm(formdata=None)
        meanwhile.watch(session, count_form, ref(found), *COUNTED)
        facts_form = forms.get("facts_form") or LotFacts(formdata=None, obj=found)
        meanwhile.watch(session, facts_form, ref(found), "lot changed")
        return page(
            "lot.html",
            lot=found,
            count=actions.left(session, found),
            traced=trace.of_lot(session, found),
            others=[one for one in actions.deliveries(session, found) if one is not found],
            count_form=count_form,
            facts_form=facts_form,
            papers=lotpapers.papers_of(session, found),
            paper_form=forms.get("paper_form") or PaperForm(formdata=None),
            aside_form=forms.get("aside_form") or AsideForm(formdata=None),
            release_form=forms.get("release_form") or ReleaseForm(formdata=None),
        )


@pages.post("/lot/<code>/count")
def count(code: str) -> Response | tuple[str, int]:
    """There are now N."""
    form = CountForm()
    with reading() as session:
        meanwhile.watch(session, form, ref(by_code(session, Lot, code)), *COUNTED)
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.count_lot(
                session, by, lot=by_code(session, Lot, code), now_there=form.now_there.data
            ),
            lambda _: url_for("stock.lot", code=code),
        )
    ):
        return done
    return lot_page(code, count_form=form)


@pages.post("/lot/<code>/facts")
def facts(code: str) -> Response | tuple[str, int]:
    """Put right where it lies, its size, price and dates."""
    form = LotFacts()
    with reading() as session:
        meanwhile.watch(session, form, ref(by_code(session, Lot, code)), "lot changed")
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.change_lot(
                session,
                by,
                lot=by_code(session, Lot, code),
                changes={name: form[name].data or ("" if name == "place" else None) for name in actions.CHANGEABLE}
                | {"price": form.price.data, "reorder_level": form.reorder_level.data},
            ),
            lambda _: url_for("stock.lot", code=code),
        )
    ):
        return done
    return lot_page(code, facts_form=form)


@pages.post("/lot/<code>/aside")
def aside(code: str) -> Response | tuple[str, int]:
    """Set a lot aside, and its prints that have not left."""
    form = AsideForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.set_lot_aside(
                session, by, lot=by_code(session, Lot, code), reason=form.reason.data
            ),
            lambda _: url_for("stock.lot", code=code),
        )
    ):
        return done
    return lot_page(code, aside_form=form)


@pages.post("/lot/<code>/release")
@owner_only
def release(code: str) -> Response | tuple[str, int]:
    """The doubt about a lot is settled; its prints go on."""
    form = ReleaseForm()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: actions.release_lot(
                session, by, lot=by_code(session, Lot, code), reason=form.reason.data
            ),
            lambda _: url_for("stock.lot", code=code),
        )
    ):
        return done
    return lot_page(code, release_form=form)
