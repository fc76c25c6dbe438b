"""The process in which PDFs are written: ``python -m logbook.paper.child MEGABYTES``."""

import json
import sys
from multiprocessing.connection import Connection

from logbook.refusals import Refused
from logbook.warmchild import answer_for_ever, limit

PDF = b"P"
REFUSED = b"R"


def main() -> None:
    """Answer requests until the parent goes away."""
    limit(memory_bytes=int(sys.argv[1]) * 2**20)
    answer_for_ever(_answer)


def _answer(requests: Connection) -> bytes:
    order = json.loads(requests.recv_bytes())
    assets = {name: requests.recv_bytes() for name in order["assets"]}
    try:
        from logbook.paper.pdf import pdf_bytes

        return PDF + pdf_bytes(order["html"], assets)
    except Refused as refusal:
        return REFUSED + refusal.sentence.encode()
    except MemoryError:
        return REFUSED + b"The paper needs more memory than the PDF writer may use. Print fewer sheets at once."


if __name__ == "__main__":
    main()
