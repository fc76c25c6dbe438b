"""How well the tests guard the program: Q1 (branches that they enter), Q2 (alterations that they notice)."""

import json
import os
import subprocess
import sys
from pathlib import Path

from promised.ground import Ground, saboteur
from promised.rows import TABLE, Tally
from support.altered import places
from support.dying import nursery

ROOT = Path(__file__).resolve().parents[2]
NEEDS_FULL = "minutes of tests: tests/promises --full"
PYTEST = ("-q", "-x", "-p", "no:xdist", "-p", "no:cacheprovider")

# --- Q1


@TABLE.row(
    "Q1", "Branch coverage of engine and rules by their own tests, each uncovered branch explained", "≥ 95 %",
    timed=True, twin=saboteur("-k no_such_test"),
)  # fmt: skip
def branches(ground: Ground, tally: Tally, _count: int) -> None:
    """Everything of these two rooms, by the tests of these two rooms alone."""
    if not ground.full:
        tally.reason = NEEDS_FULL
        return
    with ground.folder() as folder:
        environment = {**os.environ, "COVERAGE_FILE": str(folder / "seen"), "PYTHONPATH": f"{ROOT}:{ROOT / 'tests'}"}
        tool = [sys.executable, "-W", "ignore", "-m", "coverage"]
        tests = ["-m", "pytest", *PYTEST, *ground.sabotage.split(), "tests/engine", "tests/rules"]
        measured = [*tool, "run", "--branch", "--source=logbook/engine,logbook/rules", *tests]
        subprocess.run(measured, check=False, capture_output=True, cwd=ROOT, env=environment)
        report = [*tool, "json", "-o", folder / "seen.json"]
        subprocess.run(report, check=False, capture_output=True, cwd=ROOT, env=environment)
        told = json.loads((folder / "seen.json").read_text())["totals"]
    tally.trials, covered = told["num_branches"], told["covered_branches"]
    share = 100 * covered / tally.trials
    tally.met = share >= 95
    both = told["percent_covered"]
    tally.figure = f"{covered} of {tally.trials} branches, {share:.1f} %; lines and branches {both:.1f} %"


# --- Q2

GUARDED = {
    "logbook.engine.phase": "tests/engine/test_phase.py",
    "logbook.engine.distance": "tests/engine/test_distance.py",
    "logbook.engine.fit": "tests/engine/test_fit.py tests/engine/test_fit_properties.py",
    "logbook.records.audit": "tests/records/test_trail.py tests/records/test_trail_answers.py",
}
"""The modules of pitch, phase and verify, and the tests of each."""
NOTICING = """
import io, signal, contextlib
import numpy, PIL.Image, pytest, scipy.optimize, skimage, sqlalchemy.orm, alembic.command, flask
from support.altered import install, places
def live(module, number, words):
    signal.alarm(120)
    if int(number) >= 0:
        install(places(module)[int(number)])
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        ended = pytest.main(words.split())
    os._exit(0 if ended in (0, 5) else 1)
"""


@TABLE.row(
    "Q2", "Alterations of the program's text in pitch, phase and verify are noticed by the tests of these modules",
    "≥ 85 %, those not noticed explained",
    quick=1, full=80, broken=4, timed=True, twin=saboteur("-k no_such_test"),
)  # fmt: skip
def alterations(ground: Ground, tally: Tally, count: int) -> None:
    """A sign, a number or a word of logic is altered at places drawn at random, one at a time."""
    if not ground.full:
        tally.reason = NEEDS_FULL
        return
    drawn = ground.dice.sample([place for module in GUARDED for place in places(module)], count)
    unnoticed = []
    with nursery(NOTICING) as tester:
        for module, tests in GUARDED.items():
            asked = " ".join([*PYTEST, *ground.sabotage.split(), *tests.split()])
            assert tester.one(module, -1, asked) == 0, f"{tests} fail without any alteration"
            for place in (place for place in drawn if place.module == module):
                noticed = tester.one(module, place.number, asked) != 0
                unnoticed += [] if noticed else [place.words]
    tally.trials, tally.failures = count, len(unnoticed)
    tally.met = len(unnoticed) <= 0.15 * count
    tally.figure = f"{100 - 100 * len(unnoticed) / count:.0f} % noticed; not: {', '.join(unnoticed) or 'none'}"
