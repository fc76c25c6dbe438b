"""QR codes as inline drawings."""

from functools import lru_cache

import segno
from markupsafe import Markup

QUIET_MODULES = 4
"""Width of the empty border in modules (ISO/IEC 18004: taken over, not re-read)."""


@lru_cache(maxsize=256)
def qr(address: str, label: str = "") -> Markup:
    """An address as a QR code with its quiet zone, error recovery M, black on white.

    The drawing has no size of its own; the stylesheet gives it one.
    """
    code = segno.make_qr(address, error="m")
    drawing = code.svg_inline(border=QUIET_MODULES, dark="#000", light="#fff", omitsize=True, title=label or None,
                              svgclass="qr", lineclass=None)
    return Markup(drawing)  # noqa: S704 - built by the library from modules only, the title escaped by it
