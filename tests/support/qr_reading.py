"""Reading QR codes from pixels with two readers that share no code, and looking at their quiet zone."""

import cv2
import numpy as np
import zxingcpp

QUIET_MODULES = 4
"""ISO/IEC 18004: the symbol is surrounded by four empty modules (taken over, not re-read)."""


def read_with_zxing(pixels: np.ndarray) -> set[str]:
    """Every QR text that the first reader finds."""
    return {code.text for code in zxingcpp.read_barcodes(pixels, formats=zxingcpp.BarcodeFormat.QRCode)}


def read_with_opencv(pixels: np.ndarray) -> set[str]:
    """Every QR text that the second reader finds."""
    _, texts, _, _ = cv2.QRCodeDetector().detectAndDecodeMulti(pixels)
    return {text for text in texts if text}


def boxes(pixels: np.ndarray) -> dict[str, tuple[int, int, int, int]]:
    """Left, top, right, bottom of each symbol in pixels, right and bottom outside, by its text."""
    found = {}
    for code in zxingcpp.read_barcodes(pixels, formats=zxingcpp.BarcodeFormat.QRCode):
        near, far = code.position.top_left, code.position.bottom_right
        found[code.text] = _grown_to_ink(pixels, near.x, near.y, far.x, far.y)
    return found


def _grown_to_ink(pixels: np.ndarray, left: int, top: int, right: int, bottom: int) -> tuple[int, int, int, int]:
    """The exact box of the ink near a box that may be off by a few pixels."""
    margin = (right - left) // 20
    part = pixels[top - margin:bottom + margin, left - margin:right + margin] < 128
    rows, columns = np.flatnonzero(part.any(axis=1)), np.flatnonzero(part.any(axis=0))
    x, y = left - margin, top - margin
    return x + int(columns[0]), y + int(rows[0]), x + int(columns[-1]) + 1, y + int(rows[-1]) + 1


def quiet_zone_is_empty(pixels: np.ndarray, box: tuple[int, int, int, int], *, modules: int) -> bool:
    """Whether four modules around the symbol are white; one pixel of blur at the edge of the ink is let off."""
    left, top, right, bottom = box
    quiet = int(QUIET_MODULES * (right - left) / modules)
    around = pixels[top - quiet:bottom + quiet, left - quiet:right + quiet].copy()
    around[quiet - 1:-quiet + 1, quiet - 1:-quiet + 1] = 255
    return bool((around > 240).all())
