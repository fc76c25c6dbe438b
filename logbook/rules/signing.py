"""What may be written on a stage's page: values within their limits, ticks that must be there."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

from logbook.lengths import converted, measured_in
from logbook.manner import COMMA, POINT, Manner
from logbook.refusals import Refused
from logbook.rules.findings import Finding, ask, note, stop
from logbook.rules.steplist import Stage, Step


def checked_values(stage: Stage, values: Mapping[str, str], *, moment: str | None = None) -> list[tuple[str, str, str]]:
    """(step key, value, unit) of everything that was filled in, in step order.

    ``moment`` restricts it to the steps before or after the rollers. Raises
    Refused, naming the step's field, for what is missing or unreadable.
    """
    steps = [step for step in stage.steps[:-1] if step.record != "none" and moment in (None, step.moment)]
    _refuse_missing(step for step in steps if step.required and not values.get(step.key, "").strip())
    return [found for step in steps if (found := _value(step, values.get(step.key, "").strip(), values))]


def _refuse_missing(steps: Iterable[Step]) -> None:
    """Refused, with all of these at once, each at its own field; nothing where there are none."""
    lacking = [(step.key, f"{_LACKING.get(step.record, 'Not recorded yet')}: {step.text}") for step in steps]
    if lacking:
        (field, sentence), *others = lacking
        raise Refused(sentence, field=field, others=others)


_LACKING = {"tick": "Not ticked yet"}


def _value(step: Step, value: str, values: Mapping[str, str]) -> tuple[str, str, str] | None:
    if not value:
        return None
    if step.record == "number":
        read_number(step, value, values.get(MARK, POINT))
        return step.key, value.replace(COMMA, POINT), typed_unit(step, values)
    if step.record == "choice" and value not in step.choices:
        raise Refused(f"{step.text} Choose one of: {', '.join(step.choices)}.", field=step.key)
    return step.key, "ticked" if step.record == "tick" else value, ""


MARK = "decimal mark"
"""Among the values of a stage: the decimal mark of whoever typed them; a point, where it is not there."""


def read_number(step: Step, value: str, mark: str = POINT) -> Decimal:
    """A number as typed, decimal comma or point; Refused, naming the field, where it is none or may be a thousand."""
    try:
        number = Manner(mark=mark).read(value)
    except Refused as refusal:
        raise Refused(f"{step.text} {refusal.sentence}", field=step.key) from None
    if number is None:
        raise Refused(f"{step.text} {value!r} is not a number in {step.unit}; write digits alone.", field=step.key)
    return number


UNIT_FIELD = "-unit"
"""Behind a step's key: the field that says in which unit its number was asked for."""


def typed_unit(step: Step, values: Mapping[str, str]) -> str:
    """The unit of a number: the step's own, or its twin (inches for millimetres) where the page asked in that.

    Raises Refused, naming the field, for a unit of something else.
    """
    asked = values.get(f"{step.key}{UNIT_FIELD}", "") or step.unit
    if asked not in (step.unit, measured_in(step.unit, "mm"), measured_in(step.unit, "in")):
        raise Refused(f"{step.text} It is measured in {step.unit}, not in {asked}.", field=step.key)
    return asked


def plain_number(value: str, mark: str = POINT) -> Decimal | None:
    """A number as people write it, decimal comma or point; None for anything else, and for what may be a thousand."""
    try:
        return Manner(mark=mark).read(value)
    except Refused:
        return None


def outside_limits(stage: Stage, values: Mapping[str, str]) -> list[Finding]:
    """An ask for each number outside its limits; what is no number is refused where it is recorded.

    A note where the inspection fails by it: such a piece does not go on, so that nobody has to say why it may.
    """
    found: list[Finding] = []
    fails = values.get("inspect-result") == "failed"
    for step in stage.steps:
        number = plain_number(values.get(step.key, ""), values.get(MARK, POINT)) if step.record == "number" else None
        if number is None:
            continue
        aimed = in_unit(step, typed_unit(step, values))
        if not is_within(aimed, number):
            sentence = f"{step.text} Written: {number} {aimed.unit}, outside {limits(aimed)}."
            rule = f"limit: {step.key}"
            found.append(note(rule, sentence) if fails else ask(rule, sentence, about=step.text.rstrip(".")))
    return found


def unmeasured(stage: Stage, values: Mapping[str, str]) -> Iterator[Finding]:
    """A note for each number with limits that stays empty on a page that is sent: it is kept that nobody measured."""
    if not set(values) - {MARK}:
        return
    for step in stage.steps:
        if step.record == "number" and limits(step) and not values.get(step.key, "").strip():
            yield note(f"not measured: {step.key}", f"Not measured: {step.text}")


def is_within(step: Step, number: Decimal) -> bool:
    """Whether a number in the step's unit keeps its limits; a limit itself is within."""
    return (step.low is None or number >= step.low) and (step.high is None or number <= step.high)


def in_unit(step: Step, unit: str) -> Step:
    """The step with its limits in another unit, as they are shown there: who keeps what was shown is never outside."""
    if unit == step.unit or step.record != "number":
        return step
    low, high = (None if one is None else converted(one, step.unit, unit) for one in (step.low, step.high))
    return replace(step, unit=unit, low=low, high=high)


def limits(step: Step) -> str:
    """The limits of a number as people read them; empty where there are none."""
    if step.low is not None and step.high is not None:
        return f"{step.low} to {step.high} {step.unit}"
    if step.high is not None:
        return f"at most {step.high} {step.unit}"
    return f"at least {step.low} {step.unit}" if step.low is not None else ""


def check_ticks(stage: Stage, ticks: Iterable[str], *, safety_covered: bool) -> None:
    """Every required tick before the rollers is there; safety ticks may be covered by the session under way."""
    had = set(ticks)
    due = (step for step in stage.steps if step.record == "tick" and step.moment == "before" and step.required)
    _refuse_missing(step for step in due if step.key not in had and not (step.safety and safety_covered))


def inspected_by_maker(name: str) -> Finding:
    """A note: a second pair of eyes would be better."""
    return note("inspector", f"Inspected by the maker: {name} also made this piece.")


def set_aside(serial: str, reason: str) -> Finding:
    """A stop: what is in doubt waits until the owner puts it back or it is scrapped."""
    return stop("set aside", f"{serial} was set aside: {reason}; the owner puts it back, or it is scrapped.")


def lot_now(label: str, in_doubt: str | None, ends: date | None, *, today: date) -> Iterator[Finding]:
    """What speaks against using a lot of paper or adhesive: a stop while it is in doubt, an ask past its date."""
    if in_doubt:
        yield stop("lot", f"Lot {label} was set aside: {in_doubt}; choose another lot.")
    if ends is not None and ends < today:
        yield ask("expiry", f"Lot {label} was to be used before {ends:%Y-%m-%d}.", about=f"lot {label}")


def no_glue_named() -> Finding:
    """A note: a bond that fails a year later leads to no lot."""
    return note(
        "adhesive lot",
        "No lot of adhesive is named: later nobody can tell what bonded this sheet. Choose its lot.",
    )


def undecided(serial: str) -> Finding:
    """A stop: what failed its inspection is not simply inspected again."""
    return stop("inspection", f"{serial} failed its inspection; decide first what becomes of it.")


def is_undecided(results: Sequence[str], decided: int) -> bool:
    """Whether the newest of a print's inspections failed and nobody decided about it since.

    ``decided`` counts the verdicts that let it go on. Counted, not compared by time: a clock may be set back.
    """
    return bool(results) and results[-1] == "failed" and decided < results.count("failed")
