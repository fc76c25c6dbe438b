"""Whether a job's pictures are corrected for a measured leak: what each choice leaves and costs, and the choice."""

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import ghosting
from logbook.actions.finding import ref
from logbook.actions.ghosting import Looked
from logbook.actions.jobs import materials_of
from logbook.actions.pictures import current
from logbook.engine import ghosting as model
from logbook.engine.leak import measured_matrix
from logbook.engine.leakcorrection import Correction, exact, light_of, of_told, reachable
from logbook.records.audit import Act, Actor, canonical, record
from logbook.records.database import once
from logbook.records.files import FileStore
from logbook.records.leaks import JobCorrection
from logbook.records.orders import Job
from logbook.refusals import Refused
from logbook.rules.findings import Finding
from logbook.rules.leakcorrection import still_serves

NONE, WHOLE, LOWERED = "none", "whole", "lowered"
_HARDLY = 0.995
"""From so much kept contrast on nobody tells it from the whole one."""
_SAME = 0.0001


@dataclass(frozen=True)
class Choice:
    """One way to print: ``number`` the ghosting that is left (ΔL*) against what is meant at the contrast that is kept,
    ``at_most`` the same if the reading is off by its bounds; ``black`` the L* of what is meant black, ``seen`` what an
    eye sees of the picture that suffers most, levels."""

    key: str
    correction: Correction | None
    number: float
    at_most: float
    black: float
    seen: np.ndarray

    @property
    def contrast_percent(self) -> float:
        """The contrast that is kept."""
        return 100 * float(self.correction.kept) if self.correction else 100.0


@dataclass(frozen=True)
class Offered:
    """What can be chosen between; none at all, and ``why_not``, where the leak cannot be corrected."""

    choices: tuple[Choice, ...] = ()
    why_not: str = ""

    def of(self, key: str) -> Choice:
        """The choice of this name; Refused where it is not offered."""
        found = next((one for one in self.choices if one.key == key), None)
        if found is None:
            raise Refused("This cannot be chosen any more; look at the numbers again.", field="which")
        return found


@lru_cache(maxsize=4)
def offered(looked: Looked) -> Offered | None:
    """The choices for pictures whose leak was measured, counted on small views of them; None where nobody measured."""
    if looked.tone is None:
        return None
    light = _light(looked)
    try:
        whole = Correction(_undone(looked.mixing, len(looked.files)), looked.tone)
    except Refused as refusal:
        return Offered(why_not=refusal.sentence)
    lowered = reachable(whole, light.reshape(len(light), -1))
    wanted = [(NONE, None), (WHOLE, whole), *([(LOWERED, lowered)] if float(lowered.kept) < _HARDLY else [])]
    worst = ghosting.ghosts_of(looked).worst
    return Offered(tuple(_choice(key, one, looked, light, worst) for key, one in wanted))


def _light(looked: Looked) -> np.ndarray:
    assert looked.tone is not None
    return np.stack([light_of(looked.tone, picture) for picture in looked.pictures()])


def _undone(mixing: model.Mixing, pictures: int) -> Any:
    return exact(measured_matrix(mixing, pictures=pictures))


def _choice(key: str, correction: Correction | None, looked: Looked, light: np.ndarray, worst: int) -> Choice:
    printed, wanted = _printed(correction, light)
    seen = _seen(printed, looked.mixing)
    number = _number(seen, wanted)
    at_most = max(number, *(_number(_seen(printed, mixing), wanted) for mixing in looked.nearby))
    black = float(model.lightness(np.array(float(correction.lowest)))) if correction else 0.0
    return Choice(key, correction, number, at_most, black, model.coded(seen[worst]))


