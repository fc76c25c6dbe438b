"""What flips under a finger: one image of views, always of what the page speaks of, gone when it is forgotten."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from logbook.actions import pictures
from logbook.records.floor import Run
from logbook.records.orders import Proof
from support.small_shop import job, one

COLOURS = ((220, 30, 30), (30, 30, 220))
GREEN = (20, 160, 40)


def _plain(folder, name, colour):
    path = folder / f"{name}.png"
    Image.new("RGB", (700, 800), colour).save(path)
    return path


@pytest.fixture
def flat(office, tmp_path):
    """A job of a red and a blue picture with a proof and a finished run; its code."""
    code = office.order(files=[_plain(tmp_path, at, colour) for at, colour in enumerate(COLOURS)])
    office.approve(code)
    office.choose_pitch(code)
    office.run(code)
    return code


def _stack(desk, page, path):
    """The address that the page gives for a stack, and the mean colour of each of its views."""
    shown = desk.get(page).get_data(as_text=True)
    address = next(part.split('"')[0] for part in shown.split('data-stack="')[1:] if path in part)
    views = int(shown.split(f'data-stack="{address}" data-views="')[1].split('"')[0])
    answer = desk.get(address)
    assert answer.headers["Cache-Control"] == "private, max-age=86400"
    with Image.open(BytesIO(answer.data)) as image:
        parts = np.split(np.asarray(image.convert("RGB")), views)
    return address, [part[20:-20, 20:-20].reshape(-1, 3).mean(axis=0) for part in parts]


def _near(colour, wanted):
    return np.abs(np.asarray(colour) - wanted).max() < 12


def _codes(office):
    return office.read(lambda session: (one(session, Run).code, one(session, Proof).code))


def test_every_stack_goes_from_the_first_picture_to_the_last(office, desk, flat):
    run, proof = _codes(office)
    folder = office.shop.store.folder / "drawn"
    ahead = [path.name for path in folder.glob("*.jpg")]
    assert len(ahead) == 1, "the worker drew the run's views ahead"
    for page, path, views in ((f"/job/{flat}", f"/job/{flat}/flip", 2), (f"/job/{flat}", f"/proof/{proof}/flip", 2),
                              (f"/run/{run}", f"/run/{run}/flip", 21)):  # fmt: skip
        address, colours = _stack(desk, page, path)
        assert len(colours) == views
        assert _near(colours[0], COLOURS[0]), path
        assert _near(colours[-1], COLOURS[1]), path
    assert f"{address.split('of=')[1]}.jpg" == ahead[0]
    _shown_where_nothing_can_be_kept(desk, folder, f"/run/{run}/flip.jpg")


def _shown_where_nothing_can_be_kept(desk, folder, path):
    before = desk.get(path).data
    for one_view in folder.glob("*.jpg"):
        one_view.unlink()
    folder.rmdir()
    folder.write_bytes(b"a file in the way")
    assert desk.get(path).data == before


def _first_one_becomes_green(office, code, folder):
    path = _plain(folder, "green", GREEN)
    with path.open("rb") as file, pictures.received(office.shop.store, [(path.name, file)]) as taken:
        office.act(
            lambda session, by: pictures.replace_picture(
                session, by, office.shop.store, picture=pictures.current(job(session, code))[0], intake=taken[0]
            )
        )


def test_a_changed_or_forgotten_picture_is_never_shown_by_an_old_view(office, desk, flat, tmp_path):
    run, proof = _codes(office)
    before, _ = _stack(desk, f"/job/{flat}", f"/job/{flat}/flip")
    _first_one_becomes_green(office, flat, tmp_path)
    after, colours = _stack(desk, f"/job/{flat}", f"/job/{flat}/flip")
    assert after != before
    assert _near(colours[0], GREEN)
    # an old address shows what stands now and is not kept; proof and run stay what they were
    assert desk.get(before).headers["Cache-Control"] == "no-store"
    assert desk.get(before).data == desk.get(after).data
    for page, path in ((f"/job/{flat}", f"/proof/{proof}/flip"), (f"/run/{run}", f"/run/{run}/flip")):
        assert _near(_stack(desk, page, path)[1][0], COLOURS[0])
    sent = desk.post(f"/job/{flat}/forget-pictures", data={"reason": "asked for by mail", "request_id": "f1"})
    assert sent.status_code == 303, sent.get_data(as_text=True)
    assert list((office.shop.store.folder / "drawn").glob("*")) == []
    for path in (f"/job/{flat}/flip.jpg", f"/proof/{proof}/flip.jpg", f"/run/{run}/flip.jpg"):
        assert desk.get(path).status_code == 404
    assert desk.get(f"/job/{flat}").status_code == 200
