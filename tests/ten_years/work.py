"""What is done once through the actions: a season's lots with their pitch test, and orders of every kind."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Any

from sqlalchemy import select

from logbook.actions import (
    atrollers,
    bench,
    benchrecords,
    jobs,
    leaving,
    materials,
    orders,
    pitch,
    pitchcharts,
    pitchchoices,
    pitchreadings,
    proofs,
)
from logbook.lengths import parse_length
from logbook.records.audit import Actor
from logbook.records.floor import Print
from logbook.records.machines import Machine
from logbook.records.materials import Material
from logbook.records.orders import Job
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchTest
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import SmallShop, job, one

SEASON_SHEETS = 4000
TRUE_LPI, WIDTH_IN = Decimal("20.123"), 4
PRICE = Decimal("84.00")


DELIVERED = (("20 LPI lens", "LENS-0", "11.40"), ("paper", "PAPER-0", "0.85"), ("film", "FILM-0", "2.10"))


def season(shop: SmallShop) -> None:
    """A delivery of lens, paper and film, and a pitch measured on it by two readers, put on record."""
    for name, label, price in DELIVERED:
        shop.act(
            lambda session, by, name=name, label=label, price=price: materials.add_lot(
                session, by, material=one(session, Material, name=name), label=label, count=SEASON_SHEETS,
                price=Decimal(price), place="shelf 3",
            )
        )  # fmt: skip
    test = shop.act(lambda session, by: pitchcharts.start_test(session, by, conditions=_conditions(session)).id)
    wish = pitchcharts.ChartWish(centre_lpi=Decimal(20), step_lpi=Decimal("0.1"), bands=11, width=parse_length("4in"))
    drawn = shop.read(lambda session: pitchcharts.draw_chart(shop.shop.store, session.get_one(PitchTest, test), wish))
    chart = shop.act(
        lambda session, by: pitchcharts.keep_chart(session, by, test=session.get_one(PitchTest, test), drawn=drawn).id
    )
    for who in ("Olga", "Otto"):
        shop.act(partial(_read, chart), who=who)
    shop.act(lambda session, by: pitchreadings.accept_result(session, by, test=session.get_one(PitchTest, test)))


def _conditions(session: Any) -> pitch.Conditions:
    known = pitch.conditions_of(one(session, PitchOnRecord, origin="carried over"))
    return replace(known, lens_lot=_lot(session, "LENS-0"), paper_lot=_lot(session, "PAPER-0"))


def _lot(session: Any, label: str) -> materials.Lot:
    return one(session, materials.Lot, label=label)


def _read(chart: int, session: Any, by: Actor) -> None:
    made = session.get_one(PitchChart, chart)
    seen = {band: abs(lpi - TRUE_LPI) * WIDTH_IN for band, lpi in pitchcharts.bands_of(made).items()}
    counts = {band: str(round(count * 4) / Decimal(4)) for band, count in seen.items()}
    pitchreadings.record_readings(session, by, made=made, counts=counts)


@dataclass(frozen=True)
class Order:
    """One kind of order: how many jobs of how many pieces, how far it goes, and what befalls its first piece."""

    jobs: int = 1
    pieces: int = 1
    customer: str = "Quillon & Daughters"
    until: str = "gone"
    fails: str = ""
    """The verdict on the first piece, which fails its inspection; empty when all pass."""


WAY = ("ordered", "proof", "print", "dry", "adhesive", "laminate", "dwell", "trim", "inspect", "pack", "gone")


def do(shop: SmallShop, order: Order) -> None:
    """Everything of an order up to where it ends, through the actions."""
    codes = _place(shop, order)
    if order.until == "ordered":
        return
    for code in codes:
        shop.add_pictures(code, PHOTOGRAPHS)
        shop.act(partial(_choose_materials, code))
        if order.customer and order.until == "proof":
            _make_proof(shop, code)
        elif order.customer:
            shop.approve(code)
    if order.until == "proof":
        return
    for code in codes:
        shop.act(partial(_choose_pitch, code))
        shop.run(code)
    _at_the_bench(shop, order, codes)


def _place(shop: SmallShop, order: Order) -> list[str]:
    safety = shop.shop.settings.own_safety_path
    wish = orders.JobWish(
        width=parse_length("70mm"), height=parse_length("80mm"), flip="left-right", quantity=order.pieces,
        artwork="harbour, three boats", price=PRICE,
    )  # fmt: skip

    def first(session: Any, by: Actor) -> Job:
        due = by.day + timedelta(days=10)
        return orders.place_order(session, by, safety, customer_name=order.customer, wish=wish, due_on=due)

    placed = shop.act(first)

    def further(session: Any, by: Actor) -> str:
        return orders.add_job(session, by, safety, order=job(session, placed.code).order, wish=wish).code

    return [placed.code, *(shop.act(further) for _ in range(order.jobs - 1))]


def _choose_materials(code: str, session: Any, by: Actor) -> None:
    choice = jobs.MaterialChoice(
        lens_lot=_lot(session, "LENS-0"), paper_lot=_lot(session, "PAPER-0"), adhesive_lot=_lot(session, "FILM-0"),
        mode=one(session, Machine, name="Printer").modes[0], paper=one(session, Material, name="paper"),
    )  # fmt: skip
    jobs.choose_materials(session, by, job=job(session, code), choice=choice)


def _make_proof(shop: SmallShop, code: str) -> None:
    draft = shop.read(lambda session: proofs.drawing(shop.shop.store, job(session, code))())
    shop.act(lambda session, by: proofs.keep_proof(session, by, job=job(session, code), draft=draft))


def _choose_pitch(code: str, session: Any, by: Actor) -> None:
    measured = one(session, PitchOnRecord, origin="test")
    pitchchoices.choose(session, by, job=job(session, code), pitch=measured, reason="")


def _at_the_bench(shop: SmallShop, order: Order, codes: list[str]) -> None:
    """Stage by stage, all the order's sheets at once, each wait waited, until it stands where it is to stay."""
    steps: dict[str, Callable[[], None]] = {
        "print": partial(_sign, shop, codes, "print"),
        "dry": partial(_sign, shop, codes, "dry"),
        "adhesive": partial(_roll, shop, codes, "adhesive"),
        "laminate": partial(_roll, shop, codes, "laminate"),
        "dwell": partial(_sign, shop, codes, "dwell"),
        "trim": partial(_sign, shop, codes, "trim"),
        "inspect": partial(_inspect, shop, order, codes),
        "pack": partial(_leave, shop, codes),
    }
    waits = {"dry": 25, "dwell": 25, "pack": 80}
    for stage, step in steps.items():
        if stage == order.until:
            return
        shop.wait(hours=waits.get(stage, 0))
        step()


