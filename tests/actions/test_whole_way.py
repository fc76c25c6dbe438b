"""The way of a print through the acts: order to door, and every door that must stay shut."""

import json

import pytest
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from logbook.actions import (
    bench,
    benchrecords,
    jobs,
    leaving,
    materials,
    orders,
    outputs,
    pictures,
    pitch,
    runs,
    sheets,
    strips,
    trace,
)
from logbook.background.compute import work_on
from logbook.lengths import parse_length
from logbook.records import audit, chain
from logbook.records.floor import Print, Run, Sheet
from logbook.records.materials import Lot
from logbook.records.orders import Order
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from support.small_shop import CUSTOMER, WORDS, job, one, prints, standing


def test_a_print_passes_every_stage_and_closes_its_order(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    assert shop.read(lambda session: [piece.stage for piece in prints(session, code)]) == ["gone"]
    assert shop.read(lambda session: job(session, code).order.closed_at) is not None
    assert shop.read(chain.first_bad) is None


def test_the_stored_stage_is_the_one_that_the_trail_says(shop):
    code = shop.ready(quantity=2)
    shop.mount(code)
    for sheet in shop.read(lambda session: list(session.execute(select(Sheet)).scalars())):
        acts = shop.read(
            lambda session, sheet=sheet: [
                json.loads(entry.body) for entry in audit.entries_for(session, f"sheet:{sheet.code}")
            ]
        )
        signed = [
            act["new"]["next"] for act in acts if act["action"] == "stage signed" and act["new"]["stage"] != "trim"
        ]
        assert signed[-1] == sheet.stage == "parted"


def test_which_pitch_produced_which_print_is_answered_both_ways(shop):
    code = shop.ready()
    known = shop.read(lambda session: one(session, PitchOnRecord, origin="carried over").code)
    serial = shop.read(lambda session: prints(session, code)[0].serial)
    told = shop.read(lambda session: trace.find(session, serial))
    assert told["pitch"]["code"] == known
    assert told["pitch"]["lpi"] == "20.07"
    assert told["sheet"]["lens_lot"]["label"] == "L-1"
    assert len(told["run"]["recipe"]["pictures"]) == 2
    assert told["run"]["asked_by"] == "Olga"
    for lot in ("P-1", "A-1"):  # named for it, but not printed on and not bonded with yet
        assert shop.read(lambda session, lot=lot: trace.find(session, lot))["prints"] == []
    shop.mount(code)
    for words in (
        known,
        "L-1",
        "P-1",
        "A-1",
        told["run"]["code"],
        told["run"]["file_sha256"],
        told["run"]["recipe"]["pictures"][0]["sha256"],
    ):
        back = shop.read(lambda session, words=words: trace.find(session, words))
        assert [piece["serial"] for piece in back["prints"]] == [serial], words


def test_a_file_with_changed_bytes_still_names_its_run_and_says_that_it_differs(shop, tmp_path):
    code = shop.ready()
    kept = shop.read(lambda session: one(session, Run).output.sha256)
    changed = bytearray(shop.shop.store.path(kept).read_bytes())
    changed[len(changed) // 2] ^= 255
    (tmp_path / "found.tif").write_bytes(changed)
    told = shop.read(lambda session: trace.of_file(session, tmp_path / "found.tif"))
    assert told["file"]["same_bytes"] is False
    assert [piece["serial"] for piece in told["prints"]] == shop.read(
        lambda session: [piece.serial for piece in prints(session, code)]
    )


def test_without_the_customers_word_only_a_sample_runs_and_it_cannot_leave_as_the_order(shop):
    code = shop.order()
    shop.choose_pitch(code)
    with pytest.raises(Refused, match="has not approved"):
        shop.run(code)
    shop.run(code, sample=True)
    shop.mount(code)
    shop.inspect(code)
    with pytest.raises(Refused, match="sample and cannot leave as the order"):
        shop.leave(code)
    shop.leave(code, as_order=False)
    assert shop.read(lambda session: sheets.open_quantity(session, job(session, code))) == 1


def test_a_failed_inspection_leaves_only_by_rework_or_the_owners_concession(shop):
    code = shop.ready()
    shop.mount(code)
    shop.inspect(code, "failed")
    with pytest.raises(Refused, match="Choose at least one"):
        shop.sign(code, "pack")  # nothing stands there

    def decide(kind):
        return lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind=kind, reason="seen by the customer"
        )

    with pytest.raises(Refused, match="owner's decision"):
        shop.act(decide("concession"), who="Otto")
    shop.act(decide("concession"))
    shop.leave(code)
    assert shop.read(lambda session: prints(session, code)[0].stage) == "gone"


def test_a_replacement_names_what_it_replaces_and_comes_from_the_same_run(shop):
    code = shop.ready(quantity=2)
    shop.mount(code)
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[1], kind="replace", reason="scratched"
        )
    )
    pieces = shop.read(
        lambda session: [
            (piece.stage, piece.replaces.serial if piece.replaces else None, piece.sheet.run_id)
            for piece in prints(session, code)
        ]
    )
    assert [stage for stage, _, _ in pieces] == ["inspect", "scrapped", "on sheet"]
    assert pieces[2][1] == shop.read(lambda session: prints(session, code)[1].serial)
    assert len({run for _, _, run in pieces}) == 1
    assert shop.read(lambda session: sheets.open_quantity(session, job(session, code))) == 0


