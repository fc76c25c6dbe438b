"""Stages: where a sheet and a print stand, and the one function that moves them on."""

from logbook.refusals import Refused

SHEET_WAY = ("print", "dry", "adhesive", "laminate", "dwell", "parted")
PRINT_WAY = ("on sheet", "trim", "inspect", "pack", "gone")
MOUNT_ONLY_START = "adhesive"
ENDED = ("parted", "gone", "scrapped")
BONDED = ("dwell", "parted", "trim", "inspect", "pack", "gone")
"""Stages after bonding: there is no way back from them, only scrap, accept or replace."""
ROLLER_STAGES = ("adhesive", "laminate")
PLAIN_STAGES = ("print", "dry", "dwell", "trim", "inspect")
"""Stages whose page of paper holds values and one signature."""
PAPER_STAGES = (*PLAIN_STAGES, *ROLLER_STAGES, "pack")
"""Stages that may be done on paper and taken over afterwards."""
LEFT_BY_A_TAP = ("print", "dry", "dwell", "trim", "inspect")
"""Stages whose signature may be taken back within the minute: nothing was bonded, nothing left the house."""


def undoing(stage: str) -> str:
    """Whether a stage of the bench can be undone, in one sentence for its page."""
    if stage in ROLLER_STAGES:
        return "This cannot be undone: what is bonded can only be scrapped, accepted or replaced."
    if stage == "pack":
        return "This cannot be undone: what has left has left."
    words = "The signature can be taken back within a minute."
    return f"{words} The bond cannot: scrap, accept or replace." if stage in BONDED else words


def next_stage(stage: str) -> str:
    """The stage after this one, on the sheet's way or the print's.

    Raises Refused where nothing comes after it.
    """
    for way in (SHEET_WAY, PRINT_WAY):
        if stage in way[:-1]:
            return way[way.index(stage) + 1]
    raise Refused(f"Nothing comes after {stage!r}.")


def step_back(stage: str, signed: str) -> str:
    """Where something stands again when its newest signature, of the stage ``signed``, is taken back.

    A failed inspection did not move it on. Raises Refused for what stands elsewhere.
    """
    if signed not in LEFT_BY_A_TAP or stage not in (signed, next_stage(signed)):
        raise Refused(f"What stands at {stage!r} cannot go back to {signed!r}.")
    return signed


def stages_before(stage: str) -> tuple[str, ...]:
    """The bench stages that lie before this one, in order, over sheet and print.

    ``parted`` and ``on sheet`` are no bench stages and are left out.
    """
    bench = ("print", "dry", "adhesive", "laminate", "dwell", "trim", "inspect", "pack")
    if stage not in bench:
        raise Refused(f"{stage!r} is no stage of the bench.")
    return bench[: bench.index(stage)]


def expect(stage: str, wanted: str, *, who: str) -> None:
    """Refuse when something stands at another stage than the one that is to be signed."""
    if stage != wanted:
        raise Refused(f"{who} is at the stage {stage!r}, not {wanted!r}; open its page again to see what is next.")
