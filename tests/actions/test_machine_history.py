"""A machine's history: what each entry ends, what is asked since, and the record after a repair or a service."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from sqlalchemy import select

from logbook.actions import atrollers, machinehistory, machines, pitch, pitchcharts, pitchchoices
from logbook.paper.shelf import read_shelf
from logbook.records.audit import AuditEntry
from logbook.records.machines import Machine, MachineEvent
from logbook.records.pitch import PitchChart, PitchOnRecord
from logbook.refusals import Refused
from logbook.rules.history import EVENTS
from logbook.rules.traits import machine_traits
from support.small_shop import job, one, prints, standing

PROVEN = machinehistory.Proofs(stops=True, guards=True, test_piece=True)


def _note(shop, name, what, *, effect="", mode=None, note="by the book", ago=None):
    def work(session, by):
        row = one(session, Machine, name=name)
        chosen = row.modes[mode] if mode is not None else None
        then = by.now - ago if ago else None
        machinehistory.note_event(
            session, by, machine=row, what=what, note=note, effect=effect, mode=chosen, happened_at=then
        )

    shop.act(work)


def _back(shop, name, *, proofs=PROVEN, done="cleaned and set", done_by="Brandt & Sons"):
    shop.act(
        lambda session, by: machinehistory.back_into_use(
            session, by, machine=one(session, Machine, name=name), done=done, done_by=done_by, proofs=proofs
        )
    )


def _against(shop, code):
    def work(session):
        wanted = one(session, PitchOnRecord, origin="carried over")
        by = machines.Actor(None, "x", "owner", shop.now)
        found = pitchchoices.findings_for(session, by, job=job(session, code), pitch=wanted)
        return {one.strength.word for one in found if one.rule in ("printer history", "pitch ended")}

    return shop.read(work)


@pytest.mark.parametrize(
    ("effect", "against"), [("none", set()), ("new scale", {"ask"}), ("ends", {"stop"})]
)
def test_a_repair_of_the_printer_means_for_its_pitches_what_was_said(shop, effect, against):
    code = shop.order(customer="")
    _note(shop, "Printer", "repair", effect=effect)
    assert _against(shop, code) == against
    entry = shop.read(lambda session: session.execute(select(AuditEntry).order_by(AuditEntry.id)).scalars().all()[-1])
    touched = [ref for ref in json.loads(entry.body)["objects"] if ref.startswith("pitchonrecord:")]
    assert len(touched) == (effect != "none")


@pytest.mark.parametrize("what", ["repair", "service"])
def test_what_a_repair_or_a_service_means_for_the_pitches_must_be_said(shop, what):
    with pytest.raises(Refused, match=f"Say what this {what} means") as refused:
        _note(shop, "Printer", what)
    assert refused.value.field == "effect"


@pytest.mark.parametrize("what", ["head change", "feed adjustment", "driver change"])
def test_what_changes_the_scale_is_asked_about_unless_it_is_said_to_end_everything(shop, what):
    code = shop.order(customer="")
    with pytest.raises(Refused, match="may print larger or smaller"):
        _note(shop, "Printer", what, effect="none")
    _note(shop, "Printer", what)
    assert _against(shop, code) == {"ask"}


def test_a_driver_that_concerns_one_mode_leaves_the_others_alone(shop):
    shop.act(
        lambda session, by: machines.add_mode(
            session, by, machine=one(session, Machine, name="Printer"), dpi="600", name="fine"
        )
    )
    code = shop.order(customer="")
    _note(shop, "Printer", "driver change", mode=1)
    assert _against(shop, code) == set()
    _note(shop, "Printer", "driver change", mode=0)
    assert _against(shop, code) == {"ask"}


def test_a_test_under_way_is_given_up_where_its_chart_came_from_the_printer_before(shop):
    def start(session, by):
        known = one(session, PitchOnRecord, origin="carried over")
        return [pitchcharts.start_test(session, by, conditions=pitch.conditions_of(known)).id for _ in range(2)]

    printed, not_printed = shop.act(start)

    def draw(session, by):
        test = session.get_one(pitch.PitchTest, printed)
        wish = pitchcharts.ChartWish(Decimal(20), Decimal("0.1"), 3)
        pitchcharts.keep_chart(session, by, test=test, drawn=pitchcharts.draw_chart(shop.shop.store, test, wish))

    shop.act(draw)
    _note(shop, "Printer", "head change")
    states = shop.read(
        lambda session: [session.get_one(pitch.PitchTest, number).state for number in (printed, not_printed)]
    )
    assert states == ["given up", "open"]
    assert shop.read(lambda session: session.execute(select(PitchChart)).scalars().all())


@pytest.mark.parametrize(("effect", "words"), [("new scale", "its scale may have changed"), ("ends", "Test again")])
def test_a_sheet_that_waits_at_the_printer_is_not_printed_as_if_nothing_had_happened(shop, effect, words):
    code = shop.ready()
    _note(shop, "Printer", "head change", effect=effect)
    with pytest.raises(Refused, match=words):
        shop.sign(code, "print")
    if effect == "new scale":
        shop.sign(code, "print", reason="the scale bar measures right")


def test_a_sheet_that_was_printed_before_goes_on(shop):
    code = shop.ready()
    shop.sign(code, "print")
    _note(shop, "Printer", "head change", effect="ends")
    shop.wait(hours=25)
    shop.sign(code, "dry")
    assert shop.read(lambda session: standing(session, code, "adhesive"))


def test_nothing_is_printed_on_a_printer_out_of_use(shop):
    code = shop.ready()
    _note(shop, "Printer", "service", effect="none")
    with pytest.raises(Refused, match="Printer is out of use: service"):
        shop.sign(code, "print")
    _back(shop, "Printer", proofs=machinehistory.Proofs(stops=False, guards=True, test_piece=True))
    shop.sign(code, "print")


# --- rollers and blades


def _counts(shop, name="Rollers"):
    return shop.read(lambda session: machines.machine_facts(one(session, Machine, name=name)))


@pytest.mark.parametrize("what", ["repair", "service"])
def test_after_a_repair_and_a_service_alike_the_record_is_due_before_the_machine_counts(shop, what):
    shop.check_machine()
    _note(shop, "Rollers", what, note="gap shaft changed")
    facts = _counts(shop)
    assert facts.out_of_use == f"{what}: gap shaft changed; not yet written down what was done and proven"
    assert not facts.check_passed
    with pytest.raises(Refused, match="all three are needed"):
        _back(shop, "Rollers", proofs=machinehistory.Proofs(stops=False, guards=True, test_piece=True))
    with pytest.raises(Refused, match="what was done"):
        _back(shop, "Rollers", done=" ")
    with pytest.raises(Refused, match="by whom"):
        _back(shop, "Rollers", done_by=" ")
    _back(shop, "Rollers")
    assert _counts(shop).out_of_use is None
    assert not _counts(shop).check_passed
    shop.check_machine()
    assert _counts(shop).check_passed
    event = shop.read(lambda session: session.execute(select(MachineEvent)).scalars().all()[-1])
    assert event.note == "cleaned and set (Brandt & Sons); stops proven, guards back, test piece run"


def test_an_adjustment_ends_the_check_and_whoever_stands_at_the_rollers_ticks_anew(shop):
    code = shop.ready()
    shop.sign(code, "print")
    shop.wait(hours=25)
    shop.sign(code, "dry")
    shop.roll(code, "adhesive")
    _note(shop, "Rollers", "adjustment", note="pressure up a notch")
    assert not _counts(shop).check_passed
    assert _counts(shop).out_of_use is None

    def covered(session, by):
        return atrollers.open_session(session, by, machine=one(session, Machine, name="Rollers"), helper=None)

    assert shop.act(covered) is None


def test_a_note_ends_nothing(shop):
    shop.check_machine()
    _note(shop, "Rollers", "note", note="squeaks")
    assert _counts(shop).check_passed


def test_what_was_wrong_before_stays_said_beside_a_repair(shop):
    shop.act(
        lambda session, by: machines.take_out_of_use(
            session, by, machine=one(session, Machine, name="Rollers"), reason="stop sticks"
        )
    )
    _note(shop, "Rollers", "repair", note="stop changed")
    assert _counts(shop).out_of_use.startswith("stop sticks; repair: stop changed")


def test_a_machine_that_is_in_use_does_not_come_back(shop):
    with pytest.raises(Refused, match="in use already"):
        _back(shop, "Rollers")


@pytest.mark.parametrize(("name", "kind"), [("Printer", "printer"), ("Rollers", "laminator")])
def test_only_what_belongs_to_a_machine_is_noted_and_with_words(shop, name, kind):
    strange = "roller change" if kind == "printer" else "head change"
    assert strange not in EVENTS[kind]
    with pytest.raises(Refused, match=f"no event of a {kind}"):
        _note(shop, name, strange)
    with pytest.raises(Refused, match="in one line") as refused:
        _note(shop, name, "note", note=" ")
    assert refused.value.field == "note"


def test_the_history_says_of_each_entry_which_pitches_it_concerns(shop):
    _note(shop, "Printer", "note", note="new ink")
    _note(shop, "Printer", "service", effect="new scale")
    told = shop.read(lambda session: machinehistory.told(session, one(session, Machine, name="Printer")))
    assert [(one.event.what, one.ends, len(one.pitches)) for one in told] == [
        ("service", "pitches found before it ask", 1),
        ("note", "", 0),
    ]


@pytest.mark.parametrize(("effect", "held"), [("ends", True), ("new scale", False)])
def test_what_was_printed_before_an_event_was_noted_is_listed_and_held_where_no_pitch_serves(shop, effect, held):
    before, after = shop.ready(), shop.ready()
    shop.sign(before, "print")
    shop.wait(hours=48)
    shop.sign(after, "print")
    shop.wait(hours=24)
    _note(shop, "Printer", "head change", effect=effect, ago=timedelta(hours=30))
    told = shop.read(lambda session: machinehistory.told(session, one(session, Machine, name="Printer")))
    assert [piece.job.code for piece in told[0].printed] == [after]
    doubts = shop.read(lambda s: [prints(s, code)[0].set_aside_reason for code in (before, after)])
    assert doubts[0] is None
    assert (doubts[1] is not None and "printed after the head change" in doubts[1]) == held
    with pytest.raises(Refused, match="not come yet"):
        _note(shop, "Printer", "note", ago=timedelta(hours=-1))


def test_a_pitch_found_after_an_event_that_was_noted_late_stands(shop):
    code = shop.order(customer="")
    _note(shop, "Printer", "head change", effect="ends", ago=timedelta(days=3650))
    assert _against(shop, code) == set()


def test_times_out_of_use_stay_in_the_history_and_are_judged_by_their_own_time(shop):
    def rollers(session):
        return one(session, Machine, name="Rollers")

    times = [shop.now]
    for reason in ("the stop sticks", "a bearing is hot"):
        shop.wait(hours=1)
        shop.act(
            lambda s, by, reason=reason: machines.take_out_of_use(s, by, machine=rollers(s), reason=reason)
        )
        times.append(shop.now)
    shop.wait(hours=1)
    _back(shop, "Rollers")
    times.append(shop.now)
    then = shop.read(lambda s: [machines.machine_facts_then(rollers(s), time).out_of_use for time in times])
    assert then == [None, "out of use: the stop sticks", "out of use: a bearing is hot", None]
    told = shop.read(lambda s: [one.event.what for one in machinehistory.told(s, rollers(s))])
    assert told == ["back into use", "out of use", "out of use"]


def test_the_daily_check_answers_nothing_that_the_logbook_knows_to_be_otherwise(shop):
    shop.act(lambda session, by: machines.add_machine(session, by, kind="laminator", name="New", drive="hand"))
    items = read_shelf(shop.shop.settings.own_safety_path).machine_check.items_for(
        "laminator", machine_traits(drive="hand")
    )
    answers = {item.key: "yes" if item.record == "yes-no" else "" for item in items}

    def check(session, by):
        machines.check_machine(session, by, machine=one(session, Machine, name="New"), items=items, answers=answers)

    for field, fact in (("freeing", {"freeing_procedure": "Turn the crank back."}), ("people", {})):
        with pytest.raises(Refused) as refused:
            shop.act(check)
        assert refused.value.field == field
        shop.act(lambda session, by, fact=fact: machines.set_machine_facts(
            session, by, machine=one(session, Machine, name="New"), values=fact))  # fmt: skip
