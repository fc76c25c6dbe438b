"""Ghosting of a job's pictures: how much of the others an eye will see in each, and what would lessen it."""

from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache, partial
from pathlib import Path

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import leaks
from logbook.actions.alignment import shift_mm
from logbook.actions.finding import ref
from logbook.actions.jobs import materials_of
from logbook.actions.pictures import current
from logbook.engine import ghosting as model
from logbook.engine.leak import as_measured
from logbook.engine.leakcorrection import light_of
from logbook.engine.plan import Shift
from logbook.engine.proofing import framed
from logbook.engine.remedies import Remedy, remedies
from logbook.engine.tone import Tone
from logbook.lengths import Length
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore
from logbook.records.floor import JobMaterials
from logbook.records.leaks import LeakReading
from logbook.records.materials import MixingFigures
from logbook.records.orders import Job
from logbook.refusals import Refused

LONG_SIDE = 160
"""Pixels of the longer side: the number is a share of the area, and changes little with more."""

MOST_REMEDIES_FOR = 24
"""With more pictures, trying every remedy takes longer than anybody waits for a page."""


@dataclass(frozen=True, slots=True)
class Looked:
    """The pictures of one job as they would stand on the finished piece, small, and what mixes them."""

    files: tuple[Path, ...]
    width: Fraction
    height: Fraction
    bleed: Fraction
    fit: str
    mixing: model.Mixing
    most_pictures: int
    shifts: tuple[Shift, ...]
    tone: Tone | None = None
    """As the leak sheet's wedge found it; None: the light of sRGB."""
    nearby: tuple[model.Mixing, ...] = ()
    """The mixing if the measured leaks are as far off as they are stated to be, less and more."""

    @property
    def light(self) -> model.Light | None:
        """The light of levels as they are printed."""
        return partial(light_of, self.tone) if self.tone is not None else None

    def pictures(self) -> list[np.ndarray]:
        """(high, wide, 3) levels each."""
        return [
            np.asarray(
                framed(
                    file,
                    width=self.width,
                    height=self.height,
                    bleed=self.bleed,
                    fit=self.fit,
                    long_side=LONG_SIDE,
                    shift=shift,
                )
            )
            for file, shift in zip(self.files, self.shifts, strict=True)
        ]


def looked_at(session: Session, store: FileStore, job: Job) -> Looked | None:
    """What the model needs; None until there are two pictures and a lens whose thickness and index are known."""
    materials, pictures = materials_of(session, job), current(job)
    mixing = mixing_of(session, materials) if materials is not None else None
    if materials is None or mixing is None or len(pictures) < 2:
        return None
    if not all(store.has(picture.preview.sha256) for picture in pictures):
        return None
    dpi = materials.mode.dpi_across if job.flip == "left-right" else materials.mode.dpi_down
    files = tuple(store.path(picture.preview.sha256) for picture in pictures)
    most = int(float(dpi) / mixing.lens_lpi)
    shifts = tuple(shift_mm(picture) for picture in pictures)
    reading = measured_for(session, materials)
    size = job.width.mm, job.height.mm, job.bleed.mm
    if reading is None:
        return Looked(files, *size, job.fit, mixing, most, shifts)
    nearby = tuple(_measured(replace(mixing, gains=(1.0, 1.0)), reading, off=off) for off in (-1, 1))
    return Looked(files, *size, job.fit, mixing, most, shifts, leaks.tone_of(reading), nearby)


def mixing_of(session: Session, materials: JobMaterials) -> model.Mixing | None:
    """The owner's figures for this lens type, printer and paper, else the model's own, with the leak that was measured
    in place of the modelled one; None for an unknown lens."""
    lens = materials.lens_lot.material
    if lens.nominal_lpi is None or lens.thickness is None or lens.refractive_index is None:
        return None
    known = float(lens.nominal_lpi), float(lens.thickness.mm), float(lens.refractive_index)
    mixing = _modelled(known, figures_of(session, materials))
    reading = measured_for(session, materials)
    return mixing if reading is None else _measured(mixing, reading)


