"""Pictures as a shop receives them: what is kept, what is stated, what is refused."""

import io
import random
from pathlib import Path

import numpy as np
import pytest
import skimage
import sklearn
import tifffile
from PIL import Image, ImageCms

from logbook.engine import headers
from logbook.engine.sources import common_ground, decode, inspect
from logbook.refusals import Refused

IMAGES = Path(sklearn.__file__).parent / "datasets" / "images"
DATA = Path(skimage.__file__).parent / "data"


def opened(path, *others, **more):
    sources = [inspect(path), *map(inspect, others)]
    ground = common_ground(sources, **more)
    return decode(sources[0], ground), ground


def saved(folder, name, image, **more):
    image.save(folder / name, **more)
    return folder / name


@pytest.fixture
def photograph():
    with Image.open(IMAGES / "china.jpg") as image:
        return image.copy()


def test_a_jpeg_decodes_to_the_pixels_of_the_reference_decoder(tmp_path, photograph):
    grey = photograph.convert("L")
    for name, image, more in [("444.jpg", photograph, {"subsampling": 0}), ("420.jpg", photograph, {"subsampling": 2}),
                              ("progressive.jpg", photograph, {"progressive": True}), ("grey.jpg", grey, {})]:
        path = saved(tmp_path, name, image, quality=88, **more)
        pixels, _ = opened(path)
        with Image.open(path) as reference:
            assert (pixels.squeeze() == np.asarray(reference)).all()


@pytest.mark.parametrize("mark", range(1, 9))
@pytest.mark.parametrize("kind", ["jpg", "png", "tif", "lzw.tif", "deep.tif", "deep.png"])
def test_the_orientation_mark_is_applied_once_and_stated(tmp_path, mark, kind):
    # Exif 2.32 (CIPA DC-008, 2019), tag 274: where row 0 and column 0 of the stored pixels lie when upright.
    upright = np.zeros((16, 24), dtype=np.uint8)
    upright[:8, :8], upright[:8, 16:] = 255, 128  # bright at the top left, grey at the top right
    turn = {1: lambda a: a, 2: np.fliplr, 3: lambda a: np.rot90(a, 2), 4: np.flipud, 5: np.transpose,
            6: lambda a: np.rot90(a, 1), 7: lambda a: np.rot90(a, 2).T, 8: lambda a: np.rot90(a, -1)}
    exif = Image.Exif()
    exif[274] = mark
    stored = np.ascontiguousarray(turn[mark](upright)).astype(np.uint16 if kind.startswith("deep") else np.uint8)
    path = saved(tmp_path, f"turned.{kind}", Image.fromarray(stored), exif=exif,
                 **{"jpg": {"quality": 100}, "lzw.tif": {"compression": "tiff_lzw"}}.get(kind, {}))
    pixels, ground = opened(path)
    assert inspect(path).size == (24, 16)
    assert np.abs(pixels[:, :, 0].astype(int) - upright).max() <= 3
    assert any("upright" in note for note in ground.notes) == (mark != 1)


