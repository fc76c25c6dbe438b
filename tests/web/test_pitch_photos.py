"""A photograph of the chart on its page: read, shown with what was found, put on record; refused with the reason."""

import json
import re
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import func, select

from logbook.actions import pitch, pitchcharts, pitchreadings
from logbook.lengths import parse_length
from logbook.records.audit import AuditEntry
from logbook.records.files import KeptFile
from logbook.records.machines import Machine
from logbook.records.materials import Lot, Material
from logbook.records.pitch import PitchChart, PitchOnRecord, PitchPhoto, PitchTest
from support.photographed import INDEX, photograph_of, scene_of
from support.small_shop import one

SAID = {"printed": "file", "distance": "600 mm", "thickness": "2 mm", "index": str(INDEX)}


@pytest.fixture
def chart(office):
    """The code of a chart around the lens maker's pitch, of a test that is read from 600 mm."""

    def begin(session, by):
        conditions = pitch.Conditions(
            lens_lot=one(session, Lot, label="L-1"),
            mode=one(session, Machine, name="Printer").modes[0],
            paper=one(session, Material, name="paper"),
            axis="across",
            distance=parse_length("600mm"),
        )
        pitchcharts.start_test(session, by, conditions=conditions)

    office.act(begin)
    drawn = office.read(
        lambda session: pitchcharts.draw_chart(
            office.shop.store, one(session, PitchTest), pitchcharts.first_wish(one(session, PitchTest))
        )
    )
    return office.act(
        lambda session, by: pitchcharts.keep_chart(session, by, test=one(session, PitchTest), drawn=drawn).code
    )


@pytest.fixture
def content(office, chart):  # noqa: ARG001 - there is none before the chart
    """The photograph's bytes."""
    return office.read(lambda session: photograph_of(office.shop.store, one(session, PitchChart)))


def _send(desk, chart, content, **other):
    told = {**SAID, "request_id": f"p{len(other)}{next(iter(other.values()), '')}", **other}
    photo = (BytesIO(content), "chart.jpg") if content else (BytesIO(b""), "")
    return desk.post(f"/pitch/chart/{chart}/photograph", data={**told, "photo": photo})


def _rows(office, table):
    return office.read(lambda session: session.scalar(select(func.count()).select_from(table)))


def test_a_photograph_is_read_looked_at_and_put_on_record(office, desk, chart, content):
    # the simulated camera imports nothing from the project: it knows the pitch that is true from its place
    true = office.read(lambda session: scene_of(one(session, PitchChart)).pitch)
    asked = desk.get(f"/pitch/chart/{chart}/photograph").get_data(as_text=True)
    assert 'value="600 mm"' in asked or 'value="0.6 m"' in asked
    answer = _send(desk, chart, content)
    assert answer.status_code == 303, answer.get_data(as_text=True)[-3000:]
    photo = office.read(lambda session: one(session, PitchPhoto))
    assert abs(float(photo.lpi) - true) < 0.003
    assert photo.u_lpi > 0
    seen = json.loads(photo.told)["drawn"]
    with Image.open(BytesIO(content)) as image:
        assert list(image.size) == seen["size"]
        grey = image.convert("L")
        _lines_stand_in_the_dark(grey, seen)
    shown = desk.get(answer.location).get_data(as_text=True)
    assert f"{photo.lpi} <span>" in shown
    assert shown.count("<polyline") == sum(len(band["fringes"]) for band in seen["bands"]) > 10
    with desk.get(f"/pitch/photograph/{photo.code}.jpg") as small:
        assert small.data.startswith(b"\xff\xd8")
    assert photo.code in desk.get(f"/pitch/test/{_test(office)}").get_data(as_text=True)
    desk.post("/shop/my-units", data={"units": "in", "mark": ",", "request_id": "m1"})
    with_commas = desk.get(answer.location).get_data(as_text=True)
    assert f"{str(photo.lpi).replace('.', ',')} <span>" in with_commas
    points = re.findall(r'points="([^"]*)"', shown)
    assert points == re.findall(r'points="([^"]*)"', with_commas) != []  # a drawing knows no manner of writing
    done = desk.post(answer.location, data={"note": "", "request_id": "a1"})
    row = office.read(lambda session: one(session, PitchOnRecord, origin="test"))
    assert done.location.endswith(row.code)
    assert (row.lpi, row.distance) == (photo.lpi, parse_length("600mm"))
    assert "They do" not in desk.get(f"/pitch/photograph/{photo.code}").get_data(as_text=True)
    files = office.read(lambda session: _last_entry(session).body)
    assert photo.photo.sha256 in files


