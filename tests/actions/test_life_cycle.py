"""The life of prints against a plain model: whatever order things happen in, books and bench agree.

The model knows only what a workshop would say: where each piece lies, whether
its last inspection failed without a decision, whether it is in doubt.
"""

import json
import shutil
import tempfile
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import select

from logbook.actions import atrollers, bench, benchrecords, leaving, pitch, sheets, takingback
from logbook.records import audit, chain
from logbook.records.floor import Departure, Run
from logbook.records.machines import Machine
from logbook.records.opened import open_shop
from logbook.records.pitch import PitchOnRecord
from logbook.refusals import Refused
from logbook.settings import Settings
from support.small_shop import SmallShop, job, one, prints, small_shop

QUANTITY = 2
WAY = ("print", "dry", "adhesive", "laminate", "dwell", "trim", "inspect", "pack")


@dataclass
class Piece:
    """A print as the model sees it."""

    stage: str = "print"
    sample: bool = False
    undecided: bool = False
    in_doubt: bool = False
    as_order: bool = False

    @property
    def alive(self) -> bool:
        """Whether it can still be worked on."""
        return self.stage not in ("gone", "scrapped")


@dataclass
class Tap:
    """The newest signature, as the model remembers it: what it was on, as what stood before, and whether it stands."""

    place: int
    before: Piece
    seq: int
    at: datetime
    built_on: bool = False


@pytest.fixture(scope="module", autouse=True)
def begun(tmp_path_factory):
    """A shop whose order and sample wait to be printed, and one where they wait for inspection: examples copy one."""
    made = small_shop(tmp_path_factory.mktemp("life cycle") / "data")
    code = made.order(quantity=QUANTITY)
    made.choose_pitch(code)
    made.run(code, sample=True)
    made.approve(code)
    made.run(code)
    LifeCycle.code = code
    made.shop.database.close()
    fresh = SmallShop(made.shop, made.now)
    far = SmallShop(open_shop(Settings(data=_copied(made, tmp_path_factory.mktemp("far")))), made.now)
    far.mount(code)
    far.wait(hours=80)
    far.shop.database.close()
    LifeCycle.begun = {"print": fresh, "inspect": far}
    yield
    del LifeCycle.begun


def _copied(shop, folder):
    return Path(shutil.copytree(shop.shop.settings.data, folder / "data"))


