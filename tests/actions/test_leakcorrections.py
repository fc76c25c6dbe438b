"""A leak that is corrected: chosen, frozen into every run, asked about when it does not serve any more."""

import json

import numpy as np
import pytest
import tifffile
from sqlalchemy import select

from logbook.actions import ghosting, heirlooms, leakcorrections, overtaken, recipes, reorders, runs, sharing, trace
from logbook.engine.leakcorrection import of_told
from logbook.engine.phase import owners
from logbook.lengths import parse_length
from logbook.paper.traveller import traveller_html
from logbook.records import audit
from logbook.records.floor import Run
from logbook.records.leaks import LeakReading
from logbook.refusals import Refused
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, prints


@pytest.fixture
def measured(shop):
    """A shop's own job whose lens, printer and paper have a measured leak, and a pitch."""
    code = shop.order(customer="")
    shop.choose_pitch(code)
    shop.measure_leak()
    return code


def _ask(shop, code, **wish):
    return shop.act(lambda session, by: runs.ask_for(session, by, job=job(session, code), wish=runs.RunWish(**wish)).id)


def _run(shop, run_id, what):
    return shop.read(lambda session: what(session, session.get_one(Run, run_id)))


def _pixels(shop, run_id):
    return tifffile.imread(_run(shop, run_id, lambda _, run: shop.shop.store.path(run.output.sha256)))


def test_each_choice_says_what_it_leaves_and_what_it_costs(shop, measured):
    looked = shop.read(lambda session: ghosting.looked_at(session, shop.shop.store, job(session, measured)))
    none, whole, lowered = leakcorrections.offered(looked).choices
    assert none.number == pytest.approx(ghosting.number_of(looked), abs=1e-4)
    assert none.number > whole.number > lowered.number
    assert none.at_most > whole.at_most > lowered.at_most > lowered.number
    assert none.contrast_percent == whole.contrast_percent == 100 > lowered.contrast_percent > 80
    assert none.black == whole.black == 0 < lowered.black
    # a middle grey seen as an eye sees it: out of reach is a thousandth at most of all that shall be seen
    light = leakcorrections._light(looked).reshape(len(looked.files), -1)
    free = lowered.correction.unlimited(lowered.correction.wanted(light))
    assert np.mean((free < -1e-4) | (free > 1 + 1e-4)) <= 0.0011


def test_a_run_freezes_the_choice_and_its_dots_are_corrected(shop, measured):
    plain = shop.run(measured, accept=False)
    shop.correct_leak(measured, "lowered")
    entry = shop.read(lambda session: audit.newest(session, before=None, count=1)[0])
    assert entry.action == "leak correction chosen"
    words = shop.read(lambda session: leakcorrections.seen_through(session, shop.shop.store, job(session, measured)))[2]
    assert words.startswith("Corrected for a leak of ")
    assert "not corrected" in _run(shop, plain, overtaken.overtaken)
    made = shop.run(measured)
    assert _run(shop, made, overtaken.overtaken) == ""
    told = _run(shop, made, lambda _, run: json.loads(run.recipe))
    assert "correction" not in _run(shop, plain, lambda _, run: json.loads(run.recipe))
    correction = of_told(told["correction"])
    before, after = (_pixels(shop, one).astype(float) for one in (plain, made))
    plan = recipes.plan_of(told)
    owner = owners(plan.dots[0], lpi=plan.lpi, dpi=plan.dpi[0], pictures=2)
    light = correction.tone.lights() / correction.tone.lights()[-1]
    for number in (1, 2):  # what is printed of a picture differs from what is meant by the others' leak, no more
        columns = slice(None), owner == number
        meant = correction.wanted(light[before[columns].astype(int)])
        assert np.abs(light[after[columns].astype(int)] - meant).mean() < float(correction.leak)
    assert np.abs(after - before).mean() > 1
    _is_said(shop, measured, made, words)
    shop.correct_leak(measured, "none")  # after its sheet began: asked at the printer
    with pytest.raises(Refused, match="now: not corrected for a leak"):
        shop.sign(measured, "print")


def _is_said(shop, code, made, words):
    """On the file, the traveller and the trace."""
    gathered = shop.traveller(code)
    assert f"{words[0].lower()}{words[1:]}: judge it through the lens only" in traveller_html(gathered.view)
    with shop.shop.database.reading() as session:
        assert trace.of_print(session, prints(session, code)[0])["run"]["corrected"] == words
        told = json.loads(session.get_one(Run, made).result)["leak_correction"]
    with tifffile.TiffFile(_run(shop, made, lambda _, run: shop.shop.store.path(run.output.sha256))) as file:
        assert json.loads(file.pages[0].description)["interlaced"]["leak_correction"] == told


