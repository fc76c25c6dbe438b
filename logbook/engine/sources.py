"""One common ground for the pictures of a print: pixel kind, bits, profile, and decoding onto it.

Everything that changes a picture on the way (transparency, colour profile, bits)
is stated in a note; what cannot be brought together without loss is refused.
Profiles are converted by LittleCMS through Pillow.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import numpy as np
import simplejpeg
from PIL import Image, ImageFile

from logbook.engine.headers import FORMATS, TURNED, Source, inspect, unreadable
from logbook.refusals import Refused

__all__ = ["Ground", "Source", "common_ground", "decode", "inspect"]
_BAND_ROWS = 256


@dataclass(frozen=True, slots=True)
class Ground:
    """What every picture of a print is brought to: L, RGB or CMYK, 8 or 16 bits, one profile."""

    mode: str
    bits: int
    profile: bytes | None
    backdrop: tuple[int, int, int]
    notes: tuple[str, ...]

    @property
    def channels(self) -> int:
        """Samples per pixel."""
        return {"L": 1, "RGB": 3, "CMYK": 4}[self.mode]

    @property
    def kind(self) -> type:
        """The numpy type of one sample."""
        return np.uint16 if self.bits == 16 else np.uint8

    @property
    def paper(self) -> np.ndarray:
        """One pixel of bare paper: full light, or no ink in CMYK."""
        return np.full(self.channels, 0 if self.mode == "CMYK" else 2**self.bits - 1, dtype=self.kind)


def common_ground(sources: Sequence[Source], *, backdrop: tuple[int, int, int] = (255, 255, 255)) -> Ground:
    """Choose what all pictures are brought to, with a sentence for everything that this changes.

    All grey stays grey and all CMYK stays CMYK; any other mixture becomes RGB. The
    profile is that of the first picture that carries one for that space.
    Raises Refused where pictures cannot be brought together without loss.
    """
    notes = [note for source in sources for note in source.notes]
    families = {source.family for source in sources}
    mode = families.pop() if len(families) == 1 else "RGB"
    bits = max(source.bits for source in sources)
    profile = next((source.profile for source in sources if source.profile and source.family == mode), None)
    for source in sources:
        notes += _bringing(source, mode=mode, bits=bits, profile=profile, backdrop=backdrop)
    return Ground(mode, bits, profile, backdrop, tuple(notes))


def _bringing(source: Source, *, mode: str, bits: int, profile: bytes | None,
              backdrop: tuple[int, int, int]) -> list[str]:
    name, notes = source.path.name, []
    if source.transparent:
        notes.append(f"{name}: transparency flattened on the colour {backdrop}.")
    if source.bits < bits:
        notes.append(f"{name}: 8 bits carried in 16 without change of value.")
    if source.family == "CMYK" and mode != "CMYK" and source.profile is None:
        raise Refused(f"{name} is CMYK without a colour profile and the others are not CMYK: "
                      "there is no telling which colours are meant; save all pictures in one colour space.",
                      field="pictures")
    if _needs_conversion(source, mode=mode, profile=profile):
        if bits == 16:
            raise Refused(f"{name} has another colour profile than the first picture, and 16-bit pictures cannot be "
                          "converted here without loss: save all pictures in one profile.", field="pictures")
        goal = "the first profile among the pictures" if profile else "sRGB"
        notes.append(f"{name}: converted from {_profile_name(source)} to {goal}, relative colorimetric.")
    elif source.family == "L" and mode == "RGB":
        notes.append(f"{name}: grey shown as equal red, green and blue.")
    return notes


def _needs_conversion(source: Source, *, mode: str, profile: bytes | None) -> bool:
    if source.family == mode:
        if mode == "RGB":
            return source.profile != profile
        return source.profile is not None and source.profile != profile
    return source.family == "CMYK" or source.profile is not None or profile is not None


def _profile_name(source: Source) -> str:
    if source.profile is None:
        return "sRGB (assumed, it carries no profile)"
    from PIL import ImageCms
    try:
        return ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(BytesIO(source.profile))).strip()
    except (ImageCms.PyCMSError, OSError):
        return "its own profile"


def _whole_pictures_only() -> None:
    """A picture that ends early is an error.

    Pillow decides that by one switch for the whole process, and other libraries
    (the PDF writer among them) turn it the other way when they are imported.
    """
    ImageFile.LOAD_TRUNCATED_IMAGES = False


def decode(source: Source, ground: Ground) -> np.ndarray:
    """The picture's pixels on the common ground: (high, wide, channels), 8 or 16 bits, the right way up."""
    _whole_pictures_only()
    try:
        pixels = _pixels(source, ground)
    except Refused:
        raise
    except Exception as error:  # decoders raise of every kind on damaged files
        raise unreadable(source.path, error) from None
    if pixels.shape[1::-1] != source.size:
        raise Refused(f"{source.path.name} decodes to another size than its header says.", field="pictures")
    return _fitted(pixels, ground)