class LifeCycle(RuleBasedStateMachine):
    """One order of two pieces with a sample before it."""

    begun: dict[str, SmallShop]
    code: str

    @initialize(stage=st.sampled_from(["inspect", "inspect", "print"]))
    def open_a_copy(self, stage):
        self.shop = self._copy_of(self.begun[stage])
        # serials in the order of their making: the sample first
        self.pieces = [Piece(stage, sample=True), *(Piece(stage) for _ in range(QUANTITY))]
        self.withdrawn = False
        self.tap: Tap | None = None

    def _copy_of(self, begun):
        self.folder = Path(tempfile.mkdtemp())
        return SmallShop(open_shop(Settings(data=_copied(begun, self.folder))), begun.now)

    def teardown(self):
        if hasattr(self, "shop"):
            self.shop.shop.database.close()
            shutil.rmtree(self.folder)

    # --- what may happen

    def _some(self, data, where=lambda piece: piece.alive):
        places = [place for place, piece in enumerate(self.pieces) if where(piece)]
        return data.draw(st.sampled_from(places)) if places else None

    def _attempt(self, work, *, allowed, who="Olga"):
        """An act that the model allows must go through; one that it forbids must be refused and change nothing."""
        if allowed:
            self.shop.act(work, who=who)
            return True
        with pytest.raises(Refused):
            self.shop.act(work, who=who)
        return False

    def _any_at(self, *stages):
        return any(piece.stage in stages for piece in self.pieces)

    @rule(data=st.data())
    @precondition(lambda self: self._any_at(*WAY[:6]))
    def sign_the_next_stage(self, data):
        self._sign_at(self._some(data, lambda piece: piece.stage in WAY[:6]), passed=True)

    @rule(data=st.data(), passed=st.booleans())
    @precondition(lambda self: self._any_at("inspect"))
    def inspect(self, data, passed):
        self._sign_at(self._some(data, lambda piece: piece.stage == "inspect"), passed=passed)

    @rule(data=st.data(), passed=st.booleans())
    @precondition(lambda self: any(piece.undecided for piece in self.pieces))
    def inspect_again_without_a_decision(self, data, passed):
        self._sign_at(self._some(data, lambda piece: piece.undecided and piece.alive), passed=passed)

    def _sign_at(self, place, *, passed):
        piece = self.pieces[place]
        blocked = piece.in_doubt or (piece.stage == "inspect" and piece.undecided)
        values = {"inspect-result": "passed" if passed else "failed"} if piece.stage == "inspect" else {}
        if piece.stage in ("adhesive", "laminate"):
            self.shop.check_machine()
            if not self._attempt(lambda session, by: self._set_up(session, by, place), allowed=not piece.in_doubt):
                return
            self._build_on(place)
        before = replace(piece)
        if not self._attempt(lambda session, by: self._sign(session, by, place, values), allowed=not blocked):
            return
        self._remember(place, before)
        if piece.stage == "inspect" and not passed:
            piece.undecided = True
        else:
            piece.undecided = False
            piece.stage = WAY[WAY.index(piece.stage) + 1]

    def _remember(self, place, before):
        with self.shop.shop.database.reading() as session:
            self.tap = Tap(place, before, audit.head(session).seq, self.shop.now)

    def _build_on(self, place):
        if self.tap is not None and self.tap.place == place:
            self.tap.built_on = True

    @rule(
        who=st.sampled_from(["Olga", "Olga", "Otto"]),
        seconds=st.sampled_from([0, 30, 60, 61, 3600]),
    )
    @precondition(lambda self: self.tap is not None)
    def take_the_newest_signature_back(self, who, seconds):
        tap = self.tap
        allowed = (
            who == "Olga"
            and seconds <= 60
            and not tap.built_on
            and tap.before.stage in ("print", "dry", "dwell", "trim", "inspect")
        )
        moment = tap.at + timedelta(seconds=seconds)

        def work(session, by):
            takingback.take_back(session, replace(by, now=moment), seq=tap.seq)

        if self._attempt(work, allowed=allowed, who=who):
            self.pieces[tap.place] = tap.before
            self.tap = None

    def _subject(self, session, place):
        piece = prints(session, self.code)[place]
        return piece if self.pieces[place].stage in ("trim", "inspect", "pack") else piece.sheet

    def _set_up(self, session, by, place):
        sheet = self._subject(session, place)
        steps = benchrecords.stage_definition(sheet).steps
        atrollers.start_rollers(
            session,
            by,
            sheets=[sheet],
            stage=sheet.stage,
            start=atrollers.RollerStart(
                machine=one(session, Machine, name="Rollers"),
                helper=None,
                alone_with="Jon calls at noon",
                ticks=frozenset(step.key for step in steps if step.record == "tick"),
            ),
        )

    def _sign(self, session, by, place, values):
        signature = bench.Signature(values=values, reason="as agreed")
        subject = self._subject(session, place)
        bench.sign_stage(session, by, subjects=[subject], stage=self.pieces[place].stage, signature=signature)

    @rule(
        data=st.data(),
        kind=st.sampled_from(["rework", "concession", *leaving.VERDICTS]),
        who=st.sampled_from(["Olga", "Otto"]),
    )
    def decide(self, data, kind, who):
        place = self._some(data, lambda piece: piece.alive or not any(piece.alive for piece in self.pieces))
        piece = self.pieces[place]
        allowed = piece.alive and (
            kind == "scrap"
            or (kind == "replace" and not self.withdrawn)
            or (kind == "rework" and piece.undecided)
            or (kind == "concession" and piece.undecided and who == "Olga")
        )

        def work(session, by):
            found = prints(session, self.code)[place]
            leaving.decide(session, by, piece=found, kind=kind, reason="looked at in daylight")

        if not self._attempt(work, allowed=allowed, who=who):
            return
        self._build_on(place)
        piece.undecided = False  # also of what is scrapped: nothing is left to decide
        if kind == "concession":
            piece.stage = "pack"  # a doubt about something else stays
        elif kind in ("scrap", "replace"):
            piece.stage = "scrapped"
        if kind == "replace":
            self.pieces.append(Piece(sample=piece.sample))

    @rule(data=st.data(), kind=st.sampled_from(["scrap", "replace", "concession"]))
    def spoil_a_sheet(self, data, kind):
        place = self._some(data, lambda piece: piece.alive or not any(piece.alive for piece in self.pieces))
        piece = self.pieces[place]
        allowed = piece.stage in WAY[:5] and (kind == "scrap" or (kind == "replace" and not self.withdrawn))

        def work(session, by):
            found = prints(session, self.code)[place].sheet
            leaving.decide_sheet(session, by, sheet=found, kind=kind, reason="folded at entry")

        if self._attempt(work, allowed=allowed):
            self._build_on(place)
            piece.stage = "scrapped"
            if kind == "replace":
                self.pieces.append(Piece(sample=piece.sample))

    @rule(data=st.data(), as_order=st.booleans(), how=st.sampled_from(["sent", "collected"]))
    def leave(self, data, as_order, how):
        place = self._some(data, lambda piece: piece.stage == "pack" or not self._any_at("pack"))
        piece = self.pieces[place]
        allowed = piece.stage == "pack" and not piece.in_doubt and not (piece.sample and as_order)

        def work(session, by):
            way = leaving.WayOut(how=how, on=by.day, reason="as agreed", as_order=as_order)
            leaving.leave(session, by, piece=prints(session, self.code)[place], way=way, values={})

        if self._attempt(work, allowed=allowed):
            piece.stage, piece.as_order = "gone", as_order
            self._build_on(place)

    @rule()
    @precondition(lambda self: len(self.pieces) < 6)
    def print_one_more(self):
        def work(session, by):
            run = session.execute(select(Run).where(Run.sample.is_(False))).scalar_one()
            sheets.start_sheets(session, by, run=run, count=1)

        if self._attempt(work, allowed=not self.withdrawn):
            self.pieces.append(Piece())

    @rule()
    @precondition(lambda self: len(self.pieces) > 3 and not self.withdrawn)  # late: it ends the printing
    def withdraw_the_pitch(self):
        def work(session, by):
            found = one(session, PitchOnRecord, origin="carried over")
            return [piece.serial for piece in pitch.withdraw(session, by, pitch=found, reason="wrong paper")]

        self.shop.act(work)
        self.withdrawn = True
        for place, piece in enumerate(self.pieces):
            piece.in_doubt = piece.in_doubt or piece.alive
            if piece.alive:
                self._build_on(place)

    @rule(data=st.data(), who=st.sampled_from(["Olga", "Otto"]))
    @precondition(lambda self: self.withdrawn)
    def put_back(self, data, who):
        place = self._some(data)
        if place is None:
            return

        def work(session, by):
            leaving.put_back(session, by, piece=prints(session, self.code)[place], reason="measured again")

        if self._attempt(work, allowed=self.pieces[place].in_doubt and who == "Olga", who=who):
            self.pieces[place].in_doubt = False
            self._build_on(place)

    # --- what always holds

    @invariant()
    def books_and_bench_agree(self):
        if not hasattr(self, "shop"):
            return
        with self.shop.shop.database.reading() as session:
            rows = prints(session, self.code)
            told = [(_where(row), row.sample, row.set_aside_reason is not None) for row in rows]
            assert told == [
                (piece.stage, piece.sample, piece.in_doubt or _kept_doubt(row, piece))
                for row, piece in zip(rows, self.pieces, strict=True)
            ]
            assert chain.first_bad(session) is None
            self._open_quantity(session)
            for row in rows:
                assert _stage_in_the_trail(session, row) in (None, row.stage)
                _nothing_left_that_must_not(session, row)

    def _open_quantity(self, session):
        def never_printed(piece):
            return self.withdrawn and piece.in_doubt and piece.stage == "print"

        under_way = sum(
            1 for piece in self.pieces if not piece.sample and piece.stage != "scrapped" and not never_printed(piece)
        )
        assert sheets.open_quantity(session, job(session, self.code)) == max(0, QUANTITY - under_way)


