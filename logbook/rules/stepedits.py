"""Editing a step list by rows: what the owner may change, and what stays on paper when a safety step goes.

Works on the already-loaded mapping of a list (see ``steplist.read_step_list``), which
checks the result. What a step is for (moment, hold point, gloves, cautions) is not
edited; a caution whose step goes is handed on to the step that follows.
"""

import copy
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from logbook.refusals import Refused
from logbook.rules.reasons import needed
from logbook.rules.steplist import RECORDS, StepList, read_step_list

READ_BY_THE_APP = ("inspect-result", "trim-width", "trim-height")
"""Steps whose records something else is computed from."""
CHOSEN_RECORDS = tuple(record for record in RECORDS if record != "sign")


@dataclass(frozen=True, slots=True)
class Row:
    """One row as it was filled in; numbers are text. ``key`` is empty for a new step, ``gone`` takes a step out."""

    key: str
    place: int
    text: str
    text_alone: str = ""
    text_two: str = ""
    record: str = "none"
    unit: str = ""
    low: str = ""
    high: str = ""
    choices: tuple[str, ...] = ()
    required: bool = False
    after: bool = False
    """A new step in a stage with rollers: after they have stopped."""
    gone: bool = False


@dataclass(frozen=True, slots=True)
class Signed:
    """Who changes the list, on which day, and why, where a safety step is touched."""

    by: str
    on: str
    reason: str = ""


@dataclass
class Edited:
    """The new list, checked, and what was changed in words."""

    mapping: dict[str, Any]
    steps: StepList
    changes: list[str] = field(default_factory=list)


def needs_reason(step: Mapping[str, Any]) -> bool:
    """Whether a step protects somebody: a safety tick, a hold point, a glove change, a caution, rollers that move."""
    return (
        bool(step.get("safety") or step.get("hold") or step.get("gloves") or step.get("guards"))
        or step.get("moment") == "rollers"
    )


def edited(mapping: Mapping[str, Any], stage_key: str, rows: Sequence[Row], signed: Signed) -> Edited:
    """The list with one stage's steps as the rows say.

    Raises Refused: nothing changed, a reason is missing, or the result is no list that may stand on a bench.
    """
    made: dict[str, Any] = copy.deepcopy(dict(mapping))
    stage = _stage(made, stage_key)
    old = {step["key"]: step for step in stage["step"]}
    _complete(old, rows)
    kept = [_step(row, old, made, stage_key) for row in sorted(rows, key=lambda row: row.place) if not row.gone]
    gone = [old[row.key] for row in rows if row.gone and row.key]
    for step in gone:
        _may_go(step)
        _hand_on(step, list(old.values()), kept)
    changes, touched = _told(old, kept, gone)
    if not changes:
        raise Refused("Nothing was changed.")
    if touched:
        needed(
            signed.reason,
            f"{touched[0]['text']!r} protects somebody: say why it is {touched[0]['what']}; it is printed.",
        )
    stage["step"] = kept
    made["changed_safety"] = [*made.get("changed_safety", ()), *(_kept_on_paper(one, stage, signed) for one in touched)]
    if not made["changed_safety"]:
        del made["changed_safety"]
    made["revision"] = _next(str(made["revision"]))
    return Edited(made, read_step_list(made), changes)


def _stage(made: dict[str, Any], key: str) -> dict[str, Any]:
    for stage in made["stage"]:
        if stage["key"] == key:
            found: dict[str, Any] = stage
            return found
    raise Refused(f"The step list has no stage {key!r}.", field="stage")


def _complete(old: Mapping[str, Any], rows: Iterable[Row]) -> None:
    named = [row.key for row in rows if row.key]
    if sorted(named) != sorted(old):
        raise Refused("This stage was changed by somebody meanwhile; open it again and change it there.")


def _step(row: Row, old: Mapping[str, Any], made: dict[str, Any], stage_key: str) -> dict[str, Any]:
    step = dict(old[row.key]) if row.key else {"key": _new_key(made, stage_key)}
    for name, value in (("text", row.text), ("text_alone", row.text_alone), ("text_two", row.text_two)):
        _put(step, name, " ".join(value.split()))
    if not row.key and row.after:
        step["moment"] = "after"
    if step.get("record") == "sign" or step.get("safety") or step.get("hold") or step.get("moment") == "rollers":
        return step
    _put(step, "record", row.record if row.record != "none" else "")
    _put(step, "unit", row.unit.strip() if row.record == "number" else "")
    for name, text in (("low", row.low), ("high", row.high)):
        _put(step, name, _number(text, row) if row.record == "number" else "")
    _put(step, "choices", [one.strip() for one in row.choices if one.strip()] if row.record == "choice" else "")
    _put(step, "required", row.required if row.record != "none" else "")
    return step


