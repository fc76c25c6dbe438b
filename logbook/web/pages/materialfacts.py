"""What is known of a type of lens, paper or adhesive, put right once it is on record."""

from flask import Blueprint, url_for
from werkzeug import Response

from logbook.actions import materials
from logbook.actions.finding import by_code, ref
from logbook.records.materials import Material
from logbook.web import meanwhile
from logbook.web.acting import act, page, reading
from logbook.web.fields import BenchForm
from logbook.web.pages.stock import MaterialForm

pages = Blueprint("materialfacts", __name__)


@pages.route("/stock/<code>/change", methods=["GET", "POST"])
def change(code: str) -> Response | tuple[str, int]:
    """Put it right; each kind has facts of its own."""
    with reading() as session:
        found = by_code(session, Material, code)
        form, name, facts = MaterialForm(obj=found), found.name, materials.OF_A_KIND[found.kind]
        for other in [one.name for one in form if hasattr(MaterialForm, one.name) and not hasattr(BenchForm, one.name)]:
            if other not in facts:
                del form[other]
        meanwhile.watch(session, form, ref(found), "material changed")
        lots = [lot.code for lot in found.lots]
    changes = {one: form[one].data or ("" if one == "substance" else None) for one in facts}
    changes |= {one: form[one].data for one in facts if one.endswith("_hours")}
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: materials.change_material(
                session, by, material=by_code(session, Material, code), changes=changes
            ),
            lambda _: url_for("stock.lot", code=lots[-1]) if lots else url_for("stock.listing"),
        )
    ):
        return done
    return page("material_change.html", form=form, code=code, name=name, facts=facts)
