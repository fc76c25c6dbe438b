"""A run and what was chosen after it: both pitches in the sentence, a reason before it goes on, each sheet its own."""

import pytest
from sqlalchemy import select

from logbook.actions import jobs, leaving, materials, overtaken, papers, pitch, pitchchoices, runs, sheets
from logbook.paper.traveller import traveller_html
from logbook.records import audit
from logbook.records.floor import Run, Sheet
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from support.small_shop import job, one, prints, standing


def _new_pitch(shop, code):
    """The nominal pitch of the same lens, printer and paper, chosen for the job after its run: its code and value."""

    def choose(session, by):
        old = one(session, PitchOnRecord, origin="carried over")
        conditions = pitch.Conditions(lens_lot=old.lens_lot, mode=old.mode, paper=old.paper, axis=old.axis)
        found = pitch.take_nominal(session, by, conditions=conditions)
        pitchchoices.choose(session, by, job=job(session, code), pitch=found, reason="to compare")
        return found.code, f"now {found.lpi}"

    return shop.act(choose)


def _run(session, run_id):
    return session.get_one(Run, run_id)


@pytest.fixture
def moved_on(shop):
    """A finished run that nobody accepted yet, and a job whose pitch is another one by now."""
    code = shop.order(customer="")
    shop.choose_pitch(code)
    run_id = shop.run(code, accept=False)
    return code, run_id, _new_pitch(shop, code)


def test_a_run_that_nothing_overtook_is_accepted_without_a_word(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    run_id = shop.run(code, accept=False)
    assert shop.read(lambda session: overtaken.overtaken(session, _run(session, run_id))) == ""
    shop.act(lambda session, by: runs.accept(session, by, run=_run(session, run_id)))
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=_run(session, run_id), count=1))


def test_accepting_asks_and_the_sentence_has_both_pitches(shop, moved_on):
    _, run_id, new = moved_on
    old = shop.read(lambda session: (f"made at {_run(session, run_id).lpi}", _run(session, run_id).pitch.code))
    with pytest.raises(Refused) as refusal:
        shop.act(lambda session, by: runs.accept(session, by, run=_run(session, run_id)))
    assert all(words in str(refusal.value) for words in (*old, *new, "Give a reason"))
    assert shop.read(lambda session: _run(session, run_id).accepted_at) is None


def test_a_reason_lets_it_go_on_and_stays_on_record(shop, moved_on):
    code, run_id, new = moved_on
    why = "compare both pitches side by side"
    shop.act(lambda session, by: runs.accept(session, by, run=_run(session, run_id), reason=why))
    assert shop.read(lambda session: audit.newest(session, before=None, count=1)[0].reason) == why
    with pytest.raises(Refused, match=new[1]):
        shop.act(lambda session, by: sheets.start_sheets(session, by, run=_run(session, run_id), count=1))
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=_run(session, run_id), count=1, reason=why))
    assert why in _paper(shop, code)