def _pixels(source: Source, ground: Ground) -> np.ndarray:
    if source.bits == 16:
        return _sixteen_bit_grey(source) if source.family == "L" else _sixteen_bit_colour(source, ground)
    if source.format == "JPEG" and source.family in ("L", "RGB"):
        quick = None if _needs_conversion(source, mode=ground.mode, profile=ground.profile) else _plain_jpeg(source)
        if quick is not None:
            return quick
    return _eight_bit(source, ground)


def _plain_jpeg(source: Source) -> np.ndarray | None:
    """The same pixels as Pillow's, in a third of the time and beside other threads; None where it will not."""
    try:
        pixels = simplejpeg.decode_jpeg(source.path.read_bytes(), colorspace="GRAY" if source.family == "L" else "RGB",
                                        fastdct=False, fastupsample=False)
    except ValueError:  # Pillow has the last word on damaged files
        return None
    return _turned(pixels, source.orientation)


def _fitted(pixels: np.ndarray, ground: Ground) -> np.ndarray:
    if pixels.ndim == 2:
        pixels = pixels[:, :, None]
    if ground.bits == 16 and pixels.dtype == np.uint8:
        pixels = pixels.astype(np.uint16) * 257
    if pixels.shape[2] < ground.channels:
        pixels = np.repeat(pixels, ground.channels, axis=2)
    return np.ascontiguousarray(pixels)


def _eight_bit(source: Source, ground: Ground) -> np.ndarray:
    with Image.open(source.path, formats=FORMATS) as opened:
        image = _flattened(_loaded(opened, source), source, ground)
        if _needs_conversion(source, mode=ground.mode, profile=ground.profile):
            image = _converted(image, source, ground)
        return _as_array(image)


def _as_array(image: Image.Image) -> np.ndarray:
    """The pixels, copied band by band: Pillow's own way holds a large picture three times over."""
    bands = (np.asarray(image.crop((0, top, image.width, top + rows))) for top, rows in _bands(image.height))
    first = next(bands)
    pixels: np.ndarray = np.empty((image.height, *first.shape[1:]), dtype=first.dtype)
    pixels[:len(first)] = first
    done = len(first)
    for band in bands:
        pixels[done:done + len(band)] = band
        done += len(band)
    return pixels


def _bands(high: int) -> Iterator[tuple[int, int]]:
    for top in range(0, high, _BAND_ROWS):
        yield top, min(_BAND_ROWS, high - top)


def _loaded(image: Image.Image, source: Source) -> Image.Image:
    """The picture upright. Pillow turns a TIFF by itself, but scrambles an uncompressed one lying on its side."""
    if _scrambled(image, source):
        return _upright(Image.fromarray(_tiff_as_stored(source)), source.orientation)
    image.load()
    return image if source.format == "TIFF" or source.orientation == 1 else _upright(image, source.orientation)


def _scrambled(image: Image.Image, source: Source) -> bool:
    return source.format == "TIFF" and source.orientation in TURNED and image.info.get("compression") == "raw"


