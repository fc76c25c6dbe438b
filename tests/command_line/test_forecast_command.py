"""``logbook pitch forecast`` on a shop with tests: the JSON as agreed, one sentence where something is missing."""

import json
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from click.testing import CliRunner

from logbook.actions import pitch
from logbook.command_line.forecast import forecast
from logbook.lengths import parse_length
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from support.small_shop import one, small_shop


@pytest.fixture(scope="module")
def data(tmp_path_factory):
    folder = tmp_path_factory.mktemp("forecast") / "data"
    made = small_shop(folder)

    def test(session, by):
        lot = one(session, Lot, label="L-1")
        lot.material.thickness, lot.material.refractive_index = parse_length("3mm"), Decimal("1.56")
        conditions = pitch.Conditions(
            lens_lot=lot,
            mode=one(session, Machine, name="Printer").modes[0],
            paper=one(session, Material, name="paper"),
            axis="across",
            distance=parse_length("0.6m"),
        )
        pitch.put_on_record(
            session, by, conditions=conditions, origin="test", lpi=Decimal("20.07"), u_lpi=Decimal("0.002"), note=""
        )
        return conditions.mode.name

    mode = made.act(test)
    made.shop.database.close()
    assert made.now > datetime(2026, 1, 1, tzinfo=UTC)
    return folder, mode


def _run(data, **changes):
    words = {"lens-lot": "L-1", "printer": "Printer", "mode": data[1], "paper": "paper", "distance": "600mm", **changes}
    asked = [part for name, value in words.items() for part in (f"--{name}", value)]
    return CliRunner().invoke(forecast, [*asked, "--data", str(data[0]), "--json"])


def test_the_json_has_pitch_uncertainty_tests_and_basis(data):
    answer = _run(data)
    assert answer.exit_code == 0, answer.output
    found = json.loads(answer.stdout)
    assert found["basis"] == "tests"
    assert len(found["tests"]) == 1
    assert abs(float(found["lpi"]) - 20.07) < 3 * found["u_lpi"] + 0.02
    assert found["tests"][0]["verdict"] == "cannot be checked"


def test_another_axis_is_prior_only(data):
    assert json.loads(_run(data, axis="down").stdout)["basis"] == "prior"


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"lens-lot": "none"}, "lens lot"), ({"mode": "none"}, "has no mode"), ({"distance": "600"}, "unit")],
)
def test_what_is_not_there_is_one_sentence(data, changes, words):
    answer = _run(data, **changes)
    assert answer.exit_code != 0
    assert words in str(answer.exception or "") + answer.output