def _printed(correction: Correction | None, light: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The light printed of each picture, and the light that shall be seen."""
    if correction is None:
        return light, light
    wanted = correction.wanted(light.reshape(len(light), -1))
    return correction.printed(wanted).reshape(light.shape), wanted.reshape(light.shape)


def _seen(printed: np.ndarray, mixing: model.Mixing) -> np.ndarray:
    """The light seen of each picture, the lens lying as it usually ends."""
    return np.tensordot(model.crosstalk(mixing, pictures=len(printed)), printed, axes=(1, 0))


def _number(seen: np.ndarray, wanted: np.ndarray) -> float:
    """As ``engine.ghosting.ghosts`` counts: the change that the most changed twentieth of the worst picture exceeds."""
    return max(float(np.percentile(np.abs(change), 95)) for change in model.changes(seen, wanted))


@lru_cache(maxsize=32)
def number_left(looked: Looked, told: str) -> float | None:
    """The ghosting that the correction ``told`` (JSON) leaves of these pictures; None where it is not for them."""
    correction = of_told(json.loads(told))
    if looked.tone is None or len(correction.matrix) != len(looked.files):
        return None
    printed, wanted = _printed(correction, _light(looked))
    return _number(_seen(printed, looked.mixing), wanted)


def seen_through(session: Session, store: FileStore, job: Job) -> tuple[float, str, str] | None:
    """The ghosting of a job's pictures as they will be printed, what it means, and one line on its correction (empty:
    none); None while it cannot be known."""
    looked, chosen = ghosting.looked_at(session, store, job), in_force(session, job)
    if looked is None:
        return None
    left = number_left(looked, chosen.correction) if chosen is not None else None
    number = ghosting.number_of(looked) if left is None else left
    words = correction_of(chosen).in_words() if chosen is not None and left is not None else ""
    return number, model.in_words(number), words


def in_force(session: Session, job: Job) -> JobCorrection | None:
    """The job's newest choice; None where nobody chose, or none was chosen."""
    newest = select(JobCorrection).where(JobCorrection.job_id == job.id).order_by(JobCorrection.id.desc()).limit(1)
    found = once(session, ("correction", job.id), lambda: session.execute(newest).scalar_one_or_none())
    return found if found is not None and found.correction else None


def contrast_kept(session: Session, job: Job) -> float | None:
    """Per cent of the contrast that the print keeps, where that is less than a proof shows; None where it is not."""
    chosen = in_force(session, job)
    kept = float(correction_of(chosen).kept) if chosen is not None else 1.0
    return 100 * kept if kept < _HARDLY else None


def correction_of(chosen: JobCorrection) -> Correction:
    """The chosen correction itself."""
    return of_told(json.loads(chosen.correction))


def told(chosen: JobCorrection) -> dict[str, Any]:
    """As a recipe holds it: the correction, and the leak sheet that it rests on."""
    assert chosen.reading is not None
    return {**json.loads(chosen.correction), "leak_sheet": chosen.reading.sheet.code}


def choose(session: Session, by: Actor, *, job: Job, choice: Choice) -> JobCorrection:
    """Print the pictures of a job from now on in this way. Raises Refused where the leak is not measured any more."""
    if job.ended_at is not None:
        raise Refused(f"Everything of {job.number} has gone out; a reorder can be corrected otherwise.")
    materials = materials_of(session, job)
    reading = ghosting.measured_for(session, materials) if choice.correction and materials is not None else None
    if choice.correction is not None and reading is None:
        raise Refused("Nobody measured the leak of this lens, printer and paper; print a leak sheet first.")
    kept = JobCorrection(
        job=job,
        reading=reading,
        correction=canonical(choice.correction.told()) if choice.correction else "",
        contrast=choice.correction.kept if choice.correction else None,
        at=by.now,
        person_id=by.person_id,
    )
    session.add(kept)
    session.flush()
    words = choice.correction.in_words() if choice.correction else "not corrected"
    new = {"correction": words, "ghosting": f"{choice.number:.1f}"}
    touched = [ref(job), *([ref(reading), ref(reading.sheet)] if reading is not None else [])]
    record(session, by, Act("leak correction chosen", touched, new=new))
    return kept


def findings(session: Session, job: Job) -> list[Finding]:
    """What stands between the job's correction and a run now."""
    chosen = in_force(session, job)
    if chosen is None:
        return []
    correction, materials = correction_of(chosen), materials_of(session, job)
    reading = ghosting.measured_for(session, materials) if materials is not None else None
    counts = reading is not None and reading.id == chosen.reading_id
    same = counts and materials is not None and _is_same(correction, ghosting.mixing_of(session, materials))
    return still_serves(made_for=len(correction.matrix), pictures=len(current(job)), counts=counts, same=same)


def _is_same(correction: Correction, mixing: model.Mixing | None) -> bool:
    if mixing is None:
        return False
    now = measured_matrix(mixing, pictures=len(correction.matrix))
    return bool(np.abs(now - np.array(correction.matrix, dtype=float)).max() <= _SAME)


def carry_over(session: Session, by: Actor, *, chosen: JobCorrection, job: Job) -> None:
    """The same for a job that is made again; part of another act."""
    session.add(
        JobCorrection(
            job=job,
            reading=chosen.reading,
            correction=chosen.correction,
            contrast=chosen.contrast,
            at=by.now,
            person_id=by.person_id,
        )
    )