def _put(step: dict[str, Any], name: str, value: Any) -> None:
    if value is False or value in ("", []):  # a limit of 0 is a limit
        step.pop(name, None)
    else:
        step[name] = value


def _number(text: str, row: Row) -> float | int | str:
    text = text.strip().replace(",", ".").replace("−", "-")
    if not text:
        return ""
    try:
        value = float(text)
    except ValueError:
        raise Refused(f"{text!r} is no number; the limits of {row.text!r} are numbers.", field="limits") from None
    return int(value) if value.is_integer() else value


def _new_key(made: dict[str, Any], stage_key: str) -> str:
    """A key that no step ever had: a removed one may still stand in somebody's records."""
    count = int(made.get("own_steps", 0)) + 1
    made["own_steps"] = count
    return f"{stage_key}-own{count}"


def _may_go(step: Mapping[str, Any]) -> None:
    if step.get("record") == "sign":
        raise Refused(f"{step['text']!r} ends the stage: a stage without its signature cannot be told from one left.")
    if step["key"] in READ_BY_THE_APP:
        raise Refused(f"{step['text']!r} stays: other pages are computed from what it records.")


def _hand_on(step: Mapping[str, Any], order: list[dict[str, Any]], kept: list[dict[str, Any]]) -> None:
    """Its cautions stand before the next step of the same moment, or the last one before it."""
    standing = {one["key"]: one for one in kept}
    at, moment = [one["key"] for one in order].index(step["key"]), step.get("moment", "before")
    after = [one["key"] for one in order[at + 1 :] if one.get("moment", "before") == moment]
    before = [one["key"] for one in order[:at] if one.get("moment", "before") == moment]
    heir = next((standing[key] for key in [*after, *before[::-1]] if key in standing), None)
    if heir is not None and step.get("guards"):
        heir["guards"] = list(dict.fromkeys([*heir.get("guards", ()), *step["guards"]]))


def _told(
    old: Mapping[str, Any], kept: list[dict[str, Any]], gone: list[dict[str, Any]]
) -> tuple[list[str], list[dict[str, Any]]]:
    """(what was changed, in words; what of it touches a step that protects somebody)."""
    changes = [f"taken out: {step['text']}" for step in gone]
    touched = [{"what": "taken out", "text": step["text"]} for step in gone if needs_reason(step)]
    for step in kept:
        before = old.get(step["key"])
        if before is None:
            changes.append(f"new: {step['text']}")
        elif what := _what_changed(before, step):
            changes.append(f"{what}: {before['text']} → {_said(step)}")
            if needs_reason(before):
                touched.append({"what": what, "text": before["text"], "new": _said(step)})
    moved = _moved(list(old), [step["key"] for step in kept])
    changes += [f"moved: {old[key]['text']}" for key in moved]
    touched += [{"what": "moved", "text": old[key]["text"]} for key in moved if needs_reason(old[key])]
    return changes, touched


def _what_changed(before: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    if _words(before) != _words(now):
        return "said otherwise"
    return "recorded otherwise" if _without_guards(before) != _without_guards(now) else ""


def _said(step: Mapping[str, Any]) -> str:
    """All wordings of a step, and what it records."""
    words = " / ".join(word for word in _words(step) if word)
    return f"{words} [{step.get('record', 'no record')}{', required' if step.get('required') else ''}]"


def _moved(before: Sequence[str], now: Sequence[str]) -> list[str]:
    """Steps that stand after another one than before, apart from those that were taken out or are new."""
    stayed, still = [key for key in before if key in now], [key for key in now if key in before]
    if stayed == still:
        return []
    place = {key: number for number, key in enumerate(still)}
    return [
        key
        for number, key in enumerate(stayed)
        if any(place[key] < place[other] for other in stayed[:number])
        or any(place[key] > place[other] for other in stayed[number + 1 :])
    ]


def _words(step: Mapping[str, Any]) -> tuple[str, str, str]:
    return step["text"], step.get("text_alone", ""), step.get("text_two", "")


def _without_guards(step: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in step.items() if name != "guards"}


def _kept_on_paper(touched: Mapping[str, Any], stage: Mapping[str, Any], signed: Signed) -> dict[str, Any]:
    return {**touched, "stage": stage["key"], "by": signed.by, "on": signed.on, "reason": signed.reason.strip()}


def _next(revision: str) -> str:
    return str(int(revision) + 1) if revision.isdigit() else f"{revision}.1"
