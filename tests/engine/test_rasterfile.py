"""Print files: exact resolution read back by second libraries, whole or not at all."""

import errno
import hashlib
import json
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pikepdf
import pypdfium2
import pytest
import tifffile
from PIL import Image, ImageCms

from logbook.engine import rasterfile, readback, wholefile
from logbook.engine.interlace import Cancelled, interlace
from logbook.engine.plan import make_plan
from logbook.engine.readback import read_provenance, read_raster
from logbook.engine.wholefile import WholeFile
from logbook.lengths import parse_length
from logbook.refusals import Refused


@pytest.fixture
def pictures(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for number in (1, 2):
        noise = np.random.default_rng(number).integers(0, 256, (60, 50, 3), dtype=np.uint8)
        Image.fromarray(noise).save(folder / f"{number}.png", icc_profile=profile)
    return [folder / "1.png", folder / "2.png"]


def planned(**more):
    asked = {"lpi": "20.12", "dpi": "362.16", "width": parse_length("8in"), "height": parse_length("0.9in"),
             "flip": "left-right", "pictures": 2, **more}
    return make_plan(**asked)


@pytest.mark.parametrize("dpi", ["362.16", "720", "1440x719.9", "719.953125"])
@pytest.mark.parametrize("compression", ["none", "lzw", "deflate"])
def test_two_other_libraries_read_back_the_exact_resolution_the_profile_and_the_pixels(
        pictures, tmp_path, dpi, compression):
    # TIFF 6.0 (1992): XResolution 282, YResolution 283 RATIONAL, ResolutionUnit 296 = 2 (inch); 34675 ICC profile.
    out = tmp_path / "out.tif"
    described = interlace(planned(dpi=dpi, compression=compression), pictures, out).as_json()
    across, down = (Fraction(part) for part in (dpi.split("x") * 2)[:2])
    with Image.open(out) as image, Image.open(pictures[0]) as source:
        pixels = np.asarray(image)
        assert (image.tag_v2[282], image.tag_v2[283], image.tag_v2[296]) == (across, down, 2)
        assert image.info["icc_profile"] == source.info["icc_profile"]
    with tifffile.TiffFile(out) as file:
        page = file.pages[0]
        assert [Fraction(*page.tags[tag].value) for tag in (282, 283)] == [across, down]
        assert page.compression == {"none": 1, "lzw": 5, "deflate": 8}[compression]
        assert page.tags[34675].value is not None
        if compression != "lzw":  # tifffile leaves LZW to another package
            assert (page.asarray() == pixels).all()
    assert described["pixels_sha256"] == hashlib.sha256(pixels.tobytes()).hexdigest()
    assert described["file_sha256"] == hashlib.sha256(out.read_bytes()).hexdigest()
    assert [Fraction(value) for value in described["dpi"]] == [across, down]
    assert (read_raster(out).pixels == pixels).all()
    assert read_raster(out).dpi == (across, down)


def test_every_compression_and_png_hold_the_same_pixels(pictures, tmp_path):
    hashes = {interlace(planned(dpi="200", compression=kind), pictures, tmp_path / f"{kind}.tif").hashes.pixels_sha256
              for kind in ("none", "lzw", "deflate")}
    hashes.add(interlace(planned(dpi="200"), pictures, tmp_path / "out.png").hashes.pixels_sha256)
    assert len(hashes) == 1


def test_past_four_gibibytes_the_file_becomes_a_bigtiff_by_itself(tmp_path):
    # BigTIFF: version 43, offsets of 8 bytes. The pixels are written sparse: only the first and last band are real.
    form = rasterfile.Form(dots=(40_000, 36_000), channels=3, bits=8, dpi=(Fraction(720), Fraction(9054, 25)))
    out = tmp_path / "big.tif"
    with WholeFile(out) as whole:
        writer = rasterfile.TiffWriter(whole, form)
        band = np.full((1, 40_000, 3), 7, dtype=np.uint8)
        writer.append(band, writer.encode(band))
        whole.settle()
        whole.file.seek(form.row_bytes * (form.dots[1] - 2), 1)
        writer.append(band, writer.encode(band))
        writer.finish()
    assert out.stat().st_size > 4 * 2**30
    with tifffile.TiffFile(out) as file:
        assert file.is_bigtiff
        page = file.pages[0]
        assert page.shape == (36_000, 40_000, 3)
        assert Fraction(*page.tags[283].value) == Fraction(9054, 25)
        pixels = read_raster(out).pixels
        assert (pixels[0] == 7).all()
        assert (pixels[-1] == 7).all()
        assert not pixels[18_000].any()


def test_png_is_taken_only_where_its_whole_dots_per_metre_hardly_move_the_phase(pictures, tmp_path):
    # PNG (W3C, 2003), pHYs: whole dots per metre. 362.16 dots per inch become 14258 per metre: -0.00302 lenticule
    # over 8 in at 20.12 lines per inch (worked by hand); at 75 lines per inch it would be 0.0113.
    interlace(planned(), pictures, tmp_path / "out.png")
    with Image.open(tmp_path / "out.png") as image:
        assert round(image.info["dpi"][0] / 0.0254) == 14258
    assert read_raster(tmp_path / "out.png").dpi == (Fraction(9054, 25), Fraction(9054, 25))
    with pytest.raises(Refused, match=r"phase by 0\.011 lenticule"):
        interlace(planned(lpi="75"), pictures, tmp_path / "other.png")
    assert not (tmp_path / "other.png").exists()


def test_jpeg_is_refused_with_its_phase_error(pictures, tmp_path):
    # JFIF 1.02 (1992): density in 16-bit integers. 362.16 becomes 362: 0.0711 lenticule over 8 in (worked by hand).
    with pytest.raises(Refused, match=r"lossy.*0\.071 lenticule"):
        interlace(planned(), pictures, tmp_path / "out.jpg")
    with pytest.raises(Refused, match=r"use \.tif"):
        interlace(planned(), pictures, tmp_path / "out.bmp")


def test_a_png_is_refused_for_ink(tmp_path):
    # PNG (W3C, 2003), 11.2.2: colour types 0, 2, 3, 4, 6 are grey, RGB, palette; none is of inks.
    for number in (1, 2):
        Image.new("CMYK", (50, 60), (9, 9, 9, number)).save(tmp_path / f"{number}.tif")
    with pytest.raises(Refused, match="PNG holds neither CMYK"):
        interlace(planned(), [tmp_path / "1.tif", tmp_path / "2.tif"], tmp_path / "out.png")


def test_an_encoder_that_cuts_a_strip_in_two_spoils_no_print(pictures, tmp_path, monkeypatch):
    save = Image.Image.save

    def cut(image, *words, strip_size, **more):
        save(image, *words, strip_size=strip_size // 2, **more)

    monkeypatch.setattr(Image.Image, "save", cut)
    with pytest.raises(Refused, match="cut a strip in two"):
        interlace(planned(compression="lzw"), pictures, tmp_path / "out.tif")
    assert left_behind(tmp_path) == ["in"]


@pytest.mark.parametrize("dpi", ["362.16", "1440x720"])
def test_a_pdf_page_is_exactly_the_raster_and_holds_every_dot(pictures, tmp_path, dpi):
    # ISO 32000: one unit is 1/72 inch. The page and its picture are read by two other libraries.
    plan, out = planned(dpi=dpi), tmp_path / "out.pdf"
    described = interlace(plan, pictures, out, provenance={"run": "R-7K2"}).as_json()
    interlace(plan, pictures, tmp_path / "out.tif")
    with Image.open(tmp_path / "out.tif") as image, pypdfium2.PdfDocument(out) as pdf:
        page = pdf[0]
        for points, inches in zip(page.get_size(), plan.inches, strict=True):
            assert points == pytest.approx(float(inches * 72), rel=1e-6)
        (embedded,) = page.get_objects()
        assert embedded.get_px_size() == plan.dots
        assert (embedded.get_bitmap(render=False).to_numpy()[:, :, ::-1] == np.asarray(image)).all()
    with pikepdf.open(out) as pdf:
        assert [Decimal(side) * 1_000_000 % 1 for side in pdf.pages[0].MediaBox] == [0] * 4
        raw = pdf.pages[0].Resources.XObject.Print
        assert hashlib.sha256(raw.read_bytes()).hexdigest() == described["pixels_sha256"]
        assert str(raw.ColorSpace[0]) == "/ICCBased"
    assert described["file_sha256"] == hashlib.sha256(out.read_bytes()).hexdigest()
    assert read_provenance(out)["run"] == "R-7K2"
    with pytest.raises(Refused, match="is a PDF"):
        read_raster(out)


@pytest.mark.parametrize(("mode", "space"), [("L", "/DeviceGray"), ("RGB", "/DeviceRGB"), ("CMYK", "/DeviceCMYK")])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_pdf_keeps_grey_colour_and_ink_in_eight_and_sixteen_bits(tmp_path, mode, space, kind):
    # ISO 32000: samples of 16 bits stand with the high byte first.
    channels = {"L": 1, "RGB": 3, "CMYK": 4}[mode]
    band = np.random.default_rng(1).integers(0, np.iinfo(kind).max, (4, 6, channels), dtype=kind)
    form = rasterfile.Form(dots=(6, 4), channels=channels, bits=band.itemsize * 8, dpi=(Fraction(72), Fraction(72)))
    with WholeFile(tmp_path / "out.pdf") as whole:
        writer = rasterfile.writer(whole, form)
        writer.append(band, writer.encode(band))
        writer.finish()
    with pikepdf.open(tmp_path / "out.pdf") as pdf:
        raw = pdf.pages[0].Resources.XObject.Print
        assert (str(raw.ColorSpace), int(raw.BitsPerComponent)) == (space, band.itemsize * 8)
        assert raw.read_bytes() == band.astype(band.dtype.newbyteorder(">")).tobytes()
    assert read_provenance(tmp_path / "out.pdf") == {}


def test_a_pdf_page_longer_than_readers_take_is_refused(pictures, tmp_path):
    with pytest.raises(Refused, match="200 inches"):
        interlace(planned(dpi="50", width=parse_length("6m")), pictures, tmp_path / "out.pdf")
    (tmp_path / "cut.pdf").write_bytes(b"%PDF-1.7\n")
    with pytest.raises(Refused, match="cannot be read"):
        read_provenance(tmp_path / "cut.pdf")


def test_the_file_tells_its_plan_its_pictures_and_what_the_caller_adds_and_no_clock(pictures, tmp_path):
    added = {"run": "R-7K2", "pitch_source": "T-4"}
    for name in ("out.tif", "again.tif"):
        interlace(planned(offset="0.25"), pictures, tmp_path / name, provenance=added)
    assert (tmp_path / "out.tif").read_bytes() == (tmp_path / "again.tif").read_bytes()
    with Image.open(tmp_path / "out.tif") as image:
        told = json.loads(image.tag_v2[270])["interlaced"]
        assert image.tag_v2[305].startswith("Lens Bench Logbook")
        assert 306 not in image.tag_v2  # DateTime
    assert (told["run"], told["pitch_source"], told["lpi"], told["offset"]) == ("R-7K2", "T-4", "20.12", "1/4")
    assert told["picture_sha256"] == [hashlib.sha256(path.read_bytes()).hexdigest() for path in pictures]
    assert read_provenance(tmp_path / "out.tif")["run"] == "R-7K2"
    interlace(planned(), pictures, tmp_path / "out.png", provenance={"run": "R-7K2"})
    assert read_provenance(tmp_path / "out.png")["run"] == "R-7K2"
    assert read_provenance(pictures[0]) == {}


def left_behind(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_cancelled_run_leaves_the_previous_file_untouched_and_nothing_else(pictures, tmp_path):
    (tmp_path / "out.tif").write_text("the previous print")
    asked = iter([False, False, True])
    with pytest.raises(Cancelled):
        interlace(planned(dpi="1440", height=parse_length("3in")), pictures, tmp_path / "out.tif",
                  cancelled=lambda: next(asked))
    assert left_behind(tmp_path) == ["in", "out.tif"]
    assert (tmp_path / "out.tif").read_text() == "the previous print"


@pytest.mark.parametrize(("number", "words"), [(errno.ENOSPC, "the disk is full"), (errno.EFBIG, "larger than this")])
def test_a_disk_that_fails_half_way_leaves_one_sentence_and_nothing_else(
        pictures, tmp_path, monkeypatch, number, words):
    def fail(*_):
        raise OSError(number, "no")

    monkeypatch.setattr(rasterfile.TiffWriter, "append", fail)
    with pytest.raises(Refused, match=words):
        interlace(planned(), pictures, tmp_path / "out.tif")
    assert left_behind(tmp_path) == ["in"]


def test_the_disk_is_asked_to_keep_the_bytes_before_the_name_appears(pictures, tmp_path, monkeypatch):
    order = []
    monkeypatch.setattr(wholefile.os, "fsync", lambda _: order.append((tmp_path / "out.tif").exists()))
    interlace(planned(), pictures, tmp_path / "out.tif")
    assert order == [False, True]  # the file before the rename, the folder after it


def test_progress_rises_to_one(pictures, tmp_path):
    seen = []
    interlace(planned(dpi="1440", height=parse_length("3in")), pictures, tmp_path / "out.tif", progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1
    assert len(seen) > 4


@pytest.mark.parametrize(("change", "field"), [
    ({"lpi": "0"}, "lpi"), ({"lpi": "19.1234567"}, "lpi"), ({"lpi": "200"}, None), ({"flip": "round"}, "flip"),
    ({"fit": "squeeze"}, "fit"), ({"pictures": 61}, "pictures"), ({"dpi": "0x720"}, "dpi"), ({"dpi": "7x7x7"}, "dpi"),
    ({"dpi": None}, "dpi"), ({"dots_per_lenticule": 18}, "dpi"), ({"shares": "60/40/10"}, "shares"),
    ({"shares": "60/0"}, "shares"), ({"shares": "a/b"}, "shares"), ({"shares": "95/5"}, None),
    ({"order": [1, 1]}, "order"),
    ({"offset": "x"}, "offset"), ({"compression": "zip"}, "compression"), ({"width": parse_length("99m")}, "width"),
    ({"dpi": None, "dots_per_lenticule": 1}, "dots_per_lenticule"), ({"dpi_down": "300"}, "dpi"),
    ({"dpi": None, "dots_per_lenticule": 18, "dpi_down": "300", "flip": "up-down"}, "dpi_down"),
    ({"bleed": parse_length("-1mm", positive=False)}, "bleed"), ({"dpi": "1e-5"}, None),
])
def test_a_plan_that_cannot_be_is_refused_with_its_field(change, field):
    with pytest.raises(Refused) as refusal:
        planned(**change)
    assert refusal.value.field == field


@pytest.mark.parametrize("name", ["no/such/out.tif", "in", "in/1.png"])
def test_an_output_that_cannot_be_is_refused(pictures, tmp_path, name):
    with pytest.raises(Refused) as refusal:
        interlace(planned(dpi="200"), pictures, tmp_path / name)
    assert refusal.value.field == "out"
    with pytest.raises(Refused, match="for 2 pictures"):
        interlace(planned(), pictures[:1], tmp_path / "out.tif")
    assert left_behind(tmp_path) == ["in"]


def test_a_file_that_is_no_print_is_refused_when_read_back(tmp_path, monkeypatch):
    (tmp_path / "words.tif").write_text("only words")
    (tmp_path / "cut.tif").write_bytes(b"II*\0\x08\0\0\0\xff\xff")
    (tmp_path / "cut.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    for name in ("words.tif", "cut.tif", "cut.png", "none.tif", "."):
        with pytest.raises(Refused):
            read_raster(tmp_path / name)
    level = np.full((40, 50), 0.5, dtype=np.float32)
    tifffile.imwrite(tmp_path / "light.tif", level)
    with pytest.raises(Refused, match="8 or 16 bits"):
        read_raster(tmp_path / "light.tif")
    Image.new("RGBA", (4, 4)).save(tmp_path / "glass.png")
    with pytest.raises(Refused, match="not a grey or RGB"):
        read_raster(tmp_path / "glass.png")
    tifffile.imwrite(tmp_path / "packed.tif", (level * 100).astype(np.uint8), compression="zlib")
    assert read_raster(tmp_path / "packed.tif").dpi is None  # it tells no unit
    monkeypatch.setattr(readback, "PIXEL_CAP", 400)
    with pytest.raises(Refused, match="too large to read at once"):
        read_raster(tmp_path / "packed.tif")