def test_transparency_is_flattened_on_the_stated_colour(tmp_path):
    clear = np.zeros((2, 2, 4), dtype=np.uint8)
    clear[0] = (200, 100, 50, 255)
    path = saved(tmp_path, "clear.png", Image.fromarray(clear))
    pixels, ground = opened(path, backdrop=(1, 2, 3))
    assert pixels.tolist() == [[[200, 100, 50]] * 2, [[1, 2, 3]] * 2]
    assert "(1, 2, 3)" in ground.notes[0]
    tifffile.imwrite(tmp_path / "clear.tif", clear.astype(np.uint16) * 257, photometric="rgb",
                     extrasamples=["unassalpha"])
    pixels, ground = opened(tmp_path / "clear.tif", backdrop=(1, 2, 3))
    assert (pixels.dtype, (pixels // 257).tolist()) == (np.uint16, [[[200, 100, 50]] * 2, [[1, 2, 3]] * 2])


def test_pictures_of_different_profiles_are_brought_to_the_first_and_it_is_said(tmp_path, photograph):
    # The reference is LittleCMS called by hand on the whole picture.
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    srgb = ImageCms.ImageCmsProfile(io.BytesIO(made))
    other = (DATA / "rocket.jpg").read_bytes()
    with Image.open(io.BytesIO(other)) as rocket:
        profile = rocket.info["icc_profile"]
    first = saved(tmp_path, "first.png", photograph, icc_profile=made)
    second = saved(tmp_path, "second.png", photograph, icc_profile=profile)
    ground = common_ground([inspect(first), inspect(second)])
    assert ground.profile == made
    assert any("second.png: converted" in note for note in ground.notes)
    expected = ImageCms.profileToProfile(photograph, ImageCms.ImageCmsProfile(io.BytesIO(profile)), srgb,
                                         renderingIntent=1, flags=0x2000)
    assert (decode(inspect(second), ground) == np.asarray(expected)).all()
    assert (decode(inspect(first), ground) == np.asarray(photograph)).all()


def test_cmyk_stays_cmyk_alone_and_is_refused_without_a_profile_beside_rgb(tmp_path, photograph):
    inks = photograph.convert("CMYK")
    path = saved(tmp_path, "inks.tif", inks)
    pixels, ground = opened(path)
    assert (ground.mode, ground.channels, ground.paper.tolist()) == ("CMYK", 4, [0, 0, 0, 0])
    assert (pixels == np.asarray(inks)).all()
    with pytest.raises(Refused, match="without a colour profile"):
        common_ground([inspect(path), inspect(IMAGES / "flower.jpg")])


def test_grey_beside_colour_becomes_equal_red_green_and_blue(tmp_path):
    grey = saved(tmp_path, "grey.png", Image.fromarray(np.arange(6, dtype=np.uint8).reshape(2, 3)))
    pixels, ground = opened(grey, saved(tmp_path, "colour.png", Image.new("RGB", (3, 2))))
    assert pixels.tolist() == [[[v] * 3 for v in row] for row in ((0, 1, 2), (3, 4, 5))]
    assert any("equal red" in note for note in ground.notes)


def test_a_grey_picture_with_a_profile_of_its_own_is_converted_beside_colour(tmp_path, photograph):
    # scikit-image's page.png carries a grey profile; LittleCMS called by hand on the whole picture is the reference.
    ground = common_ground([inspect(IMAGES / "china.jpg"), inspect(DATA / "page.png")])
    with Image.open(DATA / "page.png") as page:
        expected = ImageCms.profileToProfile(
            page, ImageCms.ImageCmsProfile(io.BytesIO(page.info["icc_profile"])),
            ImageCms.ImageCmsProfile(io.BytesIO(photograph.info["icc_profile"])), renderingIntent=1, outputMode="RGB",
            flags=0x2000)
    assert (decode(inspect(DATA / "page.png"), ground) == np.asarray(expected)).all()
    assert any("page.png: converted" in note for note in ground.notes)
    plain = saved(tmp_path, "plain.png", Image.new("L", (4, 4), 90))
    pixels = decode(inspect(plain), common_ground([inspect(IMAGES / "china.jpg"), inspect(plain)]))
    assert np.abs(pixels.astype(int) - 90).max() <= 1  # sRGB to sRGB: the same levels


def test_sixteen_and_eight_bits_meet_at_sixteen_unless_profiles_differ(tmp_path, photograph):
    deep = np.full((4, 5, 3), 1000, dtype=np.uint16)
    tifffile.imwrite(tmp_path / "deep.tif", deep, photometric="rgb")
    plain = saved(tmp_path, "plain.png", Image.new("RGB", (5, 4), (1, 2, 255)))
    pixels, ground = opened(plain, tmp_path / "deep.tif")
    assert (ground.bits, pixels[0, 0].tolist()) == (16, [257, 514, 65535])
    assert any("without change of value" in note for note in ground.notes)
    with pytest.raises(Refused, match="16-bit pictures cannot be converted"):
        common_ground([inspect(IMAGES / "china.jpg"), inspect(tmp_path / "deep.tif")])
    lzw = saved(tmp_path, "lzw.tif", photograph, compression="tiff_lzw").read_bytes()
    assert opened(tmp_path / "lzw.tif")[0].shape == (427, 640, 3)
    assert len(lzw) > 1000


def test_sixteen_bit_colour_in_a_compression_that_cannot_be_read_is_refused(tmp_path):
    import cv2
    ramp = np.repeat(np.arange(300, dtype=np.uint16)[None, :, None] * 9, 3, axis=2)
    cv2.imwrite(str(tmp_path / "lzw.tif"), ramp, [cv2.IMWRITE_TIFF_COMPRESSION, 5])
    with pytest.raises(Refused, match="not with LZW"):
        opened(tmp_path / "lzw.tif")


def test_sixteen_bit_pictures_are_kept_or_refused_with_the_reason(tmp_path):
    # Pillow opens 16-bit colour as 8 bits without a word; this ramp has 300 levels within one 8-bit step and more.
    ramp = np.repeat(np.arange(30000, 30300, dtype=np.uint16)[None, :, None], 3, axis=2)
    tifffile.imwrite(tmp_path / "ramp.tif", ramp, photometric="rgb")
    tifffile.imwrite(tmp_path / "planar.tif", np.moveaxis(ramp, 2, 0), photometric="rgb", planarconfig="separate")
    for name in ("ramp.tif", "planar.tif"):
        assert (opened(tmp_path / name)[0] == ramp).all()
    assert (opened(saved(tmp_path, "grey.png", Image.fromarray(ramp[:, :, 0])))[0] == ramp[:, :, :1]).all()
    assert (opened(saved(tmp_path, "grey.tif", Image.fromarray(ramp[:, :, 0])))[0] == ramp[:, :, :1]).all()
    import cv2
    cv2.imwrite(str(tmp_path / "ramp.png"), ramp)
    with pytest.raises(Refused, match="16-bit colour PNG"):
        inspect(tmp_path / "ramp.png")
    tifffile.imwrite(tmp_path / "float.tif", ramp.astype(np.float32), photometric="rgb")
    with pytest.raises(Refused):
        opened(tmp_path / "float.tif")
    with pytest.raises(Refused, match="pixel kind F"):
        inspect(saved(tmp_path, "light.tif", Image.fromarray(ramp[:, :, 0].astype(np.float32))))
    tifffile.imwrite(tmp_path / "negative.tif", ramp[:, :, 0], photometric="miniswhite",
                     extratags=[(274, "H", 1, 6, True)])  # on its side, which another decoder reads
    with pytest.raises(Refused, match="MINISWHITE"):
        opened(tmp_path / "negative.tif")


def test_pages_layers_animations_and_other_formats_are_refused(tmp_path, photograph, monkeypatch):
    pages = saved(tmp_path, "pages.tif", photograph, save_all=True, append_images=[photograph])
    frames = saved(tmp_path, "frames.png", photograph, save_all=True, append_images=[photograph.rotate(9)])
    layers = saved(tmp_path, "layers.tif", photograph, tiffinfo={37724: b"Adobe Photoshop Document Data Block"})
    gif = saved(tmp_path, "moving.gif", photograph)
    for path, words in ((pages, "2 pages"), (frames, "2 pages"), (layers, "layers"), (gif, "is a GIF")):
        with pytest.raises(Refused, match=words):
            inspect(path)
    anything = Image.open
    with monkeypatch.context() as patched:  # a decoder that takes more than it was asked to
        patched.setattr(headers.Image, "open", lambda path, **_formats: anything(path))
        with pytest.raises(Refused, match="is not a JPEG, PNG or TIFF"):
            inspect(gif)
    (tmp_path / "empty.jpg").write_bytes(b"")
    for name in ("empty.jpg", "missing.jpg", "."):
        with pytest.raises(Refused):
            inspect(tmp_path / name)


def test_a_jpeg_with_more_pictures_inside_is_taken_by_its_first_and_it_is_said(tmp_path, photograph):
    path = saved(tmp_path, "phone.jpg", photograph, format="MPO", save_all=True, append_images=[photograph.rotate(9)])
    assert inspect(path).format == "JPEG"
    assert "first is used" in inspect(path).notes[0]


def test_a_truncated_picture_is_refused_in_one_sentence(tmp_path, photograph):
    for kind in ("jpg", "png", "tif"):
        whole = saved(tmp_path, f"whole.{kind}", photograph).read_bytes()
        (tmp_path / f"cut.{kind}").write_bytes(whole[:len(whole) // 2])
        with pytest.raises(Refused, match=f"cut.{kind} is damaged or"):
            opened(tmp_path / f"cut.{kind}")


def test_the_pixel_limit_is_checked_before_decoding(tmp_path, monkeypatch):
    path = saved(tmp_path, "large.png", Image.new("L", (400, 300)))
    with pytest.raises(Refused, match="400 × 300"):
        inspect(path, pixel_cap=100_000)
    for limit in (100_000, 50_000):  # Pillow warns above its limit and raises above twice that
        monkeypatch.setattr(headers.Image, "MAX_IMAGE_PIXELS", limit)
        with pytest.raises(Refused, match="more pixels than the limit"):
            inspect(path)


def test_a_png_that_tells_its_orientation_behind_its_pixels_is_turned_too(tmp_path):
    # PNG (W3C, third edition, 2025), 11.3.4.4: eXIf may stand anywhere between IHDR and IEND but among the IDATs.
    exif = Image.Exif()
    exif[274] = 6
    content = saved(tmp_path, "first.png", Image.new("L", (24, 16)), exif=exif).read_bytes()
    at = content.index(b"eXIf") - 4
    end = at + 12 + int.from_bytes(content[at:at + 4], "big")
    (tmp_path / "last.png").write_bytes(content[:at] + content[end:-12] + content[at:end] + content[-12:])
    assert (inspect(tmp_path / "last.png").orientation, inspect(tmp_path / "last.png").size) == (6, (16, 24))


def test_a_profile_of_another_kind_or_size_is_left_out_or_refused_and_it_is_said(tmp_path, monkeypatch):
    with Image.open(IMAGES / "china.jpg") as image:
        profile = image.info["icc_profile"]
    path = saved(tmp_path, "grey.png", Image.new("L", (4, 4)), icc_profile=profile)
    assert inspect(path).profile is None
    assert "left out" in inspect(path).notes[0]
    monkeypatch.setattr(headers, "PROFILE_CAP", len(profile) - 1)
    with pytest.raises(Refused, match=f"profile of {len(profile)} bytes"):
        inspect(path)


def test_damaged_files_never_raise_anything_but_a_refusal(tmp_path, photograph):
    chance = random.Random(20261125)
    small = photograph.resize((90, 60))
    kinds = [saved(tmp_path, f"whole.{kind}", small).read_bytes() for kind in ("jpg", "png", "tif")]
    tifffile.imwrite(tmp_path / "deep.tif", np.asarray(small).astype(np.uint16) * 200, photometric="rgb")
    kinds.append((tmp_path / "deep.tif").read_bytes())
    refused = 0
    for trial in range(400):
        data = bytearray(kinds[trial % 4])
        for _ in range(chance.randint(1, 12)):
            data[chance.randrange(len(data) if trial % 3 else 400)] = chance.randrange(256)
        (tmp_path / "damaged").write_bytes(data)
        try:
            opened(tmp_path / "damaged")
        except Refused as refusal:
            refused += 1
            assert "\n" not in refusal.sentence
    assert refused > 50


def test_a_truncated_picture_stays_refused_after_another_library_turned_the_switch(tmp_path, photograph, monkeypatch):
    # the PDF writer's library sets this for the whole process when it is imported (seen in its source)
    monkeypatch.setattr("PIL.ImageFile.LOAD_TRUNCATED_IMAGES", True)
    whole = saved(tmp_path, "whole.png", photograph).read_bytes()
    (tmp_path / "cut.png").write_bytes(whole[: len(whole) // 2])
    source = inspect(tmp_path / "cut.png")
    with pytest.raises(Refused, match="damaged"):
        decode(source, common_ground([source]))