def test_withdrawing_a_pitch_sets_aside_exactly_its_prints_that_have_not_left(shop):
    gone, here = shop.ready(), shop.ready()
    shop.mount(gone)
    shop.inspect(gone)
    shop.leave(gone)
    known = shop.read(lambda session: one(session, PitchOnRecord, origin="carried over").code)
    touched = shop.act(
        lambda session, by: [
            piece.serial
            for piece in pitch.withdraw(
                session, by, pitch=one(session, PitchOnRecord, code=known), reason="wrong paper"
            )
        ]
    )
    assert len(touched) == 2
    assert shop.read(lambda session: prints(session, gone)[0].set_aside_reason) is None
    assert "wrong paper" in shop.read(lambda session: prints(session, here)[0].set_aside_reason)
    serials = set(shop.read(lambda session: [prints(session, each)[0].serial for each in (gone, here)]))
    lens = shop.read(lambda session: prints(session, gone)[0].sheet.lens_lot.code)
    for words in (known, lens, shop.read(lambda session: job(session, gone).number)):
        listed = shop.read(lambda session, words=words: trace.find(session, words))["prints"]
        assert listed, words
        assert all(row["pitch_withdrawn"] is (row["serial"] in serials) for row in listed), words
    with pytest.raises(Refused, match="set aside"):
        shop.sign(here, "print")
    with pytest.raises(Refused, match="withdrawn"):
        shop.choose_pitch(shop.order())


def test_a_lot_that_is_set_aside_takes_its_prints_along(shop):
    printed, planned = shop.ready(), shop.ready()
    shop.sign(printed, "print")
    shop.act(
        lambda session, by: materials.set_lot_aside(session, by, lot=one(session, Lot, label="P-1"), reason="damp")
    )
    assert "damp" in shop.read(lambda session: prints(session, printed)[0].set_aside_reason)
    assert shop.read(lambda session: prints(session, planned)[0].set_aside_reason) is None, "nothing is made of it yet"
    with pytest.raises(Refused, match="Lot P-1 was set aside: damp; choose another lot"):
        shop.sign(planned, "print")
    assert shop.read(
        lambda session: [row["serial"] for row in trace.of_lot(session, one(session, Lot, label="P-1"))["prints"]]
    ) == [shop.read(lambda session: prints(session, printed)[0].serial)]


def test_sheets_are_used_up_once_each_when_they_are_really_used(shop):
    def left(label):
        return shop.read(lambda session: materials.left(session, one(session, Lot, label=label)))

    code = shop.ready()
    assert (left("P-1"), left("A-1"), left("L-1")) == (50, 50, 50)
    shop.mount(code)
    assert (left("P-1"), left("A-1"), left("L-1")) == (49, 49, 49)


def test_a_run_keeps_its_numbers_when_the_job_changes_afterwards(shop):
    code = shop.ready()
    before = shop.read(lambda session: one(session, Run).recipe)
    shop.act(lambda session, by: pictures.remove_picture(session, by, picture=pictures.current(job(session, code))[0]))
    assert shop.read(lambda session: one(session, Run).recipe) == before
    with pytest.raises(Refused, match="interlaced for this job already"):
        shop.act(
            lambda session, by: orders.change_job(
                session, by, job=job(session, code), changes={"width": parse_length("60mm")}
            )
        )


