"""What a step and a stage must be like: each check refuses with one sentence for the bench."""

from typing import TYPE_CHECKING

from logbook.refusals import Refused

if TYPE_CHECKING:
    from logbook.rules.steplist import Stage, Step

MOMENTS = ("before", "rollers", "after")
MARKERS = ("rollers-start", "rollers-stopped")
MOST_WORDS = 12

# Checks of one step -------------------------------------------------------------


def _few_words(step: "Step") -> None:
    for wording in (step.text, step.text_alone, step.text_two):
        if len(wording.split()) > MOST_WORDS:
            raise Refused(f"Step {step.key}: {wording!r} has more than {MOST_WORDS} words.")


def _one_glove_state(step: "Step") -> None:
    for wording in (step.text, step.text_alone, step.text_two):
        words = wording.lower()
        if "glove" in words and " on" in words and " off" in words:
            raise Refused(f"Step {step.key}: gloves on and gloves off never stand in one step.")


def _number_has_unit(step: "Step") -> None:
    if step.record == "number" and not step.unit:
        raise Refused(f"Step {step.key}: a number needs its unit.")
    if step.record != "number" and (step.unit or step.low is not None or step.high is not None):
        raise Refused(f"Step {step.key}: unit and limits belong to a number only.")
    if step.low is not None and step.high is not None and step.low > step.high:
        raise Refused(f"Step {step.key}: the lower limit is above the upper one.")


def _choice_has_choices(step: "Step") -> None:
    if step.record == "choice" and len(set(step.choices)) < 2:
        raise Refused(f"Step {step.key}: a choice needs at least two different words to choose from.")
    if step.record != "choice" and step.choices:
        raise Refused(f"Step {step.key}: choices belong to a choice only.")


def _safety_is_a_tick_before(step: "Step") -> None:
    if step.safety and (step.record != "tick" or step.moment != "before" or not step.required):
        raise Refused(f"Step {step.key}: a safety step is a required tick before any roller moves.")


def _hold_is_recorded(step: "Step") -> None:
    if step.hold and (step.record not in ("tick", "sign") or not step.required):
        raise Refused(f"Step {step.key}: a hold point is a required tick or signature.")


def _nothing_to_write_at_moving_rollers(step: "Step") -> None:
    if step.moment == "rollers" and (step.record != "none" or step.required):
        raise Refused(f"Step {step.key}: nothing is recorded between rollers start and rollers stopped.")
    if step.marker and step.moment != "rollers":
        raise Refused(f"Step {step.key}: the roller marks belong to steps at the rollers.")


STEP_CHECKS = (_few_words, _one_glove_state, _number_has_unit, _choice_has_choices, _safety_is_a_tick_before,
                _hold_is_recorded, _nothing_to_write_at_moving_rollers)


# Checks of one stage ------------------------------------------------------------


def _ends_in_its_one_signature(stage: "Stage") -> None:
    records = [step.record for step in stage.steps]
    if records.count("sign") != 1 or records[-1] != "sign" or not stage.sign.required:
        raise Refused(f"Stage {stage.key}: it must end in exactly one required signature.")


def _rollers_in_one_run(stage: "Stage") -> None:
    moments = [MOMENTS.index(step.moment) for step in stage.steps]
    if moments != sorted(moments):
        raise Refused(f"Stage {stage.key}: steps run in the order before, rollers, after.")
    expected = ["rollers-start", "rollers-stopped"] if stage.has_rollers else []
    if [step.marker for step in stage.steps if step.marker] != expected:
        raise Refused(f"Stage {stage.key}: rollers start once and stop once.")
    moving = stage.moment("rollers")
    if moving and (moving[0].marker, moving[-1].marker) != MARKERS:
        raise Refused(f"Stage {stage.key}: the roller marks stand on the first and the last step at the rollers.")


def _rollers_need_setting_up(stage: "Stage") -> None:
    if not stage.has_rollers:
        return
    if stage.machine != "laminator":
        raise Refused(f"Stage {stage.key}: a stage with rollers names the laminator.")
    if not any(step.safety for step in stage.steps):
        raise Refused(f"Stage {stage.key}: a stage with rollers needs a safety tick before they start.")


def _gloves_off_at_rollers(stage: "Stage") -> None:
    if not stage.has_rollers:
        return
    changes = [step.gloves for step in stage.moment("before") if step.gloves]
    if not changes or changes[-1] != "off":
        raise Refused(f"Stage {stage.key}: gloves come off in a step of their own before the rollers start.")
    if any(step.gloves for step in stage.moment("rollers")):
        raise Refused(f"Stage {stage.key}: no glove change between rollers start and rollers stopped.")


def _cautions_before_what_they_guard(stage: "Stage") -> None:
    guarded = {card for step in stage.steps for card in step.guards}
    for card in sorted(guarded - set(stage.cards)):
        raise Refused(f"Stage {stage.key}: caution {card} stands at a step but not in the stage's cards.")
    for card in stage.cards:
        if card not in guarded:
            raise Refused(f"Stage {stage.key}: caution {card} guards no step.")
        first = next(step for step in stage.steps if step.key == stage.first_guarded(card))
        if first.moment == "rollers":
            raise Refused(f"Stage {stage.key}: caution {card} must be read before the rollers start.")


STAGE_CHECKS = (_ends_in_its_one_signature, _rollers_in_one_run, _rollers_need_setting_up, _gloves_off_at_rollers,
                 _cautions_before_what_they_guard)
