"""The shop's own server in a process of its own, asked over loopback: for promises about the web process."""

import http.client
import mmap
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

from benchmarks.load import WITHOUT_TOKENS
from promised.ground import Ground
from support.programs import serving
from support.small_shop import SmallShop

_TOLD = """
import os, sys
from pathlib import Path
Path(sys.argv[1]).with_name("process").write_text(str(os.getpid()))
"""
EDGE = "----an-edge-between-parts"


class Caller:
    """Somebody signed in at such a server, on one connection; share it with no other thread."""

    def __init__(self, address: str, cookie: str, process: int) -> None:
        where = urlsplit(address)
        self.line = http.client.HTTPConnection(where.hostname or "", where.port, timeout=120)
        self.head, self.process, self._words = {"Cookie": f"bench-sign-in={cookie}"}, process, (address, cookie)

    def another(self) -> "Caller":
        """The same person on another connection."""
        return Caller(*self._words, self.process)

    def post(self, path: str, body: bytes, kind: str = "application/x-www-form-urlencoded") -> tuple[int, str]:
        """Status and page of one form."""
        self.line.request("POST", path, body, {**self.head, "Content-Type": kind})
        answer = self.line.getresponse()
        return answer.status, answer.read().decode(errors="replace")

    def send_file(self, path: str, name: str, content: bytes, request_id: str) -> tuple[int, str]:
        """Status and page of a form with one picture."""
        head = f'--{EDGE}\r\nContent-Disposition: form-data; name="request_id"\r\n\r\n{request_id}\r\n--{EDGE}\r\n'
        head += f'Content-Disposition: form-data; name="pictures"; filename="{name}"\r\n\r\n'
        body = head.encode() + content + f"\r\n--{EDGE}--\r\n".encode()
        return self.post(path, body, f"multipart/form-data; boundary={EDGE}")

    def megabytes(self) -> float:
        """Memory of the web process that is resident; 0 where the system does not tell."""
        told = Path(f"/proc/{self.process}/statm")
        return int(told.read_text().split()[1]) * mmap.PAGESIZE / 2**20 if told.exists() else 0.0


@contextmanager
def served(ground: Ground, shop: SmallShop) -> Iterator[Caller]:
    """The owner at ``logbook serve`` of this shop, without the tokens of forms; the twin's sabotage runs first."""
    data, cookie = shop.shop.settings.data, ground.cookie(shop)
    shop.shop.database.close()
    program = [sys.executable, "-W", "ignore", "-c", _TOLD + ground.sabotage + WITHOUT_TOKENS, data,
               "--processes", "1"]  # fmt: skip
    with serving(program, log=data.with_name("served.log")) as address:
        caller = Caller(address, cookie, int(data.with_name("process").read_text()))
        yield caller
        caller.line.close()