_UPRIGHT: dict[int, Any] = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_270, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""Exif 2.32 (CIPA DC-008, 2019), orientation: what turns each mark upright."""


def _upright(image: Image.Image, orientation: int) -> Image.Image:
    return image.transpose(_UPRIGHT[orientation])


def _flattened(image: Image.Image, source: Source, ground: Ground) -> Image.Image:
    if not source.transparent:
        return image if image.mode == source.family else image.convert(source.family)
    flat = Image.new(source.family, image.size)
    for top, rows in _bands(image.height):
        band = image.crop((0, top, image.width, top + rows)).convert("RGBA")
        mixed = Image.alpha_composite(Image.new("RGBA", band.size, (*ground.backdrop, 255)), band).convert("RGB")
        flat.paste(mixed if source.family == "RGB" else mixed.convert("L"), (0, top))
    return flat


def _converted(image: Image.Image, source: Source, ground: Ground) -> Image.Image:
    from PIL import ImageCms  # most prints need no conversion
    if source.family == "L" and source.profile is None:
        image = image.convert("RGB")
    start = _cms(source.profile)
    converted = ImageCms.profileToProfile(image, start, _cms(ground.profile), outputMode=ground.mode,
                                          renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
                                          flags=ImageCms.Flags.BLACKPOINTCOMPENSATION)
    assert converted is not None  # None only when converting in place
    return converted


def _cms(profile: bytes | None) -> Any:
    from PIL import ImageCms
    if profile is None:
        return ImageCms.createProfile("sRGB")
    return ImageCms.ImageCmsProfile(BytesIO(profile))


def _sixteen_bit_grey(source: Source) -> np.ndarray:
    with Image.open(source.path, formats=FORMATS) as image:
        if _scrambled(image, source):
            return _turned(_tiff_as_stored(source), source.orientation)
        image.load()
        pixels = np.asarray(image).astype(np.uint16)
        if source.format == "TIFF" or source.orientation == 1:
            return pixels
    return _turned(pixels, source.orientation)


def _turned(pixels: np.ndarray, orientation: int) -> np.ndarray:
    if orientation in TURNED:
        pixels = np.swapaxes(pixels, 0, 1)
    flip_rows, flip_columns = orientation in (3, 4, 7, 8), orientation in (2, 3, 6, 7)
    pixels = pixels[::-1] if flip_rows else pixels
    return pixels[:, ::-1] if flip_columns else pixels


def _sixteen_bit_colour(source: Source, ground: Ground) -> np.ndarray:
    return _turned(_sixteen_bit_flattened(_tiff_as_stored(source), source, ground), source.orientation)


def _tiff_as_stored(source: Source) -> np.ndarray:
    """A TIFF's pixels of 8 or 16 bits in the order of the file."""
    import tifffile  # only such pictures need it
    with tifffile.TiffFile(source.path) as file:
        page: Any = file.pages[0]
        if page.dtype not in (np.uint8, np.uint16) or page.photometric.name not in ("MINISBLACK", "RGB", "SEPARATED"):
            raise Refused(f"{source.path.name} has samples of the kind {page.dtype}, {page.photometric.name}; "
                          "save it upright as grey, RGB or CMYK with 8 or 16 bits.", field="pictures")
        try:
            pixels: np.ndarray = page.asarray()
        except ValueError:
            raise Refused(f"{source.path.name}: 16-bit colour can be read uncompressed or with deflate, "
                          f"not with {page.compression.name}.", field="pictures") from None
        return np.moveaxis(pixels, 0, -1) if page.planarconfig == 2 else pixels


def _sixteen_bit_flattened(pixels: np.ndarray, source: Source, ground: Ground) -> np.ndarray:
    if not source.transparent:
        return pixels
    backdrop = np.array(ground.backdrop, dtype=np.uint64) * 257
    flat: np.ndarray = np.empty((*pixels.shape[:2], 3), dtype=np.uint16)
    for top, rows in _bands(len(pixels)):
        band = pixels[top:top + rows].astype(np.uint64)
        alpha = band[..., 3:]
        flat[top:top + rows] = (band[..., :3] * alpha + backdrop * (65535 - alpha) + 32767) // 65535
    return flat
