"""A photograph of a chart reads it: kept with what was found in it, and put on record by a person who has looked."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from io import BytesIO
from typing import Any

from sqlalchemy.orm import Session

from logbook.actions import chartscales, pitchcharts, pitchreadings
from logbook.actions import pitch as tests
from logbook.actions.finding import ref
from logbook.actions.pictures import Intake
from logbook.actions.strengths import weigh
from logbook.engine import chart
from logbook.engine.fit import Fit
from logbook.lengths import Length
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore, keep
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchPhoto
from logbook.refusals import Refused
from logbook.rules import secondlook
from logbook.rules.findings import Finding, settle_each

FILE, PAPERS = "file", ("a4", "letter")
DISTANCE_OFF = 0.03
"""How far off the test's own distance a camera may stand: distances are known to that (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class View:
    """What a photograph was taken of, from where, through what."""

    printed: str
    distance: Length
    thickness: Length
    index: Decimal


def printed_as(made: PitchChart) -> dict[str, str]:
    """What may have been printed of a chart: its file, or a page of a paper that holds it; by key, in words."""
    found = {FILE: "The file as it was downloaded"}
    for paper in PAPERS:
        try:
            pages = len(pitchcharts.pages_of(made, paper))
        except Refused:
            continue
        name = paper.upper() if paper == "a4" else paper.capitalize()
        for page in range(1, pages + 1):
            found[f"{paper} {page}"] = f"{name}, page {page} of {pages}" if pages > 1 else name
    return found


def asked(made: PitchChart, view: View) -> dict[str, Any]:
    """What to look for in a photograph, as ``background.opening`` takes it: reading it is long work, done outside.

    Raises Refused where the photograph could not serve this test.
    """
    _expect_the_tests_own(made, view)
    return {
        "chart": _described(made, view.printed),
        "distance_mm": float(view.distance.mm),
        "thickness_mm": float(view.thickness.mm),
        "index": float(view.index),
    }


def _expect_the_tests_own(made: PitchChart, view: View) -> None:
    """A pitch belongs to a distance: one test has one."""
    test = made.test
    pitchcharts.expect_open(test)
    if made.kind != "bands":
        raise Refused(
            "Only a chart of bands can be read in a photograph; write down what you see instead.", field="photo"
        )
    if not test.lens_loose:
        raise Refused(
            "The lens of this test was bonded; a photograph is read through a lens that lies loose. Count "
            "the fringes instead."
        )
    if test.distance is None:
        raise Refused("This test does not say from where it is read; start one that does.", field="distance")
    stated, wanted = float(view.distance.mm), float(test.distance.mm)
    if abs(stated - wanted) > DISTANCE_OFF * wanted:
        raise Refused(
            f"This test is read from {test.distance}, and the pitch belongs to that distance: take the photograph "
            "from there, or start a test for the other distance.",
            field="distance",
        )


def _described(made: PitchChart, printed: str) -> dict[str, Any]:
    if printed == FILE:
        told: dict[str, Any] = json.loads(made.plan)
        return told
    paper, _, number = printed.partition(" ")
    return dict(chart.sidecar(pitchcharts.pages_of(made, paper)[int(number) - 1].plan))


def keep_photo(
    session: Session,
    by: Actor,
    store: FileStore,
    *,
    made: PitchChart,
    taken: Intake,
    view: View,
    told: dict[str, Any],
) -> PitchPhoto:
    """Put a photograph that was read on record; it serves no job before somebody has looked at it and says so."""
    _expect_the_tests_own(made, view)
    sha256, size = store.adopt(taken.waiting)
    original = keep(session, sha256=sha256, size=size, media_type=taken.media_type, kind="record", now=by.now)
    small, small_size = store.put(BytesIO(taken.preview))
    photo = PitchPhoto(
        chart=made,
        photo=original,
        preview=keep(session, sha256=small, size=small_size, media_type="image/jpeg", kind="preview", now=by.now),
        printed=view.printed,
        distance=view.distance,
        thickness=view.thickness,
        refractive_index=view.index,
        lpi=Decimal(str(told["lpi"])),
        u_lpi=Decimal(str(told["u_lpi"])),
        told=json.dumps(told),
        at=by.now,
        reader_id=by.person_id,
    )
    session.add(photo)
    session.flush()
    seen = {name: told[name] for name in ("lpi", "u_lpi", "u_distance_lpi", "u_gap_lpi", "skew_deg")}
    new = {**seen, "distance": view.distance, "printed": view.printed}
    plain = {name: value if isinstance(value, Length) else str(value) for name, value in new.items()}
    record(
        session,
        by,
        Act("pitch chart photographed", [ref(made.test), ref(made), ref(photo)], files=[sha256], new=plain),
    )
    return photo


def findings(session: Session, photo: PitchPhoto) -> list[Finding]:
    """What speaks against putting a photograph's pitch on record: nobody counted, or whoever counted differs."""
    test, width = photo.chart.test, float(photo.chart.width.inches)
    own = pitchreadings.own_fits(test)
    apart = max((abs(fit.lpi - photo.lpi) for fit in own), default=None)
    agree = all(_agree(photo, fit, width) for fit in own)
    names = [*pitchreadings.readers_of(test), f"{photo.reader.name} by photograph"]
    return weigh(session, [*secondlook.readers(names, apart_lpi=apart, agree=agree), *chartscales.findings(test)])


def _agree(photo: PitchPhoto, fit: Fit, width: float) -> bool:
    """As two readers agree: within the larger of 0.15 lenticule over the chart and three joint uncertainties."""
    joint = math.hypot(float(photo.u_lpi), fit.u_lpi)
    return abs(float(photo.lpi - fit.lpi)) * width <= max(0.15, 3 * joint * width)


def accept(
    session: Session,
    by: Actor,
    *,
    photo: PitchPhoto,
    note: str = "",
    reason: str = "",
    reasons: Mapping[str, str] | None = None,
) -> PitchOnRecord:
    """Put a photograph's pitch on record; jobs may use it from now on. Every ask takes a reason of its own."""
    test = photo.chart.test
    pitchcharts.expect_open(test)
    settled = settle_each(findings(session, photo), reason=reason, reasons=reasons)
    test.state = "accepted"
    pitch = tests.put_on_record(
        session,
        by,
        conditions=tests.conditions_of(test),
        origin="test",
        lpi=photo.lpi,
        u_lpi=round(photo.u_lpi, 5),
        note=note or "read in a photograph",
        test=test,
    )
    photo.pitch = pitch
    session.flush()
    record(
        session,
        by,
        Act(
            "pitch accepted",
            [ref(pitch), ref(test), ref(photo), *tests.conditions_of(test).refs()],
            meaning="approved",
            reason=settled or None,
            new={"lpi": pitch.lpi, "u_lpi": pitch.u_lpi, "by photograph": photo.code},
            files=[photo.photo.sha256, *(made.raster.sha256 for made in test.charts)],
        ),
    )
    return pitch
