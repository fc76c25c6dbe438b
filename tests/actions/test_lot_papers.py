"""Papers beside a lot, and what may be put right about it."""

from decimal import Decimal
from io import BytesIO

import pytest

from logbook.actions import erasing, lotpapers, materials
from logbook.lengths import parse_length
from logbook.records.materials import Lot
from logbook.refusals import Refused
from support.shop_walk import PHOTOGRAPHS
from support.small_shop import job, one

NOTE = b"%PDF-1.7\nnot more than its first line"


def _attach(shop, content=NOTE, name="note.pdf"):
    with lotpapers.received(shop.shop.store, name, BytesIO(content)) as paper:
        shop.act(
            lambda s, by: lotpapers.attach(s, by, lot=one(s, Lot, label="L-1"), store=shop.shop.store, paper=paper)
            and None
        )


def _papers(shop):
    return shop.read(lambda s: lotpapers.papers_of(s, one(s, Lot, label="L-1")))


@pytest.mark.parametrize(
    ("content", "media_type"),
    [
        (NOTE, "application/pdf"),
        (b"\xff\xd8\xff\xe0rest", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\nrest", "image/png"),
    ],
)
def test_a_paper_is_kept_byte_for_byte_under_its_hash(shop, content, media_type):
    _attach(shop, content, "C:\\desk\\delivery note.pdf")
    kept = _papers(shop)[0]
    assert (kept.name, kept.file.media_type) == ("delivery note.pdf", media_type)
    assert shop.shop.store.path(kept.file.sha256).read_bytes() == content


@pytest.mark.parametrize("content", [b"", b"<html>", b"MZ\x90", b" %PDF-1.7", b"GIF89a"])
def test_anything_else_is_refused_and_leaves_nothing(shop, content):
    with pytest.raises(Refused, match="no PDF, JPEG or PNG") as refused:
        _attach(shop, content)
    assert refused.value.field == "paper"
    assert not list((shop.shop.store.folder / "incoming").glob("*"))


def test_a_paper_larger_than_the_limit_is_refused(shop, monkeypatch):
    monkeypatch.setattr(lotpapers, "MOST_BYTES", len(NOTE) - 1)
    with pytest.raises(Refused, match="larger than"):
        _attach(shop)
    monkeypatch.setattr(lotpapers, "MOST_BYTES", len(NOTE))
    _attach(shop)


def test_the_same_file_stands_once_and_there_is_an_end_to_papers(shop, monkeypatch):
    _attach(shop)
    with pytest.raises(Refused, match="already"):
        _attach(shop)
    monkeypatch.setattr(lotpapers, "MOST_PAPERS", 1)
    with pytest.raises(Refused, match="1 papers stand"):
        _attach(shop, NOTE + b"2")
    assert len(_papers(shop)) == 1


def test_forgetting_a_jobs_pictures_leaves_a_paper_with_the_same_bytes(shop):
    code = shop.order()
    _attach(shop, PHOTOGRAPHS[0].read_bytes(), "sheet.jpg")
    going = shop.read(lambda s: {kept.sha256 for kept in erasing.of_pictures(s, job(s, code)).files})
    assert _papers(shop)[0].file.sha256 not in going
    assert going


def _change(shop, **changes):
    shop.act(lambda s, by: materials.change_lot(s, by, lot=one(s, Lot, label="L-1"), changes=changes))


def test_what_is_put_right_about_a_lot_is_told_with_what_it_was(shop):
    size = {"sheet_width": parse_length("50cm"), "sheet_height": parse_length("70cm")}
    _change(shop, place="shelf 2", price=Decimal("4.20"), **size)
    lot = shop.read(lambda s: one(s, Lot, label="L-1"))
    assert (lot.place, lot.price, str(lot.sheet_width)) == ("shelf 2", Decimal("4.20"), "50cm")


def test_a_sheet_has_both_sizes_and_a_label_stays(shop):
    with pytest.raises(Refused, match="both, or neither") as refused:
        _change(shop, sheet_width=parse_length("50cm"), sheet_height=None)
    assert refused.value.field == "sheet_height"
    with pytest.raises(Refused, match="does not change"):
        _change(shop, label="L-2")
