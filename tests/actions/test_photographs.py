"""Photographs of a step: kept whole, as records, and only where a step asks for one."""

from io import BytesIO

import pytest
from PIL import Image
from sqlalchemy import select

from logbook.actions import bench, benchrecords, pictures
from logbook.records.files import KeptFile
from logbook.refusals import Refused
from support.small_shop import prints, standing


@pytest.fixture
def inspected(shop):
    """A job of two pieces that wait for their inspection."""
    code = shop.ready(quantity=2)
    shop.mount(code)
    return code


def _photo(red):
    out = BytesIO()
    Image.new("RGB", (64, 48), (red, 90, 40)).save(out, "JPEG")
    return BytesIO(out.getvalue())


def _inspect(shop, code, keys, *, values=None, count=1):
    with pictures.received(shop.shop.store, [(f"{key}.jpg", _photo(10 * at)) for at, key in enumerate(keys)]) as taken:
        signature = bench.Signature(
            values={"inspect-result": "passed", **(values or {})},
            photos=list(zip(keys, taken, strict=True)),
            store=shop.shop.store,
        )

        def sign(session, by):
            subjects = standing(session, code, "inspect")[:count]
            bench.sign_stage(session, by, subjects=subjects, stage="inspect", signature=signature)

        shop.act(sign)


def _photos(shop, code, at=0):
    return shop.read(
        lambda session: [
            row.value
            for row in benchrecords.records_of(session, prints(session, code)[at])
            if row.step_key == "inspect-photo"
        ]
    )


def test_every_view_is_a_record_of_its_own(shop, inspected):
    _inspect(shop, inspected, ["inspect-photo"] * 3)
    found = _photos(shop, inspected)
    assert len(set(found)) == 3
    assert all(shop.shop.store.has(sha256) for sha256 in found)
    kinds = shop.read(lambda session: set(session.execute(select(KeptFile.kind, KeptFile.sha256)).all()))
    assert {("record", sha256) for sha256 in found} <= {tuple(row) for row in kinds}


def test_one_photograph_of_two_pieces_is_a_record_of_both(shop, inspected):
    _inspect(shop, inspected, ["inspect-photo"], count=2)
    assert _photos(shop, inspected) == _photos(shop, inspected, at=1) != []


@pytest.mark.parametrize("key", ["inspect-result", "inspect-sign", "anything"])
def test_a_photograph_is_taken_only_where_one_is_asked_for(shop, inspected, key):
    before = shop.shop.store.hashes()
    with pytest.raises(Refused, match="No photograph is asked for"):
        _inspect(shop, inspected, [key])
    assert shop.shop.store.hashes() == before
    assert list((shop.shop.store.folder / "incoming").iterdir()) == []


def test_words_are_no_photograph(shop, inspected):
    _inspect(shop, inspected, [], values={"inspect-photo": "looked fine"})
    assert _photos(shop, inspected) == []
