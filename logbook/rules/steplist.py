"""The step list: stages and steps of the bench as plain, checked data.

``read_step_list`` turns an already-loaded mapping (the shipped ``steps.toml`` or
the shop's own revision) into frozen dataclasses and refuses, in one sentence,
what must never stand on a bench: a record asked for while rollers move, gloves
on at the rollers, a caution that comes after the step it guards.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from logbook.refusals import Refused
from logbook.rules import reading
from logbook.rules.stepchecks import MARKERS, MOMENTS, STAGE_CHECKS, STEP_CHECKS

ON = ("job", "sheet", "piece")
MACHINES = ("laminator", "trimmer", "printer")
RECORDS = ("none", "tick", "number", "choice", "photo", "text", "sign")
HOLDS = tuple(f"H{number}" for number in range(1, 12))


@dataclass(frozen=True, slots=True)
class Step:
    """One action at the bench and the one thing recorded for it.

    ``text`` is the wording for any number of people; ``text_alone`` and
    ``text_two`` replace it where they are given. ``low`` and ``high`` are the
    limits of a number in ``unit``, either may be open; ``aim`` says which number
    is wanted on this sheet or piece, and is never written in a step list.
    ``moment`` places the
    step before, during or after the movement of rollers; ``gloves`` is the
    state from this step on; ``guards`` are the cautions that this step needs.
    """

    key: str
    text: str
    text_alone: str = ""
    text_two: str = ""
    record: str = "none"
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    choices: tuple[str, ...] = ()
    moment: str = "before"
    marker: str = ""
    hold: str = ""
    safety: bool = False
    gloves: str = ""
    guards: tuple[str, ...] = ()
    required: bool = False
    aim: str = ""

    def wording(self, people: int = 0) -> str:
        """The text for one or two people; 0 means that it is not known yet."""
        return {1: self.text_alone, 2: self.text_two}.get(people, "") or self.text


@dataclass(frozen=True, slots=True)
class Stage:
    """A part of the way from order to door, recorded on a job, a sheet or a piece.

    ``cards`` are the cautions shown in full, each before the first step that it
    guards. ``undo`` says whether the stage can be taken back; ``fails`` lists
    what trouble looks like and what it points to.
    """

    key: str
    code: str
    title: str
    on: str
    steps: tuple[Step, ...]
    machine: str = ""
    undo: bool = False
    cards: tuple[str, ...] = ()
    fails: tuple[str, ...] = ()

    @property
    def sign(self) -> Step:
        """The signature that ends the stage."""
        return self.steps[-1]

    @property
    def holds(self) -> tuple[str, ...]:
        """The hold points of this stage, in step order."""
        return tuple(step.hold for step in self.steps if step.hold)

    @property
    def has_rollers(self) -> bool:
        """Whether rollers move in this stage."""
        return any(step.moment == "rollers" for step in self.steps)

    def moment(self, name: str) -> tuple[Step, ...]:
        """The steps before, during or after the movement of the rollers."""
        return tuple(step for step in self.steps if step.moment == name)

    def first_guarded(self, card: str) -> str:
        """The key of the first step that a caution guards."""
        return next(step.key for step in self.steps if card in step.guards)

    def cards_before(self, key: str) -> tuple[str, ...]:
        """The cautions shown in full immediately before a step."""
        return tuple(card for card in self.cards if self.first_guarded(card) == key)


@dataclass(frozen=True, slots=True)
class Altered:
    """A step that protects somebody and that the owner took out or said otherwise: it prints with name and reason."""

    stage: str
    what: str
    text: str
    by: str
    on: str
    reason: str
    new: str = ""

    @property
    def sentence(self) -> str:
        """As paper and pages show it."""
        told = f"{self.text!r} → {self.new!r}" if self.new else repr(self.text)
        return f"Changed by the owner, {self.what}: {told} ({self.by}, {self.on}: {self.reason})"


@dataclass(frozen=True, slots=True)
class StepList:
    """One revision of all stages, in the order in which work goes through them.

    ``altered`` is what the owner changed of steps that protect somebody.
    """

    revision: str
    title: str
    stages: tuple[Stage, ...]
    altered: tuple[Altered, ...] = ()

    def stage(self, key: str) -> Stage:
        """The stage with this key; Refused where there is none."""
        for stage in self.stages:
            if stage.key == key:
                return stage
        raise Refused(f"The step list has no stage {key!r}.", field="stage")

    def next_stage(self, key: str) -> Stage | None:
        """The stage after this one, or None after the last."""
        following = self.stages.index(self.stage(key)) + 1
        return self.stages[following] if following < len(self.stages) else None

    def step(self, key: str) -> Step:
        """The step with this key, whichever stage holds it; Refused where there is none."""
        for stage in self.stages:
            for step in stage.steps:
                if step.key == key:
                    return step
        raise Refused(f"The step list has no step {key!r}.", field="step")


def read_step_list(mapping: Mapping) -> StepList:
    """Check an already-loaded step list and freeze it; Refused with one sentence otherwise."""
    where = "Step list"
    reading.no_stranger(mapping, ("revision", "title", "stage", "changed_safety", "own_steps"), where=where)
    stages = tuple(_stage(entry) for entry in mapping.get("stage", ()))
    if not stages:
        raise Refused(f"{where}: there is no stage.")
    _refuse_twins([stage.key for stage in stages], what="stage")
    _refuse_twins([step.key for stage in stages for step in stage.steps], what="step")
    return StepList(
        reading.text(mapping, "revision", where=where),
        reading.text(mapping, "title", where=where),
        stages,
        tuple(_altered(entry) for entry in mapping.get("changed_safety", ())),
    )


def _altered(entry: Mapping) -> Altered:
    where = "Changed safety step"
    reading.no_stranger(entry, Altered.__slots__, where=where)
    needed = ("stage", "what", "text", "by", "on", "reason")
    told = {name: reading.text(entry, name, where=where, required=name in needed) for name in Altered.__slots__}
    return Altered(**told)


def _refuse_twins(keys: list[str], *, what: str) -> None:
    for key in keys:
        if keys.count(key) > 1:
            raise Refused(f"Step list: the {what} key {key!r} stands there twice.")


def _stage(entry: Mapping) -> Stage:
    where = f"Stage {entry.get('key', '?')}"
    reading.no_stranger(entry, ("key", "code", "title", "on", "machine", "undo", "cards", "fails", "step"), where=where)
    if "on" not in entry:
        raise Refused(f"{where}: on is missing; use {', '.join(ON)}.")
    stage = Stage(
        key=reading.text(entry, "key", where=where),
        code=reading.text(entry, "code", where=where),
        title=reading.text(entry, "title", where=where),
        on=reading.one_of(entry, "on", ON, where=where),
        machine=reading.one_of(entry, "machine", MACHINES, where=where),
        undo=reading.flag(entry, "undo", where=where),
        cards=reading.texts(entry, "cards", where=where),
        fails=reading.texts(entry, "fails", where=where),
        steps=tuple(_step(step) for step in entry.get("step", ())),
    )
    for check in STAGE_CHECKS:
        check(stage)
    return stage


def _step(entry: Mapping) -> Step:
    where = f"Step {entry.get('key', '?')}"
    reading.no_stranger(entry, [name for name in Step.__slots__ if name != "aim"], where=where)
    step = Step(
        key=reading.text(entry, "key", where=where),
        text=reading.text(entry, "text", where=where),
        text_alone=reading.text(entry, "text_alone", where=where, required=False),
        text_two=reading.text(entry, "text_two", where=where, required=False),
        record=reading.one_of(entry, "record", RECORDS, where=where, default="none"),
        unit=reading.text(entry, "unit", where=where, required=False),
        low=reading.number(entry, "low", where=where),
        high=reading.number(entry, "high", where=where),
        choices=reading.texts(entry, "choices", where=where),
        moment=reading.one_of(entry, "moment", MOMENTS, where=where, default="before"),
        marker=reading.one_of(entry, "marker", MARKERS, where=where),
        hold=reading.one_of(entry, "hold", HOLDS, where=where),
        safety=reading.flag(entry, "safety", where=where),
        gloves=reading.one_of(entry, "gloves", ("on", "off"), where=where),
        guards=reading.texts(entry, "guards", where=where),
        required=reading.flag(entry, "required", where=where),
    )
    for check in STEP_CHECKS:
        check(step)
    return step
