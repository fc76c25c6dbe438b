"""Pictures: taken in, looked at, put in order, replaced by better ones.

A file's name may be a person's: it stays in the picture's row, the trail tells codes and hashes.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import IO

from sqlalchemy.orm import Session

from logbook.actions.finding import ref
from logbook.engine.looking import Looked, look
from logbook.records.audit import Act, Actor, record
from logbook.records.files import FileStore, keep
from logbook.records.orders import Job, Picture
from logbook.refusals import Refused

MOST_PICTURES = 60
_MEDIA = {"JPEG": "image/jpeg", "PNG": "image/png", "TIFF": "image/tiff"}


@dataclass(frozen=True, slots=True)
class Intake:
    """A picture that was received and looked at; its bytes wait in a temporary file until an act keeps it."""

    name: str
    waiting: Path
    sha256: str
    media_type: str
    preview: bytes
    width_px: int
    height_px: int
    remark: str


@contextmanager
def received(store: FileStore, files: Sequence[tuple[str, IO[bytes]]], *,
             opening: Callable[[Path], Looked] = look) -> Iterator[list[Intake]]:
    """Receive pictures, (name, stream) each, and look at them; long work, so no transaction is open.

    ``opening`` is how a file is opened: in a limited process where it came from
    outside. Whatever no act has kept by the end is deleted. Raises Refused with the
    reason, in the words of the original file name, for what cannot be interlaced.
    """
    with sorted_out(store, [(name, stream) for name, stream in files], opening=opening) as found:
        if found.bad:
            raise Refused(" ".join(found.bad), field="pictures")
        yield found.good


@dataclass(frozen=True, slots=True)
class SortedOut:
    """Pictures that can be interlaced, and one sentence for each file that cannot."""

    good: list[Intake]
    bad: list[str]


@contextmanager
def sorted_out(store: FileStore, files: Sequence[tuple[str, IO[bytes] | str]], *,
               opening: Callable[[Path], Looked] = look) -> Iterator[SortedOut]:
    """As ``received``, but every bad file is named and the good ones may be held for another try.

    A file is a stream, or the word under which an earlier try held it. What is neither kept nor held is deleted.
    """
    found = SortedOut([], [])
    try:
        for name, source in files:
            try:
                found.good.append(_take(store, clean_name(name), source, opening))
            except Refused as refusal:
                found.bad.append(refusal.sentence)
        yield found
    finally:
        for intake in found.good:
            intake.waiting.unlink(missing_ok=True)


def _take(store: FileStore, name: str, source: IO[bytes] | str, opening: Callable[[Path], Looked]) -> Intake:
    waiting = store.claim(source) if isinstance(source, str) else store.receive(source)
    if waiting is None:
        raise Refused(f"{name} is no longer held here; choose it once more.", field="pictures")
    return _look_at(waiting, name, opening)


def _look_at(waiting: Path, name: str, opening: Callable[[Path], Looked]) -> Intake:
    try:
        seen = opening(waiting)
    except BaseException as stopped:
        waiting.unlink(missing_ok=True)
        if not isinstance(stopped, Refused):
            raise
        raise Refused(stopped.sentence.replace(waiting.name, name), field="pictures") from None
    remark = " ".join(note.replace(waiting.name, name) for note in seen.notes)
    return Intake(name, waiting, seen.sha256, _MEDIA[seen.format], seen.preview, *seen.size, remark)


def clean_name(name: str) -> str:
    """The last part of a file name, printable, at most 120 characters; only ever shown, never used as a path."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    shown = "".join(letter for letter in last if letter.isprintable()).strip()
    return shown[-120:] or "picture"


def add_pictures(session: Session, by: Actor, store: FileStore, *, job: Job, taken: list[Intake]) -> list[Picture]:
    """Append pictures to a job in the order in which they came."""
    standing = current(job)
    if len(standing) + len(taken) > MOST_PICTURES:
        raise Refused(f"A print holds at most {MOST_PICTURES} pictures; leave some out.", field="pictures")
    first = max((picture.position for picture in standing), default=0) + 1
    added = [_row(session, by, store, job, intake, position=first + index) for index, intake in enumerate(taken)]
    record(
        session,
        by,
        Act(
            "pictures added",
            [ref(job), *(ref(picture) for picture in added)],
            new={"count": len(added)},
            files=[intake.sha256 for intake in taken],
        ),
    )
    return added


def _row(session: Session, by: Actor, store: FileStore, job: Job, intake: Intake, *, position: int) -> Picture:
    sha256, size = store.adopt(intake.waiting)
    original = keep(session, sha256=sha256, size=size, media_type=intake.media_type, kind="record", now=by.now)
    sha256, size = store.put(BytesIO(intake.preview))
    preview = keep(session, sha256=sha256, size=size, media_type="image/jpeg", kind="preview", now=by.now)
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


def replace_picture(session: Session, by: Actor, store: FileStore, *, picture: Picture, intake: Intake) -> Picture:
    """A better version of a picture takes its place."""
    if picture.replaced_at is not None:
        raise Refused("That picture was replaced already; open the page again.")
    picture.replaced_at = by.now
    new = _row(session, by, store, picture.job, intake, position=picture.position)
    record(
        session,
        by,
        Act(
            "picture replaced",
            [ref(picture.job), ref(picture), ref(new)],
            old={"picture": picture.code, "file": picture.file.sha256},
            new={"picture": new.code, "file": intake.sha256},
            files=[intake.sha256],
        ),
    )
    return new


def remove_picture(session: Session, by: Actor, *, picture: Picture) -> None:
    """A picture is taken out of the job; its file stays on record."""
    if picture.replaced_at is not None:
        raise Refused("That picture was taken out already; open the page again.")
    picture.replaced_at = by.now
    left = current(picture.job)
    for position, rest in enumerate(left, start=1):
        rest.position = position
    touched = [ref(picture.job), ref(picture), *map(ref, left)]
    record(session, by, Act("picture taken out", touched, old={"picture": picture.code}, files=[picture.file.sha256]))


def swap_order(session: Session, by: Actor, *, job: Job, codes: list[str]) -> None:
    """Put the standing pictures into this order."""
    standing = {picture.code: picture for picture in current(job)}
    if sorted(codes) != sorted(standing):
        raise Refused("The pictures changed meanwhile; open the page again.")
    old = [picture.code for picture in current(job)]
    for position, code in enumerate(codes, start=1):
        standing[code].position = position
    record(
        session,
        by,
        Act(
            "pictures ordered",
            [ref(job), *(ref(standing[code]) for code in codes)],
            old={"order": old},
            new={"order": codes},
        ),
    )
