"""Invented shops with three lens lots and two printers: what was tested, and the truth of a pairing that was not."""

import math

from logbook.engine import forecast
from logbook.engine.forecast import Observed, Pairing, Prior

READING_U = 1e-4
"""Standard uncertainty of ln p of one accepted test: 0.002 lines per inch at 20."""
_TESTS = 8


def pairing(lens="A", printer="P", mode="best", paper="matte", axis="across", nominal=20.0):
    """A pairing by the names of its parts."""
    return Pairing(lens, nominal, printer, mode, paper, axis)


def seen(name, of, value, u=READING_U, day="2026-03-02"):
    """A test's result, as ln p."""
    return Observed(name, of, value, u, day)


def any_pairing(rng):
    """One of the shop's 48 pairings."""
    return pairing(*(str(rng.choice(each)) for each in (
        ["A", "B", "C"], ["P", "Q"], ["best", "quick"], ["matte", "pearl"], ["across", "down"])))


def linked_shop(rng):
    """The true ln p of a pairing on a sixth day, up to eight tests of others on five days, and that pairing.

    Lots, printers, modes, papers, days and sheets scatter as the model says that they do: what is tried is whether the
    adjustment keeps its own promise.
    """
    prior = Prior()
    lens = {lot: math.log(20.0) + rng.normal(0, prior.lens) for lot in "ABC"}
    scale = {(printer, axis): rng.normal(0, prior.scale) for printer in "PQ" for axis in ("across", "down")}
    more = {(kind, axis): rng.normal(0, prior.mode_or_paper) for kind in ("best", "quick", "matte", "pearl")
            for axis in ("across", "down")}
    day = {(printer, axis, on): rng.normal(0, forecast.SAME_DAY) for printer in "PQ" for axis in ("across", "down")
           for on in range(6)}

    def true(one, on):
        return (lens[one.lens_lot] + scale[one.printer, one.axis] + more[one.mode, one.axis] + more[one.paper, one.axis]
                + day[one.printer, one.axis, on] + rng.normal(0, forecast.SHEET))

    wanted, tests = any_pairing(rng), []
    for number in range(_TESTS):
        one, on = any_pairing(rng), int(rng.integers(0, 5))
        if one != wanted:
            tests.append(seen(f"T{number}", one, true(one, on) + rng.normal(0, READING_U), day=str(on)))
    return true(wanted, 5), tests, wanted
