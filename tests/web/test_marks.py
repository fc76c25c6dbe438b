"""What a camera or a program wrote beside the pixels goes out with no preview, view or proof; the original keeps it."""

import zlib
from io import BytesIO

import pikepdf
import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from skimage import data
from sqlalchemy import select

from logbook.records.orders import Picture, Proof

PHOTOGRAPH = Image.fromarray(data.astronaut()[::2, ::2])
OWNER, PLACE, STORY, REMARK = "Camera owner canary", "Village canary", "Packet canary", "Comment canary"
CANARIES = [word.encode() for word in (OWNER, PLACE, STORY, REMARK)]
MARKS = (b"Exif\0\0", b"ns.adobe.com", b"http://www.w3.org/1999/02/22-rdf", b"XMP Data", b"tEXt", b"iTXt", b"eXIf")
PACKET = f'<x:xmpmeta xmlns:x="adobe:ns:meta/" note="{STORY}"/>'.encode()


def _exif():
    # Exif 2.32: 315 artist; 0x8825 the place, of which 28 is the name of the area
    marks = Image.Exif()
    marks[315], marks[0x8825] = OWNER, {1: "N", 2: (52.0, 31.0, 0.0), 28: PLACE.encode()}
    return marks


def _jpeg():
    return {"exif": _exif(), "xmp": PACKET, "comment": REMARK.encode()}


def _png():
    text = PngInfo()
    text.add_text("Comment", REMARK)
    text.add_itxt("XML:com.adobe.xmp", PACKET.decode())
    return {"exif": _exif(), "pnginfo": text}


def _tiff():
    # TIFF 6.0: 270 a description; 700 is where an XMP packet lies
    return {"exif": _exif(), "tiffinfo": {270: REMARK, 315: OWNER, 700: PACKET}}


KINDS = {"JPEG": _jpeg, "PNG": _png, "TIFF": _tiff}


def _written_upon(kind):
    out = BytesIO()
    PHOTOGRAPH.save(out, kind, **KINDS[kind]())
    return out.getvalue()


def _opened(content):
    """A file's own bytes, and of a PDF what its streams hold as well: they are packed."""
    if not content.startswith(b"%PDF"):
        return content
    with pikepdf.open(BytesIO(content)) as pdf:
        streams = [one for one in pdf.objects if isinstance(one, pikepdf.Stream)]
        return content + b"".join(one.read_raw_bytes() + _unpacked(one) for one in streams)


def _unpacked(stream):
    try:
        return zlib.decompress(stream.read_raw_bytes())
    except zlib.error:
        return b""


def _bytes(desk, path):
    with desk.get(path) as answer:
        assert answer.status_code == 200
        return answer.get_data()


def _check_bare(content):
    for mark in (*CANARIES, *MARKS):
        assert mark not in content, mark


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_beside_the_pixels_goes_out_with_a_preview_a_view_or_a_proof(office, desk, kind):
    code, content = office.order(), _written_upon(kind)
    files = {"request_id": "m1", "pictures": (BytesIO(content), f"marked.{kind.lower()}")}
    sent = desk.post(f"/job/{code}/pictures", data=files, content_type="multipart/form-data")
    assert sent.status_code == 303
    assert desk.post(f"/job/{code}/proof", data={"request_id": "m2"}).status_code == 303
    picture = office.read(
        lambda session: session.execute(select(Picture.code).where(Picture.original_name.like("marked%"))).scalar_one()
    )
    proof = office.read(lambda session: session.execute(select(Proof.code)).scalar_one())
    original = _bytes(desk, f"/picture/{picture}/original")
    assert original == content
    assert all(canary in original for canary in (OWNER.encode(), STORY.encode(), REMARK.encode()))
    for path in (f"/picture/{picture}/small.jpg", f"/picture/{picture}/on-piece.jpg",
                 f"/proof/{proof}/moving.gif", f"/proof/{proof}/page.pdf"):
        _check_bare(_opened(_bytes(desk, path)))
    # a GIF's own comment block: 21 FE (GIF89a, from memory); Pillow would repeat one from the source
    with Image.open(BytesIO(_bytes(desk, f"/proof/{proof}/moving.gif"))) as moving:
        assert "comment" not in moving.info