def test_an_answer_is_about_exact_pictures_and_size(shop):
    code = shop.order()
    shop.approve(code)
    assert shop.read(lambda session: jobs.gates(session, job(session, code)).answer_is_current)
    shop.act(
        lambda session, by: orders.change_job(
            session, by, job=job(session, code), changes={"height": parse_length("90mm")}
        )
    )
    assert not shop.read(lambda session: jobs.gates(session, job(session, code)).answer_is_current)
    shop.choose_pitch(code)
    with pytest.raises(Refused, match="changed after the proof"):
        shop.run(code)


def test_a_picture_that_is_none_is_refused_in_its_own_name_and_leaves_nothing(shop, tmp_path):
    code = shop.order()
    (tmp_path / "holiday.jpg").write_text("not a picture")
    before = sorted(path.name for path in shop.shop.store.folder.rglob("*") if path.is_file())
    with pytest.raises(Refused, match=r"holiday\.jpg cannot be read as a JPEG, PNG or TIFF"):
        shop.add_pictures(code, [tmp_path / "holiday.jpg"])
    assert sorted(path.name for path in shop.shop.store.folder.rglob("*") if path.is_file()) == before


def test_a_form_that_is_sent_twice_makes_one_record(shop):
    wish = orders.JobWish(width=parse_length("70mm"), height=parse_length("80mm"), flip="left-right")

    def place(session, by):
        orders.place_order(session, by, shop.shop.settings.own_safety_path, customer_name="", wish=wish)

    shop.act(place, request_id="one-form")
    with pytest.raises(IntegrityError, match="request_id"):
        shop.act(place, request_id="one-form")
    assert shop.read(lambda session: len(list(session.execute(select(Order)).scalars()))) == 1


def test_no_personal_value_stands_in_the_trail(shop):
    shop.ready()
    bodies = shop.read(lambda session: [entry.body for entry in session.execute(select(audit.AuditEntry)).scalars()])
    assert any("hmac-sha256:" in body for body in bodies)
    assert not any(CUSTOMER in body or WORDS in body for body in bodies)


def test_order_numbers_run_on_past_four_digits(shop):
    shop.order(customer="")
    shop.act(lambda session, _by: setattr(one(session, Order), "number", "26-9999"))
    shop.order(customer="")
    shop.order(customer="")
    numbers = shop.read(
        lambda session: [order.number for order in session.execute(select(Order).order_by(Order.id)).scalars()]
    )
    assert numbers == ["26-9999", "26-10000", "26-10001"]


def test_a_half_done_job_enters_with_its_earlier_stages_marked(shop):
    code = shop.order()
    shop.act(lambda session, by: sheets.enter_midway(session, by, job=job(session, code), stage="dwell", count=2))
    told = shop.read(lambda session: trace.of_print(session, prints(session, code)[0]))
    assert [(step["stage"], step["source"]) for step in told["steps"]] == [
        (stage, "before the logbook") for stage in ("print", "dry", "adhesive", "laminate")
    ]
    assert told["run"] is None
    shop.sign(code, "dwell")
    assert shop.read(lambda session: {piece.stage for piece in prints(session, code)}) == {"trim"}


def test_a_pitch_is_carried_over_once_for_its_conditions(shop):
    def again(session, by):
        row = one(session, PitchOnRecord, origin="carried over")
        pitch.carry_over(
            session, by, conditions=pitch.conditions_of(row), lpi=row.lpi, note="again", known_since=by.now
        )

    with pytest.raises(Refused, match="carried over for these conditions already"):
        shop.act(again)


def test_a_file_is_dropped_only_after_its_prints_have_left_and_made_anew_dot_for_dot(shop):
    code = shop.ready()
    run_id = shop.read(lambda session: one(session, Run).id)

    def drop(session, by):
        return outputs.drop(session, by, run=session.get_one(Run, run_id))

    with pytest.raises(Refused, match="still in the shop"):
        shop.act(drop)
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    dropped = shop.act(drop)
    before = shop.shop.store.path(dropped).read_bytes()
    shop.shop.store.drop(dropped)
    shop.act(lambda session, by: outputs.make_anew(session, by, run=session.get_one(Run, run_id)))
    work_on(shop.shop, run_id)
    assert shop.read(lambda session: session.get_one(Run, run_id).state) == "done"
    assert shop.shop.store.path(dropped).read_bytes() == before


