"""QR codes as inline drawings."""

import ipaddress
from functools import lru_cache
from typing import Any
from urllib.parse import urlsplit

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


def opens_here_only(address: str) -> bool:
    """Whether an address leads to the reading machine itself, so that no phone or tablet can open it."""
    host = urlsplit(address).hostname or ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def serves_here_only(view: Any) -> bool:
    """Whether the codes of a paper, or of its labels, open on the shop's own machine only."""
    addresses = [getattr(view, "address", ""), *(label.address for label in getattr(view, "labels", ()))]
    return any(opens_here_only(address) for address in addresses if address)
