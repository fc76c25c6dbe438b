"""PDF in a process of its own: limited in time and memory, kept warm between papers.

The child reads no file for a paper and reaches no network; it gets the HTML
and the pictures through a pipe and answers with the PDF or with one sentence.
A child that overruns is killed and replaced.
"""

import contextlib
import io
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from multiprocessing.connection import Connection

import pikepdf

from logbook.paper.child import PDF, REFUSED
from logbook.refusals import Refused

SECONDS = 20.0
MEGABYTES = 1024
_PARTING_SECONDS = 5.0

Paper = tuple[str, Mapping[str, bytes]]
"""One paper to write: its HTML and its pictures by name."""


class PdfWriter:
    """Writes PDFs one after the other in a warm child process; may be shared by threads.

    ``seconds`` is the longest a paper may take, ``megabytes`` the address space
    of the child. Close it, or use it as a context manager.
    """

    def __init__(self, *, seconds: float = SECONDS, megabytes: int = MEGABYTES) -> None:
        self._seconds = seconds
        self._megabytes = megabytes
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> "PdfWriter":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def pdf(self, html: str, assets: Mapping[str, bytes] | None = None) -> bytes:
        """The paper as PDF; Refused where it cannot be written within the limits."""
        with self._lock:
            child = self._running()
            try:
                answer = self._ask(child, html, assets or {})
            except (OSError, EOFError):
                self._end()
                raise Refused(f"The PDF writer stopped: the paper needs more than {self._megabytes} MB or is damaged. "
                              "Print fewer sheets at once.") from None
        if answer[:1] == PDF:
            return answer[1:]
        raise Refused(answer[1:].decode())

    def close(self) -> None:
        """Let the child go: it ends when its input does, and is ended where it lingers."""
        with self._lock:
            if self._child is not None and self._child.stdin is not None:
                self._child.stdin.close()
                with contextlib.suppress(subprocess.TimeoutExpired):
                    self._child.wait(timeout=_PARTING_SECONDS)
            self._end()

    def _running(self) -> subprocess.Popen[bytes]:
        if self._child is None or self._child.poll() is not None:
            self._end()
            command = [sys.executable, "-m", "logbook.paper.child", str(self._megabytes)]
            self._child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        return self._child

    def _ask(self, child: subprocess.Popen[bytes], html: str, assets: Mapping[str, bytes]) -> bytes:
        assert child.stdin is not None
        assert child.stdout is not None
        # A Connection closes its descriptor when it goes: hand it copies.
        to_child = Connection(os.dup(child.stdin.fileno()), readable=False)
        from_child = Connection(os.dup(child.stdout.fileno()), writable=False)
        with to_child, from_child:
            timer = threading.Timer(self._seconds, child.kill)
            timer.start()
            try:
                to_child.send_bytes(json.dumps({"html": html, "assets": list(assets)}).encode())
                for content in assets.values():
                    to_child.send_bytes(content)
                return from_child.recv_bytes()
            except (OSError, EOFError):
                if timer.is_alive():
                    raise
                self._end()
                raise Refused(f"The paper took longer than {self._seconds:g} seconds and was given up. "
                              "Print fewer sheets at once.") from None
            finally:
                timer.cancel()

    def _end(self) -> None:
        if self._child is None:
            return
        child, self._child = self._child, None
        child.kill()
        child.wait()
        for stream in (child.stdin, child.stdout):
            if stream is not None:
                stream.close()


def joined(documents: Iterable[bytes]) -> bytes:
    """Several PDFs as one, pages in the order given; Refused where there is none."""
    out = io.BytesIO()
    with pikepdf.new() as whole:
        for document in documents:
            with pikepdf.open(io.BytesIO(document)) as part:
                whole.pages.extend(part.pages)
        if not whole.pages:
            raise Refused("There is no paper to print.")
        whole.save(out)
    return out.getvalue()


def pdf_of_many(papers: Sequence[Paper], *, writer: PdfWriter,
                progress: Callable[[int, int], None] | None = None) -> bytes:
    """Many papers as one PDF: each written as a document of its own, then joined.

    ``progress`` is told how many of how many are done; what it raises stops the work.
    """
    documents = []
    for done, (html, assets) in enumerate(papers, start=1):
        documents.append(writer.pdf(html, assets))
        if progress is not None:
            progress(done, len(papers))
    return joined(documents)


__all__ = ["MEGABYTES", "PDF", "REFUSED", "SECONDS", "Paper", "PdfWriter", "joined", "pdf_of_many"]
