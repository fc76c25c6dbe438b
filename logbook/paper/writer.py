"""PDF in a process of its own: limited in time and memory, kept warm between papers.

The child reads no file for a paper and reaches no network; it gets the HTML
and the pictures through a pipe and answers with the PDF or with one sentence.
A child that overruns is killed and replaced.
"""

import io
import json
from collections.abc import Callable, Iterable, Mapping, Sequence

import pikepdf

from logbook.paper.child import PDF, REFUSED
from logbook.refusals import Refused
from logbook.warmchild import Died, Overran, WarmChild

SECONDS = 20.0
MEGABYTES = 1024

Paper = tuple[str, Mapping[str, bytes]]
"""One paper to write: its HTML and its pictures by name."""


class PdfWriter:
    """Writes PDFs one after the other in a warm child process; may be shared by threads.

    ``seconds`` is the longest a paper may take, ``megabytes`` the address space
    of the child. Close it, or use it as a context manager.
    """

    def __init__(self, *, seconds: float = SECONDS, megabytes: int = MEGABYTES) -> None:
        self._megabytes = megabytes
        self._child = WarmChild("logbook.paper.child", str(megabytes), seconds=seconds)

    def __enter__(self) -> "PdfWriter":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def pdf(self, html: str, assets: Mapping[str, bytes] | None = None) -> bytes:
        """The paper as PDF; Refused where it cannot be written within the limits."""
        handed = dict(assets or {})
        try:
            answer = self._child.ask([json.dumps({"html": html, "assets": list(handed)}).encode(), *handed.values()])
        except Overran:
            raise Refused(f"The paper took longer than {self._child.seconds:g} seconds and was given up. "
                          "Print fewer sheets at once.") from None
        except Died:
            raise Refused(f"The PDF writer stopped: the paper needs more than {self._megabytes} MB or is damaged. "
                          "Print fewer sheets at once.") from None
        if answer[:1] == PDF:
            return answer[1:]
        raise Refused(answer[1:].decode())

    def close(self) -> None:
        """Let the child go."""
        self._child.close()


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
