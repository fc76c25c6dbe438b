"""The shop's own step list: the owner changes it stage by stage; each change is a new revision.

The list lives as ``steps.toml`` in the data folder beside the shop's own cards and wins
over the shipped one. A job keeps the revision that it started with.
"""

import json
import os
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import tomli_w
from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions.shop import kept_revision, standing_step_list
from logbook.records.audit import Act, Actor, record
from logbook.records.orders import StepListRevision
from logbook.refusals import Refused
from logbook.rules.stepedits import Row, Signed, edited
from logbook.rules.steplist import StepList, read_step_list


@dataclass(frozen=True, slots=True)
class Standing:
    """The list that new jobs start with, whether it is the shop's own, the revisions that jobs started with."""

    steps: StepList
    own: bool
    kept: list[StepListRevision]


def standing(session: Session, own: Path) -> Standing:
    """The step list as it stands."""
    kept = list(session.execute(select(StepListRevision).order_by(StepListRevision.id.desc())).scalars())
    return Standing(read_step_list(json.loads(standing_step_list(own))), (own / "steps.toml").is_file(), kept)


def change_stage(
    session: Session, by: Actor, own: Path, *, stage: str, rows: Sequence[Row], reason: str = ""
) -> list[str]:
    """Change one stage's steps; returns what was changed, in words. The owner alone may.

    Raises Refused where a rule of the bench is broken, see ``rules.stepedits`` and ``rules.stepchecks``.
    """
    if by.role != "owner":
        raise Refused("The step list is the owner's to change.")
    before = json.loads(standing_step_list(own))
    made = edited(before, stage, rows, Signed(by.name, f"{by.now.astimezone():%Y-%m-%d}", reason))
    text = tomli_w.dumps(made.mapping)
    kept = kept_revision(session, by, json.dumps(made.mapping, ensure_ascii=False, sort_keys=True))
    told = {"revision": made.steps.revision, "sha256": kept.sha256, "stage": stage, "changes": made.changes}
    record(
        session,
        by,
        Act(
            "step list changed",
            ["shop:steps"],
            old={"revision": str(before["revision"])},
            new=told,
            reason=reason.strip() or None,
        ),
    )
    # last, and whole: what stands on record is never older than the file
    _write(own / "steps.toml", text)
    return made.changes


def _write(path: Path, text: str) -> None:
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("x", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