def test_none_can_be_chosen_again_and_the_next_run_is_plain(shop, measured):
    shop.correct_leak(measured, "whole")
    shop.correct_leak(measured, "none")
    assert shop.read(lambda session: leakcorrections.in_force(session, job(session, measured))) is None
    assert "correction" not in _run(shop, _ask(shop, measured), lambda _, run: json.loads(run.recipe))


def test_a_reading_that_counts_no_more_or_other_figures_ask_for_a_reason(shop, measured):
    shop.correct_leak(measured, "whole")
    shop.act(lambda session, by: _figures(session, by, measured, "0.03mm"))
    # two pictures are scaled to what was measured, whatever the model's figures are
    assert _ask(shop, measured)
    shop.measure_leak(turned="5")
    with pytest.raises(Refused, match="does not count any more") as refusal:
        _ask(shop, measured)
    assert refusal.value.field == "reason-leak-correction"
    _ask(shop, measured, reason="the old one looked better")
    shop.correct_leak(measured, "whole")
    assert _ask(shop, measured)


def test_a_corrected_job_lies_on_a_sheet_of_its_own(shop, measured):
    shop.correct_leak(measured, "whole")
    side = parse_length("300mm")

    def propose(session, by):
        wish = sharing.SheetWish((sharing.Share(job(session, measured), 1),), side, side)
        return sharing.proposed(session, by, wish)

    with pytest.raises(Refused, match="corrected for a leak, which a shared sheet cannot be"):
        shop.act(propose)


def _figures(session, by, code, spread):
    return ghosting.set_figures(session, by, job=job(session, code), radius=None, ink_spread=parse_length(spread),
                                registration=0, floor_percent=1)  # fmt: skip


def test_more_pictures_than_it_was_chosen_for_stop_the_run_and_more_figures_ask(shop, measured):
    shop.correct_leak(measured, "whole")
    shop.add_pictures(measured, PHOTOGRAPHS[:1])
    with pytest.raises(Refused, match="chosen for 2 pictures, and there are 3 now"):
        _ask(shop, measured, reason="all the same")
    shop.correct_leak(measured, "whole")
    shop.act(lambda session, by: _figures(session, by, measured, "0.06mm"))
    with pytest.raises(Refused, match="figures of mixing were changed"):
        _ask(shop, measured)


def test_without_a_measured_leak_nothing_is_offered_and_nothing_is_kept(shop):
    code = shop.order(customer="")
    looked = shop.read(lambda session: ghosting.looked_at(session, shop.shop.store, job(session, code)))
    assert leakcorrections.offered(looked) is None
    shop.measure_leak()
    looked = shop.read(lambda session: ghosting.looked_at(session, shop.shop.store, job(session, code)))
    choice = leakcorrections.offered(looked).of("whole")
    shop.act(lambda session, _: _forget(session))
    with pytest.raises(Refused, match="print a leak sheet first"):
        shop.act(lambda session, by: leakcorrections.choose(session, by, job=job(session, code), choice=choice))


def _forget(session):
    """As if the reading had been of another paper."""
    row = session.execute(select(LeakReading)).scalar_one()
    row.paper_id = row.lens_id


def test_a_reorder_is_corrected_as_before_and_says_when_it_no_longer_serves(shop, measured):
    shop.correct_leak(measured, "lowered")
    shop.run(measured)
    shop.mount(measured)
    shop.inspect(measured)
    shop.leave(measured)
    shelves = heirlooms.Shelves(shop.shop.store, shop.shop.settings.own_safety_path)

    def again(session, by):
        return reorders.order_again(session, by, shelves, jobs=[job(session, measured)]).jobs[0].code

    new = shop.act(again)
    with shop.shop.database.reading() as session:
        old, now = (leakcorrections.in_force(session, job(session, code)) for code in (measured, new))
        assert (now.correction, now.reading_id) == (old.correction, old.reading_id)
        assert reorders.since(session, job(session, new)).changed == ()
    shop.measure_leak(turned="5")
    other = shop.act(again)
    changed = shop.read(lambda session: reorders.since(session, job(session, other)).changed)
    assert any("does not count any more" in one for one in changed)
