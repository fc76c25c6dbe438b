"""Raster files: written whole or not at all, with exact resolution and their own story inside.

TIFF 6.0 (Adobe, 1992) with RATIONAL resolution, strips, no compression by default;
BigTIFF (the 64-bit variant of the same layout) where 4 GiB would not do.
"""

import hashlib
from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO
from pathlib import Path
from typing import Protocol

import numpy as np
from PIL import Image

from logbook.engine import tiff
from logbook.engine.wholefile import WholeFile
from logbook.refusals import Refused

COMPRESSIONS = ("none", "lzw", "deflate")
STRIP_BYTES = 2**21
DEFLATE_LEVEL = 1
"""Of isal, which goes to 3: four times as quick as zlib's own level 1 on strips, and as small."""
PHASE_TOLERANCE = Fraction(1, 100)
"""The most, in lenticules over the print, that a file format's rounding of the resolution may move the phase."""


@dataclass(frozen=True, slots=True)
class Form:
    """What a raster file holds: dots, samples, exact dots per inch, profile, description."""

    dots: tuple[int, int]
    channels: int
    bits: int
    dpi: tuple[Fraction, Fraction]
    compression: str = "none"
    profile: bytes | None = None
    description: str = ""
    software: str = ""

    @property
    def row_bytes(self) -> int:
        """Bytes of one row of dots."""
        return self.dots[0] * self.channels * self.bits // 8

    @property
    def strip_rows(self) -> int:
        """Rows in one strip of the file."""
        return max(1, min(self.dots[1], STRIP_BYTES // self.row_bytes))


@dataclass(frozen=True, slots=True)
class Hashes:
    """SHA-256 of the decoded pixels (rows from the top, samples interleaved) and of the file."""

    pixels_sha256: str
    file_sha256: str


class Writer(Protocol):
    """Takes bands from the top down; ``encode`` may run in any thread, ``append`` in order."""

    def encode(self, band: np.ndarray) -> list[bytes | np.ndarray]:
        """Make the band's strips ready for the file."""

    def append(self, band: np.ndarray, strips: list[bytes | np.ndarray]) -> None:
        """Write the next band."""

    def finish(self) -> Hashes:
        """Complete the file, bring it to the disk, give it its name."""


def check_format(path: Path, *, dpi: tuple[Fraction, Fraction], lpi: Fraction, inches: Fraction, across: bool) -> None:
    """Refuse a file format that cannot hold the resolution exactly enough, with the phase error as the reason.

    ``inches`` is the print's length along the pitch axis.
    """
    kind, pitch_dpi = path.suffix.lower(), dpi[0] if across else dpi[1]
    if kind in (".tif", ".tiff", ".pdf"):
        return
    if kind == ".png":
        error = abs(Fraction(_per_metre(pitch_dpi)) * Fraction(254, 10000) / pitch_dpi - 1) * inches * lpi
        if error > PHASE_TOLERANCE:
            raise Refused(f"PNG keeps whole dots per metre, which would move the phase by {float(error):.3f} lenticule "
                          "over this print (at most 0.01 is allowed): write a TIFF.", field="out")
        return
    if kind in (".jpg", ".jpeg", ".webp", ".jp2", ".avif", ".heic"):
        error = abs(Fraction(int(pitch_dpi + Fraction(1, 2))) / pitch_dpi - 1) * inches * lpi
        raise Refused(f"{kind[1:].upper()} is lossy, it smears the strips into each other, and rounds the resolution "
                      f"to whole dots per inch, here a phase error of {float(error):.3f} lenticule over the print: "
                      "write a TIFF.", field="out")
    raise Refused(f"{path.name}: the file kind {kind or 'without a suffix'} is not written; use .tif.", field="out")


def _per_metre(dpi: Fraction) -> int:
    return int(dpi * Fraction(10000, 254) + Fraction(1, 2))


class TiffWriter:
    """Streams a TIFF from the top down; memory does not grow with the print."""

    def __init__(self, whole: WholeFile, form: Form) -> None:
        self._whole, self._form = whole, form
        self._pixels = hashlib.sha256()
        self._big = form.row_bytes * form.dots[1] + 2**20 + len(form.profile or b"") >= 2**32
        self._plain = form.compression == "none"
        self._lengths: list[int] = []
        self._put(self._front())

    def _front(self) -> bytes:
        if not self._plain:
            return tiff.header(directory=0, big=self._big)
        form = self._form
        whole, rest = divmod(form.dots[1], form.strip_rows)
        self._lengths = [form.strip_rows * form.row_bytes] * whole + ([rest * form.row_bytes] if rest else [])
        return tiff.header_and_directory(form, self._lengths, big=self._big)

    def _put(self, data: bytes | np.ndarray) -> None:
        self._whole.write(memoryview(data if isinstance(data, bytes) else data.data).cast("B"))

    def encode(self, band: np.ndarray) -> list[bytes | np.ndarray]:
        """The band as strips of the file."""
        if self._plain:
            return [band]
        pack = _deflated if self._form.compression == "deflate" else _lzw
        rows = self._form.strip_rows
        return [pack(band[top:top + rows]) for top in range(0, len(band), rows)]

    def append(self, band: np.ndarray, strips: list[bytes | np.ndarray]) -> None:
        """Write the next band, a whole number of strips except at the bottom."""
        self._pixels.update(band.data.cast("B"))
        for strip in strips:
            self._put(strip)
            if not self._plain:
                self._lengths.append(len(strip))

    def finish(self) -> Hashes:
        """Complete the file, bring it to the disk, give it its name."""
        file_sha256 = self._whole.sha256() if self._plain else self._back()
        self._whole.commit()
        return Hashes(self._pixels.hexdigest(), file_sha256)

    def _back(self) -> str:
        """The directory behind the strips and its place in the header; the hash of the whole."""
        self._whole.settle()
        file = self._whole.file
        end = file.tell()
        at = end + end % 2
        file.write(b"\0" * (at - end) + tiff.directory_behind(self._form, self._lengths, at=at, big=self._big))
        file.seek(0)
        file.write(tiff.header(directory=at, big=self._big))
        file.seek(0)
        return hashlib.file_digest(file, "sha256").hexdigest()


def _differenced(band: np.ndarray) -> np.ndarray:
    """TIFF predictor 2: each sample less its left neighbour of the same channel."""
    result = band.copy()
    result[:, 1:] -= band[:, :-1]
    return result


def _deflated(band: np.ndarray) -> bytes:
    from isal import isal_zlib  # only compressed prints need it
    packed: bytes = isal_zlib.compress(_differenced(band).data, DEFLATE_LEVEL)
    return packed


def _lzw(band: np.ndarray) -> bytes:
    """One LZW strip, encoded by libtiff through Pillow and taken out of the small file it makes."""
    from PIL.TiffImagePlugin import TiffImageFile  # only compressed prints need it
    kept = BytesIO()
    row = _differenced(band).reshape(len(band), -1).view(np.uint8)
    Image.fromarray(row).save(kept, "TIFF", compression="tiff_lzw", strip_size=row.nbytes)
    with TiffImageFile(BytesIO(kept.getvalue())) as image:
        offsets, lengths = image.tag_v2[273], image.tag_v2[279]
    if len(offsets) != 1:
        raise Refused("The LZW encoder cut a strip in two: write the TIFF without compression.", field="compression")
    return kept.getvalue()[offsets[0]:offsets[0] + lengths[0]]


class PngWriter:
    """Collects the print in memory and lets Pillow write it."""

    def __init__(self, whole: WholeFile, form: Form) -> None:
        if form.channels == 4 or (form.bits == 16 and form.channels > 1):
            raise Refused("PNG holds neither CMYK nor, here, 16-bit colour: write a TIFF.", field="out")
        self._whole, self._form = whole, form
        self._bands: list[np.ndarray] = []

    def encode(self, band: np.ndarray) -> list[bytes | np.ndarray]:
        """A copy: the band's memory is used again."""
        return [band.copy()]

    def append(self, band: np.ndarray, strips: list[bytes | np.ndarray]) -> None:
        """Keep the next band."""
        self._bands += [strip for strip in strips if isinstance(strip, np.ndarray)]

    def finish(self) -> Hashes:
        """Write, bring to the disk, name."""
        from PIL.PngImagePlugin import PngInfo
        form, kept = self._form, BytesIO()
        pixels = np.concatenate(self._bands)
        image = Image.fromarray(pixels[:, :, 0] if form.channels == 1 else pixels)
        text = PngInfo()
        text.add_text("Description", form.description)
        text.add_text("Software", form.software)
        info = {"icc_profile": form.profile} if form.profile else {}
        image.save(kept, "PNG", dpi=tuple(_per_metre(value) * 0.0254 for value in form.dpi), pnginfo=text, **info)
        self._whole.write(kept.getbuffer())
        self._whole.commit()
        return Hashes(hashlib.sha256(pixels.data).hexdigest(), self._whole.sha256())


def writer(whole: WholeFile, form: Form) -> Writer:
    """The writer for the file's suffix."""
    kind = whole.path.suffix.lower()
    if kind == ".pdf":
        from logbook.engine.printpdf import PdfWriter  # only such prints wait for its library
        return PdfWriter(whole, form)
    return PngWriter(whole, form) if kind == ".png" else TiffWriter(whole, form)
