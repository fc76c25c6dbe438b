"""The first look at a picture that came in: what it is, whether it can be decoded to its end, and a small one of it.

Called by a process of its own where a stranger's file is opened (``background.opening``).
"""

from dataclasses import dataclass
from pathlib import Path

from logbook.engine import headers, proofing


@dataclass(frozen=True, slots=True)
class Looked:
    """A picture that will do; ``size`` is (wide, high) the right way up, ``preview`` a JPEG from its pixels only."""

    sha256: str
    format: str
    size: tuple[int, int]
    notes: tuple[str, ...]
    preview: bytes


def look(path: Path) -> Looked:
    """Describe a picture and decode all of it. Raises Refused with the reason where it cannot be interlaced."""
    source = headers.inspect(path)
    return Looked(source.sha256, source.format, source.size, source.notes, proofing.preview(source))
