"""Numbers that depend on what is made: the finished size at trimming, the scale bar's length at printing.

A step list cannot know them; whoever shows or signs a stage puts them into its steps. Limits that a shop wrote
into its own step list stay as they are.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from logbook.rules.steplist import Stage, Step

SIZE_TOLERANCE_MM = Decimal("1.0")
"""How far a finished piece may be off: a shop default without a source."""
RULE_READING_MM = Decimal("0.5")
"""What can be told with a steel rule divided into half millimetres: common practice, no source."""
_HUNDREDTH_MM = 0.01


@dataclass(frozen=True, slots=True)
class Target:
    """The number that is wanted, in the step's own unit, how far it may be off, what says so; what it cannot tell."""

    value: Decimal
    tolerance: Decimal
    said_by: str
    beyond: str = ""


def finished(side_mm: Fraction) -> Target:
    """A side of the finished piece."""
    return Target(_hundredths(side_mm), SIZE_TOLERANCE_MM, "ordered")


def scale_bar(length_mm: int, *, quarter_strip_mm: float) -> Target:
    """The printed scale bar; ``quarter_strip_mm`` is how much longer the bar is when the print drifts a quarter strip.

    Less than that does not show on the print, and less than a rule can tell nobody can measure: the larger counts.
    A driver that fits the file to the page changes it by far more. Where the print suffers before the rule can tell,
    the target says so: only the lens laid on the dry print shows it then.
    """
    forgiven = Decimal(int(quarter_strip_mm * 10)) / 10
    if forgiven >= RULE_READING_MM:
        return Target(Decimal(length_mm), forgiven, "in the file")
    slight = f"{quarter_strip_mm:.2f}" if quarter_strip_mm >= _HUNDREDTH_MM else "less than 0.01"
    beyond = f"the flip suffers from {slight} mm on, which no rule tells: lay the lens on"
    return Target(Decimal(length_mm), RULE_READING_MM, "in the file", beyond)


def _hundredths(value: Fraction) -> Decimal:
    return (Decimal(round(value * 100)) / 100).normalize()


def aimed(stage: Stage, targets: Mapping[str, Target]) -> Stage:
    """The stage with the targets in the steps that they are for, by step key; a step with limits of its own stays."""
    return replace(stage, steps=tuple(_aimed(step, targets.get(step.key)) for step in stage.steps))


def _aimed(step: Step, target: Target | None) -> Step:
    if target is None or step.record != "number" or step.low is not None or step.high is not None:
        return step
    aim = f"{target.value:f} {step.unit} {target.said_by}, ± {target.tolerance} {step.unit}"
    aim += f" ({target.beyond})" if target.beyond else ""
    return replace(step, low=target.value - target.tolerance, high=target.value + target.tolerance, aim=aim)
