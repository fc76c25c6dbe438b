"""Strangers' files, opened in a process of its own that is limited in memory and time and kept warm between files.

What a decoder can be led to do stays there: the web's own process only reads a
few plain values and a small JPEG. The wall clock holds everywhere, memory and
processor time where the system knows such limits.
"""

import json
import os
from pathlib import Path
from typing import Any

from logbook.background.opening_child import DONE
from logbook.engine.headers import PIXEL_CAP
from logbook.engine.looking import Looked
from logbook.refusals import Refused
from logbook.warmchild import Died, Overran, WarmChild

SECONDS = 90.0
BASE_MEGABYTES = 512
BYTES_PER_PIXEL = 20
"""The dearest kind, a TIFF of 16 bits with transparency, took 18.2 for 25 million pixels; 8-bit kinds took 4 to 11."""


class PictureOpener:
    """Opens pictures one after the other in a warm child; may be shared by threads. Close it in the end."""

    def __init__(self, *, pixels: int = PIXEL_CAP, seconds: float = SECONDS, megabytes: int | None = None) -> None:
        self.pixels = pixels
        self.megabytes = megabytes or memory_for(pixels)
        self.child = WarmChild("logbook.background.opening_child", str(self.megabytes), str(pixels), seconds=seconds)

    def look(self, path: Path) -> Looked:
        """``engine.looking.look`` within the limits. Raises Refused, also for a file that overruns them."""
        told, preview = self._asked("look", path)
        return Looked(told["sha256"], told["format"], tuple(told["size"]), tuple(told["notes"]), preview)

    def story(self, path: Path) -> dict[str, Any]:
        """``engine.readback.read_provenance`` within the limits; a file that overruns them is Refused."""
        return self._asked("story", path)[0]

    def pitch(self, path: Path, **asked: Any) -> dict[str, Any]:
        """``engine.photo.read_photo`` within the limits: what it told, and what was found as lines to draw.

        ``asked``: chart (its JSON), distance_mm, thickness_mm, index. Raises Refused with the reason.
        """
        return self._asked("pitch", path, **asked)[0]

    def close(self) -> None:
        """Let the child go."""
        self.child.close()

    def _asked(self, work: str, path: Path, **more: Any) -> tuple[dict[str, Any], bytes]:
        try:
            answer = self.child.ask([json.dumps({"work": work, "path": str(path), **more}).encode()])
        except Overran:
            raise Refused(f"{path.name} took longer than {self.child.seconds:g} seconds to open and was given up; "
                          "save it anew, smaller or as a plain JPEG.") from None
        except Died:
            raise Refused(f"{path.name} could not be opened within {self.megabytes} MB of memory, or is made to break "
                          "what opens it; save it anew, smaller or as a plain JPEG.") from None
        if answer[:1] == DONE:
            told, _, content = answer[1:].partition(b"\n")
            return json.loads(told), content
        sentence, field = json.loads(answer[1:])
        raise Refused(sentence, field=field)


def memory_for(pixels: int) -> int:
    """Megabytes of address space for pictures of so many pixels, but never more than three quarters of the machine."""
    wanted = BASE_MEGABYTES + pixels * BYTES_PER_PIXEL // 2**20
    try:
        there = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2**20
    except (AttributeError, ValueError, OSError):  # not on Windows
        return wanted
    return min(wanted, max(BASE_MEGABYTES * 2, there * 3 // 4))
