"""A print as a PDF: the page exactly as large as the raster, every dot embedded once, lossless, unresampled.

ISO 32000: lengths in 1/72 inch, here to six decimals, which moves the phase by less than a millionth of a lenticule.
The compressed pixels are held in memory.
"""

import hashlib
from decimal import Decimal
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
import pikepdf
from isal import isal_zlib

from logbook.refusals import Refused

if TYPE_CHECKING:
    from logbook.engine.rasterfile import Form, Hashes
    from logbook.engine.wholefile import WholeFile

_SPACES = {1: "/DeviceGray", 3: "/DeviceRGB", 4: "/DeviceCMYK"}
_LARGEST_POINTS = 14_400
"""Largest page side that readers take without a larger user unit (ISO 32000-1, annex C)."""


def _points(inches: Fraction) -> Decimal:
    exact = inches * 72
    return round(Decimal(exact.numerator) / Decimal(exact.denominator), 6)


class PdfWriter:
    """Compresses the bands as they come and makes the page at the end."""

    def __init__(self, whole: "WholeFile", form: "Form") -> None:
        self._size = tuple(_points(dots / dpi) for dots, dpi in zip(form.dots, form.dpi, strict=True))
        if max(self._size) > _LARGEST_POINTS:
            raise Refused("A PDF page is at most 200 inches (5.08 m) long: write a TIFF.", field="out")
        self._whole, self._form, self._pixels = whole, form, hashlib.sha256()
        self._packer, self._packed = isal_zlib.compressobj(1), BytesIO()

    def encode(self, band: np.ndarray) -> list[bytes | np.ndarray]:
        """Nothing to prepare: one stream holds all bands."""
        return [band]

    def append(self, band: np.ndarray, strips: list[bytes | np.ndarray]) -> None:
        """Compress the next band; PDF wants 16-bit samples with the high byte first."""
        self._pixels.update(band.data.cast("B"))
        stored = band.astype(">u2") if self._form.bits == 16 else band
        self._packed.write(self._packer.compress(stored.view(np.uint8).data.cast("B")))

    def finish(self) -> "Hashes":
        """Make the page, bring it to the disk, name it."""
        from logbook.engine.rasterfile import Hashes
        self._packed.write(self._packer.flush())
        kept = BytesIO()
        with pikepdf.new() as pdf:
            pdf.pages.append(self._page(pdf))
            pdf.docinfo["/Subject"], pdf.docinfo["/Producer"] = self._form.description, self._form.software
            pdf.save(kept, deterministic_id=True)
        self._whole.write(kept.getbuffer())
        self._whole.commit()
        return Hashes(self._pixels.hexdigest(), self._whole.sha256())

    def _page(self, pdf: pikepdf.Pdf) -> pikepdf.Page:
        (wide, high), form = self._size, self._form
        image = pikepdf.Stream(
            pdf, self._packed.getvalue(), Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image, Width=form.dots[0],
            Height=form.dots[1], ColorSpace=self._space(pdf), BitsPerComponent=form.bits, Interpolate=False,
            Filter=pikepdf.Name.FlateDecode)
        return pikepdf.Page(pikepdf.Dictionary(
            Type=pikepdf.Name.Page, MediaBox=[0, 0, wide, high],
            Resources=pikepdf.Dictionary(XObject=pikepdf.Dictionary(Print=pdf.make_indirect(image))),
            Contents=pdf.make_stream(f"q {wide} 0 0 {high} 0 0 cm /Print Do Q".encode())))

    def _space(self, pdf: pikepdf.Pdf) -> pikepdf.Object:
        plain = pikepdf.Name(_SPACES[self._form.channels])
        if self._form.profile is None:
            return plain
        profile = pikepdf.Stream(pdf, self._form.profile, N=self._form.channels, Alternate=plain)
        return pikepdf.Array([pikepdf.Name.ICCBased, pdf.make_indirect(profile)])