def _test(office):
    return office.read(lambda session: one(session, PitchTest).code)


def _last_entry(session):
    return session.execute(select(AuditEntry).order_by(AuditEntry.id.desc())).scalars().first()


def _lines_stand_in_the_dark(grey, seen):
    """Across each drawn line the picture is darker than midway to the next one of its band."""
    for band in seen["bands"]:
        middles = [tuple(sum(axis) / 2 for axis in zip(*line, strict=True)) for line in band["fringes"]]
        for here, there in pairwise(middles):
            between = tuple((first + second) / 2 for first, second in zip(here, there, strict=True))
            if abs(here[0] - there[0]) > 40:  # else the blur leaves little of a fringe
                assert grey.getpixel(tuple(map(int, here))) < grey.getpixel(tuple(map(int, between)))


@pytest.mark.parametrize(
    ("other", "words", "field"),
    [
        ({"distance": "700 mm"}, "This test is read from", "distance"),
        ({"index": "0.9"}, "between 1 and 3", "index"),
        ({"thickness": ""}, "", "thickness"),
    ],
)
def test_what_does_not_fit_is_refused_at_its_field_and_nothing_is_kept(
    office, desk, chart, content, other, words, field
):
    before = _rows(office, AuditEntry), _rows(office, KeptFile)
    answer = _send(desk, chart, content, **other)
    assert answer.status_code == 422
    page = answer.get_data(as_text=True)
    assert words in page
    assert f'aria-describedby="{field}' in page
    assert (_rows(office, AuditEntry), _rows(office, KeptFile)) == before
    assert _rows(office, PitchPhoto) == 0


def test_what_was_printed_is_named_and_a_wrong_name_gives_no_wrong_number(office, desk, chart, content):
    asked = desk.get(f"/pitch/chart/{chart}/photograph").get_data(as_text=True)
    offered = [word for word in ("a4 1", "letter 1") if f'value="{word}"' in asked]
    assert offered
    true = office.read(lambda session: scene_of(one(session, PitchChart)).pitch)
    for printed in offered:
        answer = _send(desk, chart, content, printed=printed)
        if answer.status_code != 303:
            assert re.search(r'id="(photo|printed)-fault"', answer.get_data(as_text=True))
        else:  # laid out as in the file
            found = office.read(lambda session: session.scalars(select(PitchPhoto).order_by(-PitchPhoto.id)).first())
            assert abs(float(found.lpi) - true) < 0.003


def test_what_is_no_photograph_of_the_chart_is_refused_with_the_reason(office, desk, chart):
    photograph = Path(__import__("sklearn").__file__).parent / "datasets" / "images" / "china.jpg"
    for number, content in enumerate((photograph.read_bytes(), b"no picture", b"")):
        answer = _send(desk, chart, content, request_id=f"r{number}")
        assert answer.status_code == 422
        assert 'id="photo-fault"' in answer.get_data(as_text=True)
    assert _rows(office, PitchPhoto) == 0


def test_a_count_that_differs_from_the_photograph_asks(office, desk, chart, content):
    office.act(
        lambda session, by: pitchreadings.record_readings(
            session, by, made=one(session, PitchChart), counts={1: "3", 6: "3/4", 11: "4 1/2"}
        )
    )
    shown = desk.get(_send(desk, chart, content).location)
    assert "more than their readings can explain" in shown.get_data(as_text=True)
    refused = desk.post(shown.request.path, data={"note": "", "request_id": "a2"})
    assert refused.status_code == 422
    sent = {"note": "", "reason-second-reading": "counted in a hurry", "request_id": "a3"}
    done = desk.post(shown.request.path, data=sent)
    assert done.status_code == 303
    assert office.read(lambda session: _last_entry(session).reason) == "counted in a hurry"
