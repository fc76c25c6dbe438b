"""Proofs: what the customer is shown, and the customer's word on it."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO

from sqlalchemy.orm import Session

from logbook.actions.alignment import is_moved, on_piece, shift_in
from logbook.actions.finding import ref
from logbook.actions.pictures import current
from logbook.engine import proofing
from logbook.records.audit import Act, Actor, canonical, keyed_hash, record
from logbook.records.files import FileStore, keep
from logbook.records.orders import Answer, Job, Proof
from logbook.records.prooflinks import ProofLink
from logbook.refusals import Refused


@dataclass(frozen=True, slots=True)
class Draft:
    """A proof that was drawn and stored, before any row knows it."""

    picture_hashes: str
    specification: str
    animation: tuple[str, int]
    page: tuple[str, int] | None


def drawing(store: FileStore, job: Job, *, page: Callable[[list[bytes]], bytes] | None = None) -> Callable[[], Draft]:
    """What draws the proof's files from the previews, to be called when the database is closed.

    ``page`` makes the one-page PDF from the views (JPEG bytes in play order).
    """
    pictures = current(job)
    if len(pictures) < 2:
        raise Refused("A proof needs at least two pictures; add another one.", field="pictures")
    views = [on_piece(picture, store, long_side=proofing.PROOF_LONG_SIDE) for picture in pictures]
    hashes, agreed = " ".join(picture.file.sha256 for picture in pictures), specification(job)

    def draw() -> Draft:
        frames = [view() for view in views]
        moving = store.put(BytesIO(proofing.animation(frames)))
        sheet = store.put(BytesIO(page([proofing.jpeg(frame) for frame in frames]))) if page else None
        return Draft(hashes, agreed, moving, sheet)

    return draw


def specification(job: Job) -> str:
    """What the customer agrees to, as canonical JSON; it changes when any of it changes."""
    shifts = ["" if not is_moved(one) else " ".join(map(str, shift_in(one))) for one in current(job)]
    return canonical(
        {
            "width": str(job.width),
            "height": str(job.height),
            "flip": job.flip,
            "fit": job.fit,
            "quantity": job.quantity,
            "artwork": job.artwork,
            **({"shifts": shifts} if any(shifts) else {}),
        }
    )


def keep_proof(session: Session, by: Actor, *, job: Job, draft: Draft) -> Proof:
    """The next revision of a job's proof."""
    animation = keep(
        session, sha256=draft.animation[0], size=draft.animation[1], media_type="image/gif", kind="preview", now=by.now
    )
    page = (
        keep(session, sha256=draft.page[0], size=draft.page[1], media_type="application/pdf", kind="record", now=by.now)
        if draft.page
        else None
    )
    proof = Proof(
        job=job,
        revision=len(job.proofs) + 1,
        made_at=by.now,
        made_by_id=by.person_id,
        animation=animation,
        page=page,
        picture_hashes=draft.picture_hashes,
        specification=draft.specification,
    )
    session.add(proof)
    session.flush()
    record(
        session,
        by,
        Act("proof made", [ref(job), ref(proof)], new={"revision": proof.revision}, files=draft.picture_hashes.split()),
    )
    return proof


def record_answer(
    session: Session, by: Actor, *, proof: Proof, verdict: str, how: str, given_by: str = "", words: str = "",
    through: ProofLink | None = None,
) -> Answer:  # fmt: skip
    """The customer's word as staff heard it, or as it came through a link; a later word is a new row and counts."""
    if not is_current(proof):
        raise Refused("Pictures or size changed after this proof; make a new one and ask again.")
    if verdict == "change" and not words.strip():
        raise Refused("Write down what is to be changed.", field="words")
    answer = Answer(
        proof=proof,
        verdict=verdict,
        how=how,
        given_by=given_by.strip() or None,
        words=words.strip() or None,
        at=by.now,
        recorded_by_id=through.made_by_id if through else by.person_id,
    )
    session.add(answer)
    session.flush()
    record(
        session,
        by,
        Act(
            "customer answered",
            [ref(proof.job), ref(proof), *([ref(through)] if through else [])],
            meaning="approved" if verdict == "approved" else "rejected",
            new={"verdict": verdict, "how": how, **_personal(answer)},
            files=proof.picture_hashes.split(),
        ),
    )
    return answer


def _personal(answer: Answer) -> dict[str, str]:
    """Who said it and in which words, as keyed hashes."""
    assert answer.hash_key is not None
    said = {"given_by": answer.given_by, "words": answer.words}
    return {name: keyed_hash(answer.hash_key, value) for name, value in said.items() if value}


def is_current(proof: Proof) -> bool:
    """Whether pictures and specification are still those that the proof shows."""
    hashes = " ".join(picture.file.sha256 for picture in current(proof.job))
    return hashes == proof.picture_hashes and specification(proof.job) == proof.specification


def state(job: Job) -> tuple[str, bool]:
    """The customer's answer ("approved", "change", "waiting", "none") and whether it is about what stands now."""
    if not job.proofs:
        return "none", True
    newest = job.proofs[-1]
    if not newest.answers:
        return "waiting", is_current(newest)
    return newest.answers[-1].verdict, is_current(newest)


def shown(proof: Proof) -> dict[str, str]:
    """The specification a proof was made for."""
    return dict(json.loads(proof.specification))
