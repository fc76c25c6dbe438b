"""Pictures: taken in, looked at, put in order, replaced by better ones."""

from dataclasses import dataclass
from io import BytesIO
from typing import BinaryIO

from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.engine import proofing, sources
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore, keep
from logbook.records.orders import Job, Picture
from logbook.refusals import Refused

MOST_PICTURES = 60
_MEDIA = {"JPEG": "image/jpeg", "PNG": "image/png", "TIFF": "image/tiff"}


@dataclass(frozen=True, slots=True)
class Intake:
    """A picture that was stored and looked at, before any row knows it."""

    name: str
    sha256: str
    size: int
    media_type: str
    preview_sha256: str
    preview_size: int
    width_px: int
    height_px: int
    remark: str


def take_in(store: FileStore, stream: BinaryIO, *, name: str) -> Intake:
    """Store a picture and make its preview; long work, so no transaction is open.

    Raises Refused with the reason, in the words of the original file name, when
    it is no picture that can be interlaced.
    """
    name = clean_name(name)
    sha256, size = store.put(stream)
    path = store.path(sha256)
    try:
        source = sources.inspect(path)
        small = proofing.preview(source)
    except Refused as refusal:
        raise Refused(refusal.sentence.replace(path.name, name), field="pictures") from None
    preview_sha256, preview_size = store.put(BytesIO(small))
    remark = " ".join(note.replace(path.name, name) for note in source.notes)
    return Intake(name, sha256, size, _MEDIA[source.format], preview_sha256, preview_size, *source.size, remark)


def clean_name(name: str) -> str:
    """The last part of a file name, printable, at most 120 characters; only ever shown, never used as a path."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    shown = "".join(letter for letter in last if letter.isprintable()).strip()
    return shown[-120:] or "picture"


def add_pictures(session: Session, by: Actor, *, job: Job, taken: list[Intake]) -> list[Picture]:
    """Append pictures to a job in the order in which they came."""
    standing = current(job)
    if len(standing) + len(taken) > MOST_PICTURES:
        raise Refused(f"A print holds at most {MOST_PICTURES} pictures.", field="pictures")
    first = max((picture.position for picture in standing), default=0) + 1
    added = [_row(session, by, job, intake, position=first + index) for index, intake in enumerate(taken)]
    record(
        session,
        by,
        Act(
            "pictures added",
            [ref(job), *(ref(picture) for picture in added)],
            new={"names": [intake.name for intake in taken]},
            files=[intake.sha256 for intake in taken],
        ),
    )
    return added


def _row(session: Session, by: Actor, job: Job, intake: Intake, *, position: int) -> Picture:
    original = keep(
        session, sha256=intake.sha256, size=intake.size, media_type=intake.media_type, kind="record", now=by.now
    )
    preview = keep(
        session,
        sha256=intake.preview_sha256,
        size=intake.preview_size,
        media_type="image/jpeg",
        kind="preview",
        now=by.now,
    )
    picture = Picture(
        job=job,
        position=position,
        file=original,
        preview=preview,
        original_name=intake.name,
        width_px=intake.width_px,
        height_px=intake.height_px,
        remark=intake.remark,
        added_at=by.now,
    )
    session.add(picture)
    session.flush()
    return picture


def current(job: Job) -> list[Picture]:
    """The pictures that stand, in play order."""
    return sorted(
        (picture for picture in job.pictures if picture.replaced_at is None),
        key=lambda picture: (picture.position, picture.id),
    )


def replace_picture(session: Session, by: Actor, *, picture: Picture, intake: Intake) -> Picture:
    """A better version of a picture takes its place."""
    if picture.replaced_at is not None:
        raise Refused("That picture was replaced already; open the page again.")
    picture.replaced_at = by.now
    new = _row(session, by, picture.job, intake, position=picture.position)
    record(
        session,
        by,
        Act(
            "picture replaced",
            [ref(picture.job), ref(picture), ref(new)],
            old={"name": picture.original_name},
            new={"name": intake.name},
            files=[intake.sha256],
        ),
    )
    return new


def remove_picture(session: Session, by: Actor, *, picture: Picture) -> None:
    """A picture is taken out of the job; its file stays on record."""
    if picture.replaced_at is not None:
        raise Refused("That picture was taken out already; open the page again.")
    picture.replaced_at = by.now
    for position, rest in enumerate(current(picture.job), start=1):
        rest.position = position
    record(session, by, Act("picture taken out", [ref(picture.job), ref(picture)], old={"name": picture.original_name}))


def swap_order(session: Session, by: Actor, *, job: Job, codes: list[str]) -> None:
    """Put the standing pictures into this order."""
    standing = {picture.code: picture for picture in current(job)}
    if sorted(codes) != sorted(standing):
        raise Refused("The pictures changed meanwhile; open the page again.")
    old = [picture.original_name for picture in current(job)]
    for position, code in enumerate(codes, start=1):
        standing[code].position = position
    record(
        session,
        by,
        Act(
            "pictures ordered",
            [ref(job)],
            old={"order": old},
            new={"order": [standing[code].original_name for code in codes]},
        ),
    )
