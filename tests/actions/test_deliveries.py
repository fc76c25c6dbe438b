"""One lot may come in several parcels: traced and set aside as one, counted apart."""

from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import materials, trace
from logbook.lengths import parse_length
from logbook.records.audit import AuditEntry, AuditObject, head
from logbook.records.materials import Lot, Material
from logbook.refusals import Refused
from support.small_shop import one, prints


@pytest.fixture
def twice(shop):
    """The paper lot of a printed job, and a second parcel of it, typed in other letters; returns the job."""
    code = shop.ready()
    shop.sign(code, "print")

    def come(session, by):
        materials.add_lot(session, by, material=one(session, Material, name="paper"), label="p-1", count=10)

    shop.act(come)
    return code


def _codes(session, *labels):
    return {lot.code for lot in session.execute(select(Lot).where(Lot.label.in_(labels))).scalars()}


@pytest.mark.usefixtures("twice")
def test_either_delivery_leads_to_the_prints_of_both(shop):
    told = shop.read(
        lambda session: [trace.of_lot(session, one(session, Lot, label=label)) for label in ("P-1", "p-1")]
    )
    assert [[row["serial"] for row in one["prints"]] for one in told] == [["26-0001-A1"], ["26-0001-A1"]]
    assert {row["code"] for row in told[0]["deliveries"]} == shop.read(lambda s: _codes(s, "P-1", "p-1"))


@pytest.mark.usefixtures("twice")
def test_a_label_that_came_twice_is_no_longer_refused_but_followed(shop):
    def again(session, by):
        materials.add_lot(session, by, material=one(session, Material, name="paper"), label="P-1")

    shop.act(again)
    assert len(shop.read(lambda session: trace.find(session, "P-1"))["deliveries"]) == 3
    shop.act(lambda s, by: materials.add_lot(s, by, material=one(s, Material, name="film"), label="P-1"))
    with pytest.raises(Refused, match="use the code"):
        shop.read(lambda session: trace.find(session, "P-1"))


def test_setting_one_parcel_aside_sets_aside_the_other_and_the_prints_of_both(shop, twice):
    def doubt(session, by):
        return materials.set_lot_aside(session, by, lot=one(session, Lot, label="p-1"), reason="curls")

    held = shop.act(doubt)
    assert [piece.serial for piece in held] == ["26-0001-A1"]
    lots = shop.read(lambda s: {lot.label: lot.set_aside_reason for lot in s.execute(select(Lot)).scalars()})
    assert (lots["P-1"], lots["p-1"], lots["L-1"]) == ("curls", "curls", None)
    assert shop.read(lambda session: prints(session, twice)[0].set_aside_reason) == "lot p-1: curls"
    touched = shop.read(
        lambda session: set(
            session.execute(
                select(AuditObject.ref)
                .join(AuditEntry, AuditEntry.id == AuditObject.entry_id)
                .where(AuditEntry.action == "lot set aside")
            ).scalars()
        )
    )
    assert {f"lot:{code}" for code in shop.read(lambda s: _codes(s, "P-1", "p-1"))} < touched


def test_a_parcel_that_was_in_doubt_before_keeps_its_own_reason(shop, twice):
    assert twice
    shop.act(lambda s, _by: setattr(one(s, Lot, label="P-1"), "set_aside_reason", "torn"))
    shop.act(lambda s, by: materials.set_lot_aside(s, by, lot=one(s, Lot, label="p-1"), reason="curls"))
    assert shop.read(lambda s: one(s, Lot, label="P-1").set_aside_reason) == "torn"


def test_each_parcel_keeps_its_own_count(shop, twice):
    assert twice
    counts = shop.read(lambda s: [materials.left(s, one(s, Lot, label=label)) for label in ("P-1", "p-1")])
    assert counts == [49, 10]


def test_two_parcels_without_a_label_on_one_day_stay_two_lots(shop):
    def come(session, by):
        return materials.add_lot(session, by, material=one(session, Material, name="film"), label=" ").label

    first, second = shop.act(come), shop.act(come)
    assert second == f"{first} (2)"
    assert len(shop.read(lambda s: materials.deliveries(s, one(s, Lot, label=first)))) == 1


def test_what_is_known_of_a_type_is_put_right_but_not_the_number_that_a_pitch_stands_on(shop):
    def change(label, **changes):
        shop.act(
            lambda session, by: materials.change_material(
                session, by, material=one(session, Lot, label=label).material, changes=changes
            )
        )

    change("L-1", thickness=parse_length("3mm"), refractive_index=Decimal("1.57"))
    change("A-1", trim_hours=Decimal(48))
    known = shop.read(lambda session: one(session, Lot, label="L-1").material)
    assert (str(known.thickness), known.refractive_index) == ("3mm", Decimal("1.57"))
    entry = shop.read(lambda session: session.get_one(AuditEntry, head(session).seq))
    assert entry.action == "material changed"
    assert '"48"' in entry.body
    with pytest.raises(Refused, match="A pitch is on record") as refused:
        change("L-1", nominal_lpi=Decimal(40))
    assert refused.value.field == "nominal_lpi"
    with pytest.raises(Refused, match="does not change"):
        change("P-1", trim_hours=Decimal(1))
