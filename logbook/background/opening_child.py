"""The process in which pictures are opened: ``python -m logbook.background.opening_child MEGABYTES PIXELS``."""

import json
import os
import sys
from multiprocessing.connection import Connection
from pathlib import Path

from logbook.refusals import Refused
from logbook.warmchild import answer_for_ever, limit

DONE, REFUSED = b"D", b"R"
PROCESSOR_SECONDS = 60


def main() -> None:
    """Answer requests until the parent goes away."""
    # each thread of linear algebra would reserve memory that a picture needs
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    megabytes, pixels = map(int, sys.argv[1:])
    limit(memory_bytes=megabytes * 2**20)
    from logbook.engine import headers

    headers.allow_pixels(pixels)
    answer_for_ever(_answer)


def _answer(requests: Connection) -> bytes:
    order = json.loads(requests.recv_bytes())
    limit(processor_seconds=PROCESSOR_SECONDS)
    try:
        told, content = _WORK[order["work"]](Path(order["path"]), order)
    except Refused as refusal:
        return REFUSED + json.dumps([refusal.sentence, refusal.field]).encode()
    except MemoryError:
        return REFUSED + json.dumps([f"{Path(order['path']).name} needs more memory than opening a picture may use; "
                                     "save it with fewer pixels.", None]).encode()
    return DONE + json.dumps(told).encode() + b"\n" + content


def _look(path: Path, _: dict) -> tuple[dict, bytes]:
    from logbook.engine.looking import look

    seen = look(path)
    return {"sha256": seen.sha256, "format": seen.format, "size": seen.size, "notes": seen.notes}, seen.preview


def _story(path: Path, _: dict) -> tuple[dict, bytes]:
    from logbook.engine.readback import read_provenance

    return read_provenance(path), b""


def _pitch(path: Path, order: dict) -> tuple[dict, bytes]:
    from logbook.engine import photo
    from logbook.engine.distance import lens_layer
    from logbook.engine.photo_chart import printed_chart
    from logbook.engine.photo_drawn import drawn

    chart = printed_chart(order["chart"])
    lens = lens_layer(thickness_mm=order["thickness_mm"], index=order["index"])
    read = photo.read_photo(path, chart, distance_mm=order["distance_mm"], lens=lens)
    return {**photo.as_json(read), "drawn": drawn(read, chart)}, b""


_WORK = {"look": _look, "story": _story, "pitch": _pitch}

if __name__ == "__main__":
    main()