def _kept_doubt(row, piece):
    """What was scrapped while in doubt keeps its remark."""
    return piece.stage == "scrapped" and row.set_aside_reason is not None


def _where(row):
    return row.sheet.stage if row.stage == "on sheet" else row.stage


def _stage_in_the_trail(session, row):
    """Where the last act that moved the piece says that it is."""
    for entry in reversed(list(audit.entries_for(session, f"print:{row.code}"))):
        body = json.loads(entry.body)
        if body["action"] == "stage signed":
            told = body["new"]["next"]
            return {"parted": "trim"}.get(told, told) if told in ("parted", *WAY[5:], "gone") else "on sheet"
        if body["action"] == "signature taken back":
            told = body["new"]["stage"]
            return told if told in WAY[5:] else "on sheet"
        if body["action"] in ("verdict: scrap", "verdict: replace") and body["objects"][0] == f"print:{row.code}":
            return "scrapped"
        if body["action"] == "verdict: concession":
            return "pack"
    return None


def _nothing_left_that_must_not(session, row):
    gone = session.execute(select(Departure).where(Departure.print_id == row.id)).scalar_one_or_none()
    assert (gone is not None) == (row.stage == "gone")
    if gone is None:
        return
    results = [step.value for step in benchrecords.records_of(session, row) if step.step_key == "inspect-result"]
    conceded = any(verdict.kind == "concession" for verdict in leaving.verdicts_on(session, row))
    assert results[-1] == "passed" or conceded
    left = [json.loads(entry.body)["new"] for entry in audit.entries_for(session, f"print:{row.code}")]
    told = next(new for new in left if new.get("stage") == "pack")
    assert not (row.sample and told["as order"])


LifeCycle.TestCase.settings = settings(
    max_examples=15,
    stateful_step_count=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)


class TestLifeCycle(LifeCycle.TestCase):
    """Runs the machine above."""
