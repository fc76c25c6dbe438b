"""The demo's pitch tests: charts drawn, read by two people, put on record; one withdrawn later."""

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session
from workshop import LONG_AGO, OPERATOR, OWNER, Diary, conditions, pitch_for

from logbook.actions import chartscales, pitch, pitchcharts, pitchreadings
from logbook.lengths import Length
from logbook.records.audit import Actor
from logbook.records.pitch import PitchTest

WIDTH = Length(Decimal(190), "mm")


def counted(true_lpi: Decimal, lpi: Decimal, *, bias: Decimal = Decimal(0)) -> str:
    """What an invented reader writes down for a band: fringes to the quarter."""
    fringes = abs(lpi - true_lpi) * Decimal(190) / Decimal("25.4") + bias
    return str(max(Decimal(0), round(fringes * 4) / Decimal(4)))


def test(diary: Diary, start: datetime, lens: str, *, true_lpi: str, fine: bool) -> None:
    """A whole measurement: the coarse chart read by two, perhaps a fine one, the result put on record."""
    truth, kept = Decimal(true_lpi), {}

    def begin(session: Session, by: Actor) -> None:
        kept["code"] = pitchcharts.start_test(session, by, conditions=conditions(session, lens)).code

    diary.act(start, OPERATOR, begin)
    _chart(
        diary,
        start + timedelta(minutes=5),
        kept,
        lambda found: pitchcharts.ChartWish(pitchcharts.first_wish(found).centre_lpi, Decimal("0.1"), 11, WIDTH),
    )
    for minutes, who, bias in ((40, OPERATOR, "0.05"), (55, OWNER, "-0.05")):
        diary.act(start + timedelta(minutes=minutes), who, _read(kept, truth, Decimal(bias)))
    if fine:
        centre = round(truth * 50) / Decimal(50)
        _chart(
            diary,
            start + timedelta(minutes=70),
            kept,
            lambda _: pitchcharts.ChartWish(centre, Decimal("0.02"), 11, WIDTH),
        )
        diary.act(start + timedelta(minutes=90), OPERATOR, _read(kept, truth, Decimal(0)))
    diary.act(
        start + timedelta(minutes=100),
        OWNER,
        lambda session, by: pitchreadings.accept_result(session, by, test=_find(session, kept)),
    )


def _find(session: Session, kept: dict[str, str]) -> PitchTest:
    return session.execute(select(PitchTest).where(PitchTest.code == kept["code"])).scalar_one()


def _chart(
    diary: Diary, when: datetime, kept: dict[str, str], wish: Callable[[PitchTest], pitchcharts.ChartWish]
) -> None:
    def draw(at: datetime) -> None:
        with diary.shop.database.reading() as session:
            found = _find(session, kept)
            drawn = pitchcharts.draw_chart(diary.shop.store, found, wish(found))
        diary.act(
            at,
            OPERATOR,
            lambda session, by: pitchcharts.keep_chart(session, by, test=_find(session, kept), drawn=drawn),
        )

    diary.outside(when, draw)


def _read(kept: dict[str, str], truth: Decimal, bias: Decimal) -> Callable[[Session, Actor], None]:
    def read(session: Session, by: Actor) -> None:
        made = _find(session, kept).charts[-1]
        counts = {band: counted(truth, lpi, bias=bias) for band, lpi in pitchcharts.bands_of(made).items()}
        scales = {axis: str(length) for axis, length in chartscales.drawn(made).items()}  # as far as a rule can tell
        pitchreadings.record_readings(session, by, made=made, counts=counts, scales=scales)

    return read


def pitches(diary: Diary) -> None:
    """What the workshop knows of its lenses: two tests, one of them withdrawn, and two values from an old notebook."""
    start = diary.now - LONG_AGO + timedelta(days=1)
    test(diary, start, "R20-4471", true_lpi="20.063", fine=True)
    test(diary, start + timedelta(days=1), "R60-0877", true_lpi="59.87", fine=False)
    diary.act(
        start + timedelta(days=2),
        OWNER,
        lambda session, by: pitch.carry_over(
            session,
            by,
            conditions=conditions(session, "R60-0912"),
            lpi=Decimal("59.912"),
            note="blue notebook, page 31",
            known_since=by.now - timedelta(days=120),
        ),
    )
    diary.act(
        start + timedelta(days=2, minutes=5),
        OWNER,
        lambda session, by: pitch.carry_over(
            session,
            by,
            conditions=conditions(session, "R20-4471", axis="down"),
            lpi=Decimal("20.081"),
            note="blue notebook, page 33",
            known_since=by.now - timedelta(days=90),
        ),
    )


def withdraw(diary: Diary, when: datetime) -> None:
    """Somebody finds out that the test of one lot was read on the wrong paper."""
    diary.act(
        when,
        OWNER,
        lambda session, by: pitch.withdraw(
            session, by, pitch=pitch_for(session, "R60-0877"), reason="the chart was printed on the wrong paper"
        ),
    )
