"""The process in which PDFs are written: ``python -m logbook.paper.child MEGABYTES``.

Reads requests from standard input, answers on standard output, ends when the
other side closes. Every message carries its length.
"""

import json
import sys
from multiprocessing.connection import Connection

from logbook.refusals import Refused

PDF = b"P"
REFUSED = b"R"


def main() -> None:
    """Answer requests until the parent goes away."""
    _limit(int(sys.argv[1]) * 2**20)
    requests = Connection(sys.stdin.fileno(), writable=False)
    answers = Connection(sys.stdout.fileno(), readable=False)
    while True:
        try:
            answers.send_bytes(_answer(requests))
        except (EOFError, BrokenPipeError):
            return


def _limit(bytes_: int) -> None:
    try:
        import resource
    except ImportError:  # not on Windows: there the time limit alone holds
        return
    resource.setrlimit(resource.RLIMIT_AS, (bytes_, bytes_))


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
