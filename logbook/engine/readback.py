"""Raster files read back: exact resolution, the file's own story, rows of dots without loading the whole print."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from logbook.engine.headers import PIXEL_CAP
from logbook.refusals import Refused

_CENTIMETRES_PER_INCH = Fraction(254, 100)


@dataclass(frozen=True)
class Raster:
    """A raster file: ``pixels`` (high, wide, channels), mapped from the disk where it is uncompressed;
    ``dpi`` exact (across, down) or None where the file has none; ``story`` what the file tells of itself."""

    path: Path
    pixels: np.ndarray
    mode: str
    dpi: tuple[Fraction, Fraction] | None
    story: Mapping[str, Any]
    software: str
    profile: bytes | None

    @property
    def dots(self) -> tuple[int, int]:
        """Dots across and down."""
        return self.pixels.shape[1], self.pixels.shape[0]


def read_raster(path: Path | str) -> Raster:
    """Open a TIFF or PNG print. Raises Refused where it cannot be read."""
    path = Path(path)
    kind = _kind(path)
    if kind == "PDF":
        raise Refused(f"{path.name} is a PDF: views and traces of dots need the TIFF.", field="file")
    try:
        return _read_tiff(path) if kind == "TIFF" else _read_png(path)
    except Refused:
        raise
    except Exception as error:  # decoders raise of every kind on damaged files
        raise Refused(f"{path.name} cannot be read ({str(error)[:120]}).", field="file") from None


def read_provenance(path: Path | str) -> dict[str, Any]:
    """What an interlaced file tells of itself: plan, run, pitch source, hashes, versions. Empty for other files."""
    path = Path(path)
    if _kind(path) == "PDF":
        return _pdf_provenance(path)
    raster = read_raster(path)
    return {**raster.story, "software": raster.software} if raster.story else {}


def _kind(path: Path) -> str:
    try:
        with path.open("rb") as file:
            start = file.read(8)
    except FileNotFoundError:
        raise Refused(f"{path.name}: there is no such file.", field="file") from None
    except OSError as error:
        raise Refused(f"{path.name} cannot be read: {error.strerror}.", field="file") from None
    if start[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "TIFF"
    if start == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if start.startswith(b"%PDF-"):
        return "PDF"
    raise Refused(f"{path.name} is neither a TIFF, a PNG nor a PDF print.", field="file")


def _pdf_provenance(path: Path) -> dict[str, Any]:
    import pikepdf  # only such prints need it
    try:
        with pikepdf.open(path) as pdf:
            told, software = (str(pdf.docinfo.get(name, "")) for name in ("/Subject", "/Producer"))
    except pikepdf.PdfError as error:
        raise Refused(f"{path.name} cannot be read ({str(error)[:120]}).", field="file") from None
    return {**_story(told), "software": software} if _story(told) else {}


def _story(text: str) -> dict[str, Any]:
    try:
        told = json.loads(text).get("interlaced")
    except (ValueError, AttributeError):
        return {}
    return told if isinstance(told, dict) else {}


def _read_tiff(path: Path) -> Raster:
    import tifffile  # a quarter of a second to import, and only reading needs it
    with tifffile.TiffFile(path) as file:
        page: Any = file.pages[0]
        tags = {name: page.tags[name].value for name in (270, 282, 283, 296, 305, 34675) if name in page.tags}
        mode = {"MINISBLACK": "L", "RGB": "RGB", "SEPARATED": "CMYK"}.get(page.photometric.name)
        if mode is None or page.dtype not in (np.uint8, np.uint16):
            raise Refused(f"{path.name} is not a grey, RGB or CMYK print of 8 or 16 bits.", field="file")
        pixels = _tiff_pixels(path, page)
    if pixels.ndim == 2:
        pixels = pixels[:, :, None]
    told = _story(str(tags.get(270, "")))
    return Raster(path, pixels[:, :, :{"L": 1, "RGB": 3, "CMYK": 4}[mode]], mode, _tiff_dpi(tags), told,
                  str(tags.get(305, "")), tags.get(34675))


def _tiff_pixels(path: Path, page: Any) -> np.ndarray:
    if page.is_memmappable:
        return np.memmap(path, dtype=page.dtype.newbyteorder(page.parent.byteorder), mode="r",
                         offset=page.dataoffsets[0], shape=page.shape)
    if page.size > 4 * PIXEL_CAP:
        raise Refused(f"{path.name} is compressed and too large to read at once.", field="file")
    if page.compression.name == "LZW":
        with Image.open(path, formats=("TIFF",)) as image:
            return np.asarray(image)
    pixels: np.ndarray = page.asarray()
    return pixels


def _tiff_dpi(tags: Mapping[int, Any]) -> tuple[Fraction, Fraction] | None:
    if 282 not in tags or 283 not in tags or int(tags.get(296, 2)) not in (2, 3):
        return None
    unit = _CENTIMETRES_PER_INCH if int(tags.get(296, 2)) == 3 else Fraction(1)
    values = [Fraction(*tags[tag]) * unit for tag in (282, 283) if tags[tag][1]]
    return (values[0], values[1]) if len(values) == 2 and min(values) > 0 else None


def _read_png(path: Path) -> Raster:
    with Image.open(path, formats=("PNG",)) as image:
        image.load()
        if image.mode not in ("L", "RGB", "I;16"):
            raise Refused(f"{path.name} is not a grey or RGB print.", field="file")
        pixels, text = np.asarray(image), image.info
    told = _story(str(text.get("Description", "")))
    dpi = None
    if told.get("dpi"):
        dpi = Fraction(told["dpi"][0]), Fraction(told["dpi"][1])
    elif text.get("dpi"):
        across, down = (Fraction(round(value / 0.0254)) * Fraction(254, 10000) for value in text["dpi"])
        dpi = across, down
    mode = "RGB" if pixels.ndim == 3 else "L"
    return Raster(path, pixels if pixels.ndim == 3 else pixels[:, :, None], mode, dpi, told,
                  str(text.get("Software", "")), text.get("icc_profile"))
