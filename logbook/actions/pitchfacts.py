"""Numbers between a pitch on record and a job: computed by the engine, handed to the rules as plain values."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook.actions import machinehistory, stripfits
from logbook.actions.jobs import MaterialChoice, axis_of
from logbook.actions.pictures import current
from logbook.actions.standing import why_withdrawn
from logbook.engine import distance, drift, lens
from logbook.lengths import INCH_IN_MM, Length
from logbook.records.audit import Actor
from logbook.records.floor import JobMaterials, Run, Sheet, StripReading
from logbook.records.materials import Material
from logbook.records.orders import Job
from logbook.records.pitch import PitchOnRecord
from logbook.rules.validity import JobNeeds, PitchFacts

AGREE_LENTICULES = 0.15
"""Readings agree within the larger of this, end to end, and three times their uncertainty."""
THICKEST_PITCHES, LEAST_INDEX = 2.4, 1.49
"""Lens sheets are some 1.4 to 2.4 times as thick as their lines are wide, of index 1.49 to 1.59: common practice, no
source."""
# where the sheet's substance is not on record: the worst of the usual ones
_WORST_EXPANSION = max(drift.EXPANSION_PER_C.values())


@dataclass(frozen=True, slots=True)
class Used:
    """A pitch as this job uses it, lines per printer's inch, and how sure that is (k = 1)."""

    lpi: Decimal
    u_lpi: Decimal | None
    converted: bool
    correction_lpi: float = 0.0
    conversion_share: float = 0.0
    """Which part of the variance the conversion adds."""


def as_used(job: Job, pitch: PitchOnRecord) -> Used:
    """The pitch converted from the reading's distance to the job's, where the lens's thickness and index are known."""
    sheet = pitch.lens_lot.material
    if pitch.distance is None or not _optics_known(sheet):
        same = pitch.distance is not None and pitch.distance.mm == job.distance.mm
        return Used(pitch.lpi, pitch.u_lpi, converted=same)
    layer = _layer(sheet)
    found = distance.convert(
        pitch.lpi,
        u_lpi=float(pitch.u_lpi or 0),
        seen=distance.sight(
            distance_mm=float(pitch.distance.mm),
            lens=layer,
            extra=distance.AIR_GAP if pitch.lens_loose else distance.ADHESIVE,
        ),
        wanted=distance.sight(distance_mm=float(job.distance.mm), lens=layer, extra=distance.ADHESIVE),
    )
    doubt = Decimal(str(round(found.u_lpi, 5))) if pitch.u_lpi is not None else None
    return Used(found.lpi, doubt, converted=True, correction_lpi=found.correction_lpi, conversion_share=_share(found))


def to_distance(sheet: Material, lpi: Decimal, *, seen: Length | None, wanted: Length | None) -> Decimal:
    """A pitch read with the lens laid on, as it would be read from another distance; unknown optics: as it is."""
    if seen is None or wanted is None or seen.mm == wanted.mm or not _optics_known(sheet):
        return lpi
    layer = _layer(sheet)
    return distance.convert(
        lpi,
        u_lpi=0.0,
        seen=distance.sight(distance_mm=float(seen.mm), lens=layer, extra=distance.AIR_GAP),
        wanted=distance.sight(distance_mm=float(wanted.mm), lens=layer, extra=distance.AIR_GAP),
    ).lpi


def layer_of(sheet: Material) -> distance.Layer | None:
    """The lens sheet as a layer; None where its thickness or index is not on record."""
    return _layer(sheet) if _optics_known(sheet) else None


def _layer(sheet: Material) -> distance.Layer:
    assert sheet.thickness is not None
    assert sheet.refractive_index is not None
    return distance.lens_layer(thickness_mm=float(sheet.thickness.mm), index=float(sheet.refractive_index))


def _optics_known(sheet: Material) -> bool:
    return sheet.thickness is not None and sheet.refractive_index is not None


def _share(found: distance.Conversion) -> float:
    return found.u_conversion**2 / found.u_lpi**2 if found.u_lpi else 0.0


@dataclass(frozen=True, slots=True)
class Budget:
    """What an error of pitch does to this print: end to end, share that flips late, degrees (None: lens unknown)."""

    lenticules: float
    late_percent: float
    degrees: float | None


def budget(job: Job, pitch: PitchOnRecord, used: Used) -> Budget | None:
    """Twice the uncertainty of a pitch, as the user will see it; None where the uncertainty is not known."""
    if used.u_lpi is None:
        return None
    off = drift.lenticules(width_in=pitch_width_in(job), error_lpi=2 * float(used.u_lpi))
    late = drift.late_share(drift_lenticules=off, pictures=max(2, len(current(job))))
    return Budget(off, 100 * late, _degrees(off, pitch.lens_lot.material))


