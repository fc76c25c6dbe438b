"""Files in the browser: previews, proofs, originals for staff."""

from flask import Blueprint, abort, send_file
from sqlalchemy import select
from werkzeug import Response

from logbook.actions import alignment, flips
from logbook.actions.finding import by_code
from logbook.engine import proofing
from logbook.records.files import KeptFile
from logbook.records.floor import StepRecord, Verdict
from logbook.records.machines import MachineCheck
from logbook.records.orders import Job, Picture, Proof
from logbook.web import peeking
from logbook.web.acting import reading
from logbook.web.gate import the_shop
from logbook.web.turns import waiting
from logbook.web.uploads import opener

pages = Blueprint("files", __name__)
SHOWN_LONG_SIDE = 760


def _send(kept: KeptFile | None, name: str, *, attachment: bool = False) -> Response:
    if kept is None or not the_shop().store.has(kept.sha256):
        abort(404)
    response = send_file(
        the_shop().store.path(kept.sha256), mimetype=kept.media_type, as_attachment=attachment, download_name=name
    )
    # a stored file never changes: its name is its hash
    response.headers["Cache-Control"] = "private, max-age=86400"
    return response


@pages.get("/picture/<code>/small.jpg")
def preview(code: str) -> Response:
    """A picture, small."""
    with reading() as session:
        return _send(by_code(session, Picture, code).preview, "small.jpg")


@pages.get("/picture/<code>/on-piece.jpg")
def on_piece(code: str) -> Response:
    """A picture as it will stand on the finished piece: fitted and trimmed."""
    with reading() as session:
        picture = by_code(session, Picture, code)
        if not the_shop().store.has(picture.preview.sha256):
            abort(404)
        view = alignment.on_piece(picture, the_shop().store, long_side=SHOWN_LONG_SIDE)
    return Response(proofing.jpeg(view()), mimetype="image/jpeg")


@pages.get("/job/<code>/flip.jpg")
def of_job(code: str) -> Response:
    """A job's pictures on the finished piece, one below the other."""
    with reading() as session:
        found = flips.of_job(the_shop().store, by_code(session, Job, code))
    return peeking.flip(found)


@pages.get("/proof/<code>/flip.jpg")
def of_proof(code: str) -> Response:
    """A proof as it was shown, one view below the other."""
    with reading() as session:
        found = flips.of_proof(the_shop().store, by_code(session, Proof, code))
    return peeking.flip(found)


@pages.get("/picture/<code>/original")
def original(code: str) -> Response:
    """The file exactly as it came, for download only."""
    with reading() as session:
        picture = by_code(session, Picture, code)
        response = _send(picture.file, picture.original_name, attachment=True)
    response.headers["Content-Security-Policy"] = "sandbox; default-src 'none'"
    return response


@pages.get("/photograph/<sha256>")
def photo(sha256: str) -> Response:
    """A photograph kept with a signature, a verdict or a check: small, from its pixels only."""
    with reading() as session:
        signed = select(StepRecord.id).where(StepRecord.value == sha256)
        judged = select(Verdict.id).where(Verdict.photo_sha256 == sha256)
        checked = select(MachineCheck.id).where(MachineCheck.page_sha256 == sha256)
        kept = select(KeptFile.id).where(KeptFile.sha256 == sha256, KeptFile.kind == "record")
        if session.execute(kept.where(signed.exists() | judged.exists() | checked.exists()).limit(1)).first() is None:
            abort(404)
    return Response(waiting(opener().look)(the_shop().store.path(sha256)).preview, mimetype="image/jpeg")


@pages.get("/proof/<code>/moving.gif")
def moving(code: str) -> Response:
    """The proof that flips by itself, for mailing."""
    with reading() as session:
        proof = by_code(session, Proof, code)
        return _send(proof.animation, f"proof_{proof.job.number}_r{proof.revision}.gif")


@pages.get("/proof/<code>/page.pdf")
def proof_page(code: str) -> Response:
    """The proof's page, for mailing or printing."""
    with reading() as session:
        proof = by_code(session, Proof, code)
        return _send(proof.page, f"proof_{proof.job.number}_r{proof.revision}.pdf")
