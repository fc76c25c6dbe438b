"""Every promise is kept, and every trial is red on its broken twin."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from promised.everything import rows
from promised.ground import Ground
from promised.guards import GUARDED, ROOT
from promised.printing import closing, line
from promised.rows import TABLE, Judged, Row, Table, Tally, judge
from promised.unnoticed import ALIKE, UNENTERED
from support.altered import places


@pytest.fixture(scope="module")
def ground() -> Iterator[Ground]:
    """One for all rows: its shops are made once."""
    made = Ground()
    yield made
    made.close()


@pytest.mark.filterwarnings("default")  # forks and servers of the trials: what they warn of is not what is asked here
@pytest.mark.parametrize("row", rows(), ids=lambda row: row.id)
def test_a_promise_is_kept_and_its_twin_is_red(ground: Ground, row: Row) -> None:
    judged = judge(row, ground)
    assert not judged.red, f"{line(judged)}\ntwin: {judged.twin}"


def test_every_promise_has_a_row() -> None:
    wanted = {f"{kind}{number}" for kind, last in (("R", 14), ("A", 12), ("S", 14), ("L", 6), ("Q", 2))
              for number in range(1, last + 1)}  # fmt: skip
    assert set(TABLE.rows) == wanted
    assert [name for name, row in TABLE.rows.items() if row.twin is None] == []


def _row(trial, twin) -> Row:
    table = Table()
    table.row("R1", "said", "goal", twin=twin)(trial)
    return table.rows["R1"]


@pytest.mark.parametrize(
    ("fails", "twin_fails", "verdict"),
    [(False, True, "kept"), (True, True, "BROKEN"), (False, False, "TWIN IS GREEN")],
)
def test_a_green_twin_is_as_red_as_a_broken_promise(ground: Ground, fails, twin_fails, verdict) -> None:
    state = {"fails": fails}

    def trial(_ground: Ground, tally: Tally, _count: int) -> None:
        tally.tried(not state["fails"], "as asked")

    def twin(found: Ground):
        state["fails"] = twin_fails
        return found.sabotaged("")

    judged = judge(_row(trial, twin), ground)
    assert (judged.verdict, judged.red) == (verdict, verdict != "kept")


@pytest.mark.parametrize(
    ("met", "twin_met", "verdict"),
    [(True, False, "goal met"), (False, False, "goal missed"), (False, True, "TWIN IS GREEN")],
)
def test_a_figure_is_never_red_unless_its_twin_is_as_good(met, twin_met, verdict) -> None:
    row = replace(_row(lambda *_: None, None), timed=True)
    judged = Judged(row, Tally(trials=9, met=met), Tally(trials=9, met=twin_met))
    assert (judged.verdict, judged.red) == (verdict, verdict == "TWIN IS GREEN")


def test_what_tried_nothing_is_never_green(ground: Ground) -> None:
    assert judge(_row(lambda *_: None, lambda found: found.sabotaged("")), ground).red


def test_a_line_says_what_no_failure_in_so_many_trials_shows() -> None:
    """Three divided by N, the usual bound at 95 % for no failure in N trials (common practice, no source)."""
    row = _row(lambda *_: None, None)
    assert "0.3 %" in line(Judged(row, Tally(trials=1000), Tally(1, 1)))
    assert closing([Judged(row, Tally(trials=1000), Tally(1, 1))] * 2) == "2 kept"


def test_every_explanation_is_of_a_line_that_is_there() -> None:
    engine = ROOT / "logbook" / "engine"
    lines = {path.name: path.read_text() for path in engine.glob("*.py")}
    assert [(name, line) for name, told in UNENTERED.items() for line in told if line not in lines[name]] == []
    there = {place.where for module in GUARDED for place in places(module)}
    assert set(ALIKE) - there == set()