def _degrees(off: float, lens_type: Material) -> float | None:
    if not _optics_known(lens_type) or lens_type.nominal_lpi is None:
        return None
    assert lens_type.thickness is not None
    assert lens_type.refractive_index is not None
    angle = lens.view_angle_deg(
        pitch_mm=lens.lens_pitch_mm(float(lens_type.nominal_lpi)),
        thickness_mm=float(lens_type.thickness.mm),
        index=float(lens_type.refractive_index),
    )
    return drift.degrees(drift_lenticules=off, view_angle_deg=angle)


def pitch_width_in(job: Job) -> float:
    """The finished size along the pitch axis, in inches."""
    return float((job.width if job.flip == "left-right" else job.height).inches)


def facts_and_needs(
    session: Session, by: Actor, *, job: Job, materials: JobMaterials | MaterialChoice, pitch: PitchOnRecord
) -> tuple[PitchFacts, JobNeeds]:
    """What the rules need to know about a pitch and a job."""
    used, event = as_used(job, pitch), machinehistory.since(session, pitch)
    facts = PitchFacts(
        origin=pitch.origin,
        lens_lot=_lot_name(pitch),
        mode=f"{pitch.mode.machine.name}, {pitch.mode.name}",
        paper=pitch.paper.name,
        paper_lot=pitch.paper_lot.label if pitch.paper_lot else None,
        axis=pitch.axis,
        known_since=pitch.known_since.astimezone(),
        withdrawn=why_withdrawn(session, pitch),
        confirmed=_confirmed(session, pitch),
        scale_ended=machinehistory.said(event) if event else None,
        ended=bool(event and event.ends_pitches),
        lpi=pitch.lpi,
        nominal_lpi=pitch.lens_lot.material.nominal_lpi,
    )
    needs = JobNeeds(
        lens_lot=_lot_name(materials),
        mode=f"{materials.mode.machine.name}, {materials.mode.name}",
        paper=materials.paper.name,
        paper_lot=materials.paper_lot.label if materials.paper_lot else None,
        axis=axis_of(job),
        now=by.now,
        climate_strips=_climate(job, materials, pitch),
        conversion_share=used.conversion_share,
        distance=str(job.distance),
        distance_known=pitch.distance is not None or pitch.origin == "nominal",
        unconverted_lenticules=_unconverted(job, pitch, used),
        doubt_lenticules=2 * float(used.u_lpi) * pitch_width_in(job) if used.u_lpi is not None else None,
    )
    return facts, needs


def _unconverted(job: Job, pitch: PitchOnRecord, used: Used) -> float | None:
    """What the change of distance does over this print with the thickest usual lens; None where it was counted."""
    if used.converted or pitch.distance is None:
        return None
    lines = float(pitch.lens_lot.material.nominal_lpi or pitch.lpi)
    thick = distance.Layer(THICKEST_PITCHES * float(INCH_IN_MM) / lines, 0.0, LEAST_INDEX, 0.0)
    seen, wanted = (distance.sight(distance_mm=float(length.mm), lens=thick, extra=distance.ADHESIVE)
                    for length in (pitch.distance, job.distance))  # fmt: skip
    moved = distance.convert(pitch.lpi, u_lpi=0.0, seen=seen, wanted=wanted).correction_lpi
    return abs(moved) * pitch_width_in(job)


def _lot_name(row: PitchOnRecord | JobMaterials | MaterialChoice) -> str:
    return f"{row.lens_lot.material.name}, lot {row.lens_lot.label} ({row.lens_lot.code})"


def _confirmed(session: Session, pitch: PitchOnRecord) -> str | None:
    """The sheet whose pitch strip agrees with a pitch that was carried over: within what readers may differ by."""
    if pitch.origin != "carried over":
        return None
    sheets = session.execute(
        select(Sheet)
        .join(Run, Sheet.run_id == Run.id)
        .where(Run.pitch_id == pitch.id, Sheet.id.in_(select(StripReading.sheet_id)))
        .order_by(Sheet.id)
    ).scalars()
    for sheet in sheets:
        fit = stripfits.fit_of(session, sheet)
        if fit is not None and abs(fit.off_lenticules) <= max(AGREE_LENTICULES, 3 * fit.u_lenticules):
            return f"the pitch strip of sheet {sheet.number}"
    return None


def _climate(job: Job, materials: JobMaterials | MaterialChoice, pitch: PitchOnRecord) -> float | None:
    if materials.temperature_c is None or pitch.temperature_c is None:
        return None
    lenticules = drift.climate_lenticules(
        width_in=pitch_width_in(job),
        lpi=float(pitch.lpi),
        change_c=float(materials.temperature_c - pitch.temperature_c),
        lens_per_c=drift.EXPANSION_PER_C.get(pitch.lens_lot.material.substance, _WORST_EXPANSION),
    )
    pictures = max(2, sum(1 for picture in job.pictures if picture.replaced_at is None))
    return lenticules * pictures