def _measured(mixing: model.Mixing, reading: LeakReading, *, off: int = 0) -> model.Mixing:
    """With the leaks of a reading, ``off`` by so many of their bounds."""
    into_first = reading.into_first_percent + off * reading.first_bound_percent
    into_last = reading.into_last_percent + off * reading.last_bound_percent
    first, last = (max(0.0, float(one) / 100) for one in (into_first, into_last))
    return as_measured(mixing, into_first=first, into_last=last)


def measured_for(session: Session, materials: JobMaterials) -> LeakReading | None:
    """The leak sheet's reading that counts for this lens type, printer and paper."""
    return leaks.measured(
        session,
        lens_id=materials.lens_lot.material_id,
        printer_id=materials.mode.machine_id,
        paper_id=materials.paper_id,
    )


def _modelled(known: tuple[float, float, float], figures: MixingFigures | None) -> model.Mixing:
    if figures is None:
        return model.Mixing(*known)
    radius = float(figures.radius.mm) if figures.radius is not None else None
    return model.Mixing(
        *known,
        radius_mm=radius,
        ink_spread_mm=float(figures.ink_spread.mm),
        registration=float(figures.registration),
        floor=float(figures.floor_percent) / 100,
    )


def figures_of(session: Session, materials: JobMaterials) -> MixingFigures | None:
    """What the owner wrote down for this lens type, printer and paper."""
    return session.execute(
        select(MixingFigures).where(
            MixingFigures.lens_id == materials.lens_lot.material_id,
            MixingFigures.printer_id == materials.mode.machine_id,
            MixingFigures.paper_id == materials.paper_id,
        )
    ).scalar_one_or_none()


def set_figures(
    session: Session,
    by: Actor,
    *,
    job: Job,
    radius: Length | None,
    ink_spread: Length,
    registration: Decimal,
    floor_percent: Decimal,
) -> MixingFigures:
    """The owner's figures for the lens type, printer and paper of this job; they serve every job on these.

    Raises Refused where the model cannot count with them.
    """
    materials = materials_of(session, job)
    if materials is None:
        raise Refused("Choose lens, printer and paper first: the figures belong to them.")
    figures = figures_of(session, materials) or MixingFigures(
        lens_id=materials.lens_lot.material_id, printer_id=materials.mode.machine_id, paper_id=materials.paper_id
    )
    figures.radius, figures.ink_spread = radius, ink_spread
    figures.registration, figures.floor_percent = registration, floor_percent
    session.add(figures)
    session.flush()
    mixing_of(session, materials)
    new = {
        "radius": str(radius) if radius else None,
        "ink_spread": str(ink_spread),
        "registration": str(registration),
        "floor_percent": str(floor_percent),
    }
    touched = [ref(figures), ref(materials.lens_lot.material), ref(materials.mode.machine), ref(materials.paper)]
    record(session, by, Act("figures of mixing set", touched, new=new))
    return figures


def number_and_words(session: Session, store: FileStore, job: Job) -> tuple[float, str] | None:
    """The one number and what it means; None while it cannot be known."""
    looked = looked_at(session, store, job)
    if looked is None:
        return None
    number = number_of(looked)
    return number, model.in_words(number)


@lru_cache(maxsize=64)
def number_of(looked: Looked) -> float:
    """The one number: the change of L* that the worst picture's most changed twentieth exceeds."""
    return ghosts_of(looked).number


@lru_cache(maxsize=4)
def ghosts_of(looked: Looked) -> model.Ghosts:
    """Everything seen, picture by picture."""
    return model.ghosts(looked.pictures(), model.crosstalk(looked.mixing, pictures=len(looked.files)),
                        light=looked.light)


@lru_cache(maxsize=16)
def remedies_of(looked: Looked) -> tuple[Remedy, ...]:
    """What would help, the most helpful first; nothing is tried for very many pictures."""
    if len(looked.files) > MOST_REMEDIES_FOR:
        return ()
    found = remedies(looked.pictures(), looked.mixing, any_order=True, most_pictures=looked.most_pictures,
                     light=looked.light)
    return tuple(found)