def _standing(session: Any, codes: Sequence[str], stage: str) -> list[Any]:
    pieces = session.execute(
        select(Print).join(Job, Print.job_id == Job.id).where(Job.code.in_(codes)).order_by(Print.id)
    ).scalars()
    pieces = [piece for piece in pieces if piece.stage != "scrapped"]
    sheets = [sheet for sheet in dict.fromkeys(piece.sheet for piece in pieces) if sheet.stage == stage]
    return sheets or [piece for piece in pieces if piece.stage == stage]


def _sign(shop: SmallShop, codes: list[str], stage: str, **values: str) -> None:
    def work(session: Any, by: Actor) -> None:
        subjects = _standing(session, codes, stage)
        signature = bench.Signature(values=values)
        bench.sign_stage(session, by, subjects=subjects, stage=stage, signature=signature)

    shop.act(work, who="Otto" if stage == "inspect" else "Olga")


def _roll(shop: SmallShop, codes: list[str], stage: str) -> None:
    shop.check_machine()

    def start(session: Any, by: Actor) -> None:
        waiting = _standing(session, codes, stage)
        ticks = frozenset(step.key for step in benchrecords.stage_definition(waiting[0]).steps if step.record == "tick")
        machine = one(session, Machine, name="Rollers")
        begun = atrollers.RollerStart(machine=machine, helper=None, alone_with="Jon calls at noon", ticks=ticks)
        atrollers.start_rollers(session, by, sheets=waiting, stage=stage, start=begun)

    shop.act(start)
    _sign(shop, codes, stage)


def _inspect(shop: SmallShop, order: Order, codes: list[str]) -> None:
    """Everything passes, but the first piece where it is to fail: replaced, conceded, or left undecided."""
    if order.fails:
        first = shop.read(lambda session: _standing(session, codes, "inspect")[0].id)
        failed = bench.Signature(values={"inspect-result": "failed"})
        shop.act(
            lambda session, by: bench.sign_stage(
                session, by, subjects=[session.get_one(Print, first)], stage="inspect", signature=failed
            ),
            who="Otto",
        )
        if order.fails == "undecided":
            return
        shop.act(
            lambda session, by: leaving.decide(
                session, by, piece=session.get_one(Print, first), kind=order.fails, reason="a crease at the edge"
            )
        )
    if order.fails == "replace":
        _at_the_bench(shop, replace(order, fails="", until="inspect"), codes)
    if order.fails != "concession":
        _sign(shop, codes, "inspect", **{"inspect-result": "passed"})


def _leave(shop: SmallShop, codes: list[str]) -> None:
    packed = shop.read(lambda session: [piece.id for piece in _standing(session, codes, "pack")])
    for number in packed:
        shop.act(partial(_go, number))


def _go(number: int, session: Any, by: Actor) -> None:
    way = leaving.WayOut(how="collected", on=by.day)
    leaving.leave(session, by, piece=session.get_one(Print, number), way=way, values={})
