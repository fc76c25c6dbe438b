"""How well the tests guard the program: Q1 (branches that they enter), Q2 (alterations that they notice)."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from promised.ground import Ground, saboteur
from promised.rows import TABLE, Tally
from promised.unnoticed import ALIKE, UNENTERED
from support.altered import Place, places
from support.dying import nursery

ROOT = Path(__file__).resolve().parents[2]
NEEDS_FULL = "minutes of tests: tests/promises --full"
PYTEST = ("-q", "-x", "-p", "no:cacheprovider")

# --- Q1

COVERED = ("-p", "no:xdist", "-p", "promised.unforked")


@TABLE.row(
    "Q1", "Branch coverage of engine and rules by their own tests, each uncovered branch explained", "≥ 95 %",
    timed=True, twin=saboteur("-k no_such_test"),
)  # fmt: skip
def branches(ground: Ground, tally: Tally, _count: int) -> None:
    """Everything of these two rooms, by the tests of these two rooms alone and the commands that they start."""
    if not ground.full:
        tally.reason = NEEDS_FULL
        return
    told = _measured(ground)
    totals, unexplained = told["totals"], _unexplained(told["files"])
    tally.trials, covered = totals["num_branches"], totals["covered_branches"]
    share = 100 * covered / tally.trials
    tally.met = share >= 95 and not unexplained
    both = totals["percent_covered"]
    tally.figure = (
        f"{covered} of {tally.trials} branches, {share:.1f} %; lines and branches {both:.1f} %; "
        f"not explained: {', '.join(unexplained[:9]) or 'none'}"
    )


def _measured(ground: Ground) -> dict[str, Any]:
    with ground.folder() as folder:
        environment = {**os.environ, "COVERAGE_FILE": str(folder / "seen"), "PYTHONPATH": f"{ROOT}:{ROOT / 'tests'}"}
        tool = [sys.executable, "-W", "ignore", "-m", "coverage"]
        tests = ["-m", "pytest", *PYTEST, *COVERED, *ground.sabotage.split(), "tests/engine", "tests/rules"]
        measured = ["run", "--branch", "--source=logbook/engine,logbook/rules", *tests]
        for words in (measured, ["combine", "-q"], ["json", "-o", str(folder / "seen.json")]):
            subprocess.run([*tool, *words], check=False, capture_output=True, cwd=ROOT, env=environment)
        told: dict[str, Any] = json.loads((folder / "seen.json").read_text())
    return told


def _unexplained(files: dict[str, Any]) -> list[str]:
    """Branches that no test enters and no word explains, by the line that branches."""
    found = []
    for path, told in sorted(files.items()):
        lines = (ROOT / path).read_text().splitlines()
        for start, _ in told["missing_branches"]:
            if lines[start - 1].strip() not in UNENTERED.get(Path(path).name, {}):
                found.append(f"{Path(path).name}:{start}")
    return list(dict.fromkeys(found))


# --- Q2

GUARDED = {
    "logbook.engine.phase": "tests/engine/test_phase.py",
    "logbook.engine.distance": "tests/engine/test_distance.py",
    "logbook.engine.readings": "tests/engine/test_readings.py",
    "logbook.engine.fit": " ".join((
        "--deselect=tests/engine/test_fit.py::test_the_stated_uncertainty_covers_what_it_should",  # 600 and 300 fits
        "--deselect=tests/engine/test_fit.py::test_a_coarse_chart_reaches_its_goal_of_seven_thousandths",
        "tests/engine/test_fit.py tests/engine/test_fit_properties.py",
    )),
    "logbook.records.chain": "tests/records/test_trail.py",
}
"""The modules of pitch, phase and verify, and the tests of each."""
ALTERED = ("-p", "promised.unshrunk")
QUICK = ("logbook.engine.readings",)
ALL = 1000
"""As many trials as this, or more, are all alterations that there are."""
NOTICING = """
import io, os, signal, contextlib
os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # half of the time of most trials
import numpy, PIL.Image, pytest, scipy.optimize, sqlalchemy.orm, alembic.command, hypothesis.strategies
import support.sizes
from support.altered import install, places
support.sizes.describe_sizes = lambda _root: ""
def live(module, number, words):
    signal.setitimer(signal.ITIMER_PROF, 15)  # of processor: what goes round for ever is noticed
    if int(number) >= 0:
        install(places(module)[int(number)])
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        ended = pytest.main(words.split())
    os._exit(0 if ended in (0, 5) else 1)
"""


@TABLE.row(
    "Q2", "Alterations of the program's text in pitch, phase and verify are noticed by the tests of these modules",
    "≥ 85 %, those not noticed explained",
    quick=2, full=ALL, broken=2, timed=True, twin=saboteur("-k no_such_test"),
)  # fmt: skip
def alterations(ground: Ground, tally: Tally, count: int) -> None:
    """A sign, number, condition or result is altered, one at a time: all of them, or as many as asked for at random."""
    modules = GUARDED if ground.full else QUICK
    every = [place for module in modules for place in places(module)]
    drawn = every if count >= ALL else ground.dice.sample(every, count)
    unnoticed = _unnoticed(ground, drawn)
    alike = [place for place in unnoticed if place.where in ALIKE]
    tally.trials, tally.failures = len(drawn), len(unnoticed)
    tally.met = len(unnoticed) <= 0.15 * len(drawn)
    unexplained = ", ".join(place.words for place in unnoticed if place not in alike)
    tally.figure = (
        f"{len(drawn) - len(unnoticed)} of {len(drawn)} noticed, {100 - 100 * len(unnoticed) / len(drawn):.0f} %; "
        f"{len(alike)} of the others change nothing; neither: {unexplained or 'none'}"
    )


def _unnoticed(ground: Ground, drawn: list[Place]) -> list[Place]:
    found = []
    with nursery(NOTICING) as tester:
        for module in dict.fromkeys(place.module for place in drawn):
            tests = GUARDED[module]
            asked = " ".join([*PYTEST, *ALTERED, *ground.sabotage.split(), *tests.split()])
            assert tester.one(module, -1, asked) == 0, f"{tests} fail without any alteration"
            mine = [place for place in drawn if place.module == module]
            found += [place for place in mine if tester.one(module, place.number, asked) == 0]
    return found
