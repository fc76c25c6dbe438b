"""Strangers' files are opened in a limited process: what comes in, what is refused, what it may use."""

import struct
import zlib
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image
from skimage import data

from logbook.background.opening import PictureOpener, memory_for
from logbook.engine.looking import look
from logbook.refusals import Refused

PHOTOGRAPH = Image.fromarray(data.astronaut())
GREY = PHOTOGRAPH.convert("L")


@pytest.fixture(scope="module")
def opener():
    made = PictureOpener()
    yield made
    made.close()


def _saved(image, kind, **more):
    out = BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def _tiff(pixels, **more):
    out = BytesIO()
    tifffile.imwrite(out, pixels, **more)
    return out.getvalue()


def _exif(orientation):
    marks = Image.Exif()
    marks[274], marks[271], marks[0x8825] = orientation, "A camera", {1: "N", 2: (52.0, 31.0, 0.0)}
    return marks.tobytes()


PIXELS = np.asarray(PHOTOGRAPH)
TAKEN = {
    "plain.jpg": _saved(PHOTOGRAPH, "JPEG"),
    "grey.jpg": _saved(GREY, "JPEG"),
    "inks.jpg": _saved(PHOTOGRAPH.convert("CMYK"), "JPEG"),
    "turned.jpg": _saved(PHOTOGRAPH, "JPEG", exif=_exif(6)),
    "rising.jpg": _saved(PHOTOGRAPH, "JPEG", progressive=True),
    "two-inside.jpg": _saved(PHOTOGRAPH, "MPO", save_all=True, append_images=[GREY.convert("RGB")]),
    "plain.png": _saved(PHOTOGRAPH, "PNG"),
    "grey.png": _saved(GREY, "PNG"),
    "bits.png": _saved(GREY.convert("1"), "PNG"),
    "table.png": _saved(PHOTOGRAPH.quantize(64), "PNG"),
    "clear.png": _saved(PHOTOGRAPH.convert("RGBA"), "PNG"),
    "deep-grey.png": _saved(Image.fromarray(np.asarray(GREY).astype(np.uint16) * 257), "PNG"),
    "plain.tif": _saved(PHOTOGRAPH, "TIFF"),
    "grey.tif": _saved(GREY, "TIFF"),
    "inks.tif": _saved(PHOTOGRAPH.convert("CMYK"), "TIFF"),
    "packed.tif": _saved(PHOTOGRAPH, "TIFF", compression="tiff_lzw"),
    "deflated.tif": _saved(PHOTOGRAPH, "TIFF", compression="tiff_adobe_deflate"),
    "deep.tif": _tiff(PIXELS.astype(np.uint16) * 257, photometric="rgb"),
    "deep-grey.tif": _tiff(np.asarray(GREY).astype(np.uint16) * 257),
}
REFUSED = {
    "drawing.eps": (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\nshowpage\n", "EPS"),
    "drawing.svg": (b'<svg xmlns="http://www.w3.org/2000/svg"><rect width="9" height="9"/></svg>', "SVG"),
    "declared.svg": (b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"/>', "SVG"),
    "paper.pdf": (_saved(PHOTOGRAPH, "PDF"), "PDF"),
    "moving.gif": (_saved(PHOTOGRAPH, "GIF"), "GIF"),
    "moving.png": (_saved(PHOTOGRAPH, "PNG", save_all=True, append_images=[PHOTOGRAPH.rotate(90)]), "2 pages"),
    "pages.tif": (_saved(PHOTOGRAPH, "TIFF", save_all=True, append_images=[PHOTOGRAPH]), "2 pages"),
    "layers.tif": (_saved(PHOTOGRAPH, "TIFF", tiffinfo={37724: b"layers of a drawing program"}), "layers"),
    "large-profile.tif": (_saved(GREY, "TIFF", icc_profile=bytes(4_000_001)), "4000001 bytes; the limit is 4000000"),
    "web.webp": (_saved(PHOTOGRAPH, "WEBP"), "WebP"),
    "old.bmp": (_saved(PHOTOGRAPH, "BMP"), "BMP"),
    "phone.heic": (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(64), "share or export it as JPEG"),
    "phone.avif": (b"\0\0\0\x18ftypavif\0\0\0\0mif1avif" + bytes(64), "AVIF"),
    "layers.psd": (b"8BPS\0\1" + bytes(64), "layers"),
    "packed.zip": (b"PK\x03\x04" + bytes(64), "packed folder"),
    "named-only.jpg": (b"This is a letter, not a picture.\n", "cannot be read as a JPEG"),
    "empty.jpg": (b"", "cannot be read as a JPEG"),
    "short.jpg": (TAKEN["plain.jpg"][:4000], "cannot"),
    "short.png": (TAKEN["plain.png"][:4000], "cannot"),
    "short.tif": (TAKEN["plain.tif"][:4000], "cannot be decoded"),
    "real.tif": (_tiff(np.zeros((9, 9), dtype=np.float32)), "save it"),
    "deep-colour.png": (b"", ""),
}


def _deep_colour_png():
    """16 bits of colour as PNG, by the format's own description (W3C PNG): Pillow would open it as 8 bits."""
    def chunk(kind, content):
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    rows = b"".join(b"\0" + bytes(8 * 6) for _ in range(8))
    header = struct.pack(">IIBBBBB", 8, 8, 16, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


REFUSED["deep-colour.png"] = (_deep_colour_png(), "16")


def test_there_are_about_forty_kinds_of_files():
    assert len(TAKEN) + len(REFUSED) >= 40


@pytest.mark.parametrize("name", TAKEN)
def test_what_a_shop_receives_is_taken_as_the_same_picture_that_this_process_would_open(opener, tmp_path, name):
    path = tmp_path / name
    path.write_bytes(TAKEN[name])
    seen = opener.look(path)
    assert seen == look(path)
    assert seen.size == (512, 512)
    with Image.open(BytesIO(seen.preview)) as small:
        assert (small.format, small.size) == ("JPEG", (512, 512))
    if name == "two-inside.jpg":
        assert "first" in " ".join(seen.notes)


@pytest.mark.parametrize("name", REFUSED)
def test_everything_else_is_refused_with_its_reason(opener, tmp_path, name):
    content, words = REFUSED[name]
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(Refused) as refused:
        opener.look(path)
    assert refused.value.sentence.startswith(name)
    assert words in refused.value.sentence
    assert refused.value.sentence.count("\n") == 0


def test_nothing_that_a_camera_wrote_beside_the_pixels_survives_in_a_preview(opener, tmp_path):
    # EXIF 2.32 (marker APP1 "Exif"), XMP (APP1), comments (COM), and the place: none of them may be mailed on.
    path = tmp_path / "turned.jpg"
    comment = b"\xff\xfe" + struct.pack(">H", 2 + 9) + b"a comment"
    xmp = b"http://ns.adobe.com/xap/1.0/\0<x/>"
    xmp = b"\xff\xe1" + struct.pack(">H", 2 + len(xmp)) + xmp
    path.write_bytes(TAKEN["turned.jpg"][:2] + comment + xmp + TAKEN["turned.jpg"][2:])
    small = opener.look(path).preview
    for mark in (b"Exif", b"A camera", b"ns.adobe.com", b"a comment", b"\xff\xe1", b"\xff\xfe"):
        assert mark in path.read_bytes()
        assert mark not in small[:700]  # before the first scan: markers stand there
    with Image.open(BytesIO(small)) as image:
        assert dict(image.getexif()) == {}
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def _bomb(path, side):
    """A PNG of one bit whose pixels need far more memory than its bytes."""
    Image.new("1", (side, side)).save(path)


def test_a_picture_that_needs_more_than_the_limit_is_refused_and_the_next_is_opened(tmp_path):
    _bomb(tmp_path / "bomb.png", 19_000)
    opener = PictureOpener(megabytes=600)
    try:
        with pytest.raises(Refused, match=r"bomb\.png"):
            opener.look(tmp_path / "bomb.png")
        (tmp_path / "plain.jpg").write_bytes(TAKEN["plain.jpg"])
        assert opener.look(tmp_path / "plain.jpg").format == "JPEG"
    finally:
        opener.close()


def test_a_picture_that_takes_too_long_is_given_up_and_the_next_is_opened(tmp_path):
    _bomb(tmp_path / "slow.png", 12_000)
    (tmp_path / "plain.jpg").write_bytes(TAKEN["plain.jpg"])
    opener = PictureOpener()
    try:
        opener.look(tmp_path / "plain.jpg")
        opener.child.seconds = 0.02
        with pytest.raises(Refused, match="took longer"):
            opener.look(tmp_path / "slow.png")
        opener.child.seconds = 120
        assert opener.look(tmp_path / "plain.jpg").format == "JPEG"
    finally:
        opener.close()


def test_more_pixels_than_the_owner_allows_are_refused_before_anything_is_decoded(tmp_path):
    _bomb(tmp_path / "wide.png", 3_000)
    opener = PictureOpener(pixels=4_000_000)
    try:
        with pytest.raises(Refused, match="limit of 4 million"):
            opener.look(tmp_path / "wide.png")
    finally:
        opener.close()


def test_the_child_stays_warm_and_knows_neither_the_web_nor_the_records(opener, tmp_path):
    (tmp_path / "plain.jpg").write_bytes(TAKEN["plain.jpg"])
    opener.look(tmp_path / "plain.jpg")
    first = opener.child.process.pid
    opener.look(tmp_path / "plain.jpg")
    assert opener.child.process.pid == first
    limits = Path(f"/proc/{first}/limits")
    assert not limits.parent.exists() or f"space         {opener.megabytes * 2**20}" in limits.read_text()


def test_the_memory_follows_the_pixels_that_are_allowed():
    assert memory_for(400_000_000) > memory_for(4_000_000) > 500