def test_a_file_made_anew_with_other_dots_is_noticed(shop):
    code = shop.ready()
    run_id = shop.read(lambda session: one(session, Run).id)
    shop.mount(code)
    shop.inspect(code)
    shop.leave(code)
    shop.shop.store.drop(shop.act(lambda session, by: outputs.drop(session, by, run=session.get_one(Run, run_id))))
    shop.act(lambda session, by: outputs.make_anew(session, by, run=session.get_one(Run, run_id)))
    shop.act(lambda session, _by: setattr(session.get_one(Run, run_id), "pixels_sha256", "0" * 64))
    work_on(shop.shop, run_id)
    assert "differ from those that were printed" in shop.read(lambda session: session.get_one(Run, run_id).trouble)


def test_the_name_of_a_file_says_serial_size_dots_and_pitch(shop):
    code = shop.ready()
    name = shop.read(lambda session: outputs.file_name(one(session, Run), prints(session, code)[0].serial))
    lpi = shop.read(lambda session: one(session, Run).lpi)
    assert name == f"26-0001-A1_70mmx80mm_300dpi_{lpi}lpi.tif"


def test_a_hand_over_folder_gets_the_whole_file_or_nothing(shop, tmp_path):
    code = shop.ready()
    run_id = shop.read(lambda session: one(session, Run).id)
    with pytest.raises(Refused, match="is not there"):
        shop.act(
            lambda session, by: outputs.hand_over(
                session, by, shop.shop.store, session.get_one(Run, run_id), tmp_path / "away", code
            )
        )
    there = tmp_path / "printer"
    there.mkdir()
    target = shop.act(
        lambda session, by: outputs.hand_over(session, by, shop.shop.store, session.get_one(Run, run_id), there, code)
    )
    assert [path.name for path in there.iterdir()] == [target.name]


def test_the_expected_counts_of_a_strip_give_the_pitch_on_record(shop):
    code = shop.order()
    shop.approve(code)
    shop.choose_pitch(code)
    run_id = shop.act(
        lambda session, by: runs.ask_for(session, by, job=job(session, code), wish=runs.RunWish(waste=True)).id
    )
    work_on(shop.shop, run_id, clock=lambda: shop.now)
    shop.act(lambda session, by: runs.accept(session, by, run=session.get_one(Run, run_id)))
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=session.get_one(Run, run_id), count=1))
    counts = {1: "1", 2: "1/2", 3: "0", 4: "1/2", 5: "1"}  # engine contract: what a right print shows
    shop.act(lambda session, by: strips.record_counts(session, by, sheet=one(session, Sheet), counts=counts))
    found = shop.read(lambda session: strips.fit_of(session, one(session, Sheet)))
    assert abs(float(found.lpi) - 20.07) < 3 * found.u_lpi
    assert abs(found.off_lenticules) < 0.1


def test_waiting_times_ask_for_a_reason_and_keep_it(shop):
    code = shop.ready()
    shop.sign(code, "print")
    with pytest.raises(Refused, match="Drying: 23 h 59 min left"):
        shop.sign(code, "dry")
    shop.sign(code, "dry", reason="fan dried")
    rows = shop.read(lambda session: benchrecords.records_of(session, standing(session, code, "adhesive")[0]))
    assert rows[-1].reason == "fan dried"
    assert "Drying" in rows[-1].notes


def test_a_print_of_another_stage_is_not_signed(shop):
    code = shop.ready()
    with pytest.raises(Refused, match="Choose at least one"):
        shop.sign(code, "dwell")

    def wrong(session, by):
        bench.sign_stage(
            session, by, subjects=standing(session, code, "print"), stage="dwell", signature=bench.Signature(values={})
        )

    with pytest.raises(Refused, match="at the stage 'print'"):
        shop.act(wrong)
    assert shop.read(lambda session: session.execute(select(Print.stage)).scalar_one()) == "on sheet"
