"""A promise as a row of the table: the trial that tries it, and the broken twin that must turn it red."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field

from promised.ground import Ground


@dataclass
class Tally:
    """Trials and failures of one row; ``figure`` is what was measured beside them."""

    trials: int = 0
    failures: int = 0
    figure: str = ""
    first: str = ""
    reason: str = ""
    """Why nothing was tried; such a row is not measured, whatever else stands here."""
    met: bool = False
    """Of a row of figures: whether they reach the goal."""

    def tried(self, good: object, words: object = "") -> None:
        """One more trial; ``words`` say what went wrong, kept for the first that failed."""
        self.trials += 1
        if not good:
            self.failures += 1
            self.first = self.first or str(words)[:200]


Trial = Callable[[Ground, Tally, int], None]
Twin = Callable[[Ground], AbstractContextManager[None]]


@dataclass(frozen=True)
class Row:
    """One promise. ``quick`` and ``full`` are how often its trial is asked to try; ``broken`` for its twin."""

    id: str
    promise: str
    goal: str
    trial: Trial
    quick: int
    full: int
    broken: int
    twin: Twin | None
    timed: bool = False


@dataclass
class Table:
    """Every row, in the order in which they were written down."""

    rows: dict[str, Row] = field(default_factory=dict)

    def row(
        self, name: str, promise: str, goal: str, *, quick: int = 1, full: int | None = None, broken: int | None = None,
        twin: Twin | None = None, timed: bool = False,
    ) -> Callable[[Trial], Trial]:  # fmt: skip
        """Put a trial on the table."""

        def keep(trial: Trial) -> Trial:
            assert name not in self.rows, name
            counts = (quick, full or quick, broken or quick)
            self.rows[name] = Row(name, promise, goal, trial, *counts, twin, timed)
            return trial

        return keep


TABLE = Table()


@dataclass(frozen=True)
class Judged:
    """A row that was tried."""

    row: Row
    told: Tally
    twin: Tally | None

    @property
    def verdict(self) -> str:
        """Kept or broken; of figures whether they reach their goal; not measured; or a twin that stays green."""
        if self.told.reason:
            return "not measured"
        green = self.twin is None or (self.twin.met if self.row.timed else not self.twin.failures)
        if self.row.timed:
            return "TWIN IS GREEN" if green else "goal met" if self.told.met else "goal missed"
        if self.told.failures or not self.told.trials:
            return "BROKEN"
        return "TWIN IS GREEN" if green else "kept"

    @property
    def red(self) -> bool:
        """Whether this turns the whole table red; a figure never does, it is of its machine."""
        return self.verdict in ("BROKEN", "TWIN IS GREEN")


def judge(row: Row, ground: Ground) -> Judged:
    """Try a row, then its twin."""
    told, twin = Tally(), None
    row.trial(ground, told, row.quick if not ground.full else max(row.quick, round(row.full * ground.part)))
    if row.twin is not None and not told.reason:
        twin = Tally()
        with row.twin(ground):
            row.trial(ground, twin, row.broken)
    return Judged(row, told, twin)