def test_at_the_printer_it_asks_once_more_only_where_the_pitch_changed_after_the_sheet_began(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    shop.run(code)
    new = _new_pitch(shop, code)
    with pytest.raises(Refused, match=new[1]):
        shop.sign(code, "print")
    shop.sign(code, "print", reason="the customer likes it so")


def test_what_is_known_of_the_lens_by_now_asks_at_the_printer_and_stands_on_the_traveller(shop):
    code = shop.ready()
    assert not shop.traveller(code).view.banners
    optics = {"thickness": None, "refractive_index": None}  # then nothing is converted from the lens loose to bonded
    shop.act(
        lambda session, by: materials.change_material(
            session, by, material=one(session, Lot, label="L-1").material, changes=optics
        )
    )
    was = shop.read(lambda session: str(one(session, Run).lpi))
    asked = shop.read(lambda session: overtaken.before_printing(session, one(session, Sheet)))
    (banner,) = shop.traveller(code).view.banners
    for words in (asked[0].sentence, banner):
        assert f"This run was made at {was} lines per inch" in words
    assert banner.startswith("Look before printing. ")
    with pytest.raises(Refused, match="Give a reason"):
        shop.sign(code, "print")


def test_the_reason_at_the_start_of_a_sheet_serves_at_the_printer(shop, moved_on):
    code, run_id, _ = moved_on
    shop.act(lambda session, by: runs.accept(session, by, run=_run(session, run_id), reason="to compare"))
    shop.act(
        lambda session, by: sheets.start_sheets(session, by, run=_run(session, run_id), count=1, reason="to compare")
    )
    shop.sign(code, "print")


def test_other_materials_and_other_pictures_are_named_too(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    run_id = shop.run(code, accept=False)

    def other_paper(session, by):
        paper = Material(kind="paper", name="pearl")
        session.add(paper)
        session.flush()
        choice = jobs.MaterialChoice(
            lens_lot=one(session, Lot, label="L-1"), mode=one(session, Machine, name="Printer").modes[0], paper=paper
        )
        jobs.choose_materials(session, by, job=job(session, code), choice=choice)

    shop.act(other_paper)
    told = shop.read(lambda session: overtaken.overtaken(session, _run(session, run_id)))
    assert "paper is paper; the job's is now pearl" in told
    assert "pictures" not in told
    shop.act(lambda session, by: setattr(job(session, code).pictures[0], "replaced_at", by.now))
    told = shop.read(lambda session: overtaken.overtaken(session, _run(session, run_id)))
    assert "pictures are other ones" in told


# --- the traveller: every sheet its own


def _paper(shop, code):
    return traveller_html(shop.traveller(code).view)


def test_sheets_of_two_runs_carry_their_own_pitch_and_file(shop):
    code = shop.order(customer="", quantity=2)
    shop.choose_pitch(code)
    first = shop.run(code)
    alone = _paper(shop, code)
    _new_pitch(shop, code)
    second = shop.run(code, sample=True)
    told = shop.read(
        lambda session: [
            (str(run.lpi), run.output.sha256[:8], len(run.sheets))
            for run in (_run(session, first), _run(session, second))
        ]
    )
    paper = _paper(shop, code)
    assert "see each sheet" not in alone
    assert "see each sheet" in paper
    for lpi, sha256, count in told:
        assert paper.count(f"pitch <b>{lpi}</b>") == count
        assert paper.count(f"file <b>{sha256}</b>") == count
    assert "Several runs: pitch and file stand at each sheet" in paper


def test_what_a_sheet_was_made_of_is_not_rewritten_by_a_later_choice(shop):
    code = shop.order(customer="")
    shop.choose_pitch(code)
    run_id = shop.run(code)
    _new_pitch(shop, code)
    paper = _paper(shop, code)
    assert f"<dd>{shop.read(lambda session: _run(session, run_id).lpi)} " in paper
    assert "CARRIED OVER" in paper
    assert "NOMINAL" not in paper


# --- more sheets than were ordered


def _gone_but_one(shop):
    """A job of one whose second sheet still waits at the printer when the first has gone."""
    code = shop.ready(customer="")
    shop.mount(code)
    shop.inspect(code)
    shop.act(lambda session, by: sheets.start_sheets(session, by, run=one(session, Run), count=1))
    shop.leave(code)
    return code


def _ended(shop, code):
    return shop.read(lambda session: job(session, code).ended_at is not None)


def test_a_job_is_not_over_while_a_sheet_of_it_waits(shop):
    code = _gone_but_one(shop)
    assert not _ended(shop, code)
    assert shop.read(lambda session: [one_job.code for one_job in papers.open_jobs(session)]) == [code]
    stages = select(Sheet.stage).order_by(Sheet.id)
    assert shop.read(lambda session: list(session.execute(stages).scalars())) == ["parted", "print"]


def test_throwing_the_rest_away_ends_it(shop):
    code = _gone_but_one(shop)
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[1], kind="scrap", reason="one too many"
        )
    )
    assert _ended(shop, code)


def test_finishing_the_rest_ends_it_too(shop):
    code = _gone_but_one(shop)
    shop.mount(code)
    shop.inspect(code)
    assert not _ended(shop, code)
    shop.leave(code)
    assert _ended(shop, code)
    assert shop.read(lambda session: standing(session, code, "pack")) == []


def test_a_replacement_from_an_overtaken_run_asks_before_it_is_printed(shop):
    code = shop.ready(customer="")
    shop.mount(code)
    shop.inspect(code, "failed")
    new = _new_pitch(shop, code)
    shop.act(
        lambda session, by: leaving.decide(
            session, by, piece=prints(session, code)[0], kind="replace", reason="a crease"
        )
    )
    with pytest.raises(Refused, match=new[1]):
        shop.sign(code, "print")
    shop.sign(code, "print", reason="as the first one was")
