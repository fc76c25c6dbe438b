"""What comes in and goes out as files: S3 to S5, S10, S11, S13, S14."""

import csv
import importlib.metadata
import io
import logging
import re
import socket
import struct
import threading
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from shutil import copytree
from unittest import mock

from packaging.version import Version
from PIL import Image

from actions import test_hostile_backups as hostile
from background import test_opening as opening
from logbook.background.opening import PictureOpener
from logbook.engine import proofing
from logbook.paper import pdf
from logbook.paper.pdf import pdf_bytes
from logbook.records import backup_check, cells, manifest
from logbook.records.restore import restore_files
from logbook.refusals import Refused
from logbook.web import csvs
from promised.ground import Ground, patched
from promised.rows import TABLE, Tally
from support.backups import made_of
from support.floors import FLOORS
from support.pdf_reading import texts
from support.shop_walk import PHOTOGRAPHS

# --- S3


def _takes_all(self, path):
    return PictureOpener.really_look(self, path) if path.name in opening.TAKEN else "taken"


@contextmanager
def _careless(_ground: Ground):
    real = PictureOpener.look
    kept = mock.patch.object(PictureOpener, "really_look", real, create=True)
    with kept, mock.patch.object(PictureOpener, "look", _takes_all):
        yield


@TABLE.row(
    "S3", "Only JPEG, PNG and TIFF within limits; several pictures inside are told; the rest is refused in words",
    "40-file set (HEIC is refused with the way to export it)", quick=41, full=41, broken=41, twin=_careless,
)  # fmt: skip
def forty_files(ground: Ground, tally: Tally, count: int) -> None:
    """The set of the tests, opened as an upload is."""
    with ground.folder() as folder:
        for name, content in list(opening.TAKEN.items())[:count]:
            (folder / name).write_bytes(content)
            seen = ground.opener.look(folder / name)
            told = name != "two-inside.jpg" or "first" in " ".join(seen.notes)
            tally.tried(seen.size == (512, 512) and told, name)
        for name, (content, words) in list(opening.REFUSED.items())[:count]:
            (folder / name).write_bytes(content)
            try:
                ground.opener.look(folder / name)
                tally.tried(False, f"{name} was taken")
            except Refused as refusal:
                tally.tried(name in refusal.sentence and words in refusal.sentence, refusal.sentence)


# --- S4

MARKS = (b"Exif", b"A camera", b"ns.adobe.com", b"a comment", b"\xff\xe1", b"\xff\xfe")
"""What a camera or a program writes beside the pixels: EXIF 2.32 (APP1), XMP (APP1), comments (COM)."""


@contextmanager
def _keeps_the_marks(_ground: Ground):
    real = PictureOpener.look
    keeping = lambda self, path: replace(real(self, path), preview=path.read_bytes())  # noqa: E731 - one word of a twin
    with mock.patch.object(PictureOpener, "look", keeping):
        yield


@TABLE.row(
    "S4", "Proofs and previews carry no EXIF, GPS, XMP or comments", "0 marker bytes in 200 files",
    quick=6, full=200, broken=2, twin=_keeps_the_marks,
)  # fmt: skip
def nothing_beside_pixels(ground: Ground, tally: Tally, count: int) -> None:
    """Pictures with all four, sent in; their previews and the moving proof drawn from them are read byte by byte."""
    with ground.shop() as (shop, _code):
        base = shop.shop.settings.data.parent
        for number in range(count // 2):
            pair = [_marked(base / f"{number}-{side}.jpg", ground.dice.randrange(2**32)) for side in "ab"]
            looked = [ground.opener.look(path) for path in pair]
            for seen in looked:
                tally.tried(not _marks_in(seen.preview), _marks_in(seen.preview))
            frames = [Image.open(io.BytesIO(seen.preview)).convert("RGB") for seen in looked]
            moving = proofing.animation(frames)
            tally.tried(not any(mark in moving for mark in MARKS[:4]), "the moving proof")


def _marks_in(content: bytes) -> list[bytes]:
    return [mark for mark in MARKS if mark in content[: content.find(b"\xff\xda")]]


def _marked(path: Path, seed: int) -> Path:
    marks = Image.Exif()
    marks[274], marks[271], marks[0x8825] = 1, "A camera", {1: "N", 2: (52.0, 31.0, 0.0)}
    out = io.BytesIO()
    with Image.open(PHOTOGRAPHS[seed % 2]) as picture:
        picture.reduce(4).save(out, "JPEG", exif=marks.tobytes())
    comment = b"\xff\xfe" + struct.pack(">H", 2 + 9) + b"a comment"
    xmp = b"http://ns.adobe.com/xap/1.0/\0<x/>"
    xmp = b"\xff\xe1" + struct.pack(">H", 2 + len(xmp)) + xmp
    path.write_bytes(out.getvalue()[:2] + comment + xmp + out.getvalue()[2:])
    return path


# --- S5

TAGS = (
    '<img src="{}">', '<link rel="stylesheet" href="{}">', '<style>@import url("{}");</style>',
    '<style>body {{ background: url("{}") }}</style>', '<object data="{}"></object>', '<embed src="{}">',
    '<link rel="attachment" href="{}">', '<svg><image href="{}" width="5" height="5"/></svg>',
)  # fmt: skip


@contextmanager
def _listener():
    """A server on loopback that counts who called."""
    calls: list[int] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.1)
        ended = threading.Event()

        def serve():
            while not ended.is_set():
                try:
                    line, _ = server.accept()
                except TimeoutError:
                    continue
                calls.append(1)
                line.close()

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield server.getsockname()[1], calls
        finally:
            ended.set()
            thread.join()


def _default_fetcher(_ground: Ground):
    return mock.patch.object(pdf, "_fetcher", lambda weasyprint, *_: weasyprint.urls.URLFetcher())


@TABLE.row(
    "S5", "A PDF cannot read files or the network", "0 requests, 0 bytes; ≤ 20 s or ended",
    quick=16, full=48, broken=8, twin=_default_fetcher,
)  # fmt: skip
def papers_read_nothing(ground: Ground, tally: Tally, count: int) -> None:
    """Eight ways to name something, six addresses; the limits of time and memory are in tests/paper."""
    with ground.folder() as folder, _listener() as (port, calls):
        (folder / "secret.txt").write_text("canary-5531")
        addresses = [f"http://127.0.0.1:{port}/x.png", (folder / "secret.txt").as_uri(), "secret.txt",
                     f"ftp://127.0.0.1:{port}/x", "data:text/plain,canary-5531", "asset:unknown.png"]  # fmt: skip
        pairs = [(tag, address) for address in addresses for tag in TAGS][:count]
        for tag, address in pairs:
            before = len(calls)
            html = f"<!doctype html><html><head></head><body>{tag.format(address)}</body></html>"
            try:
                written = pdf_bytes(html)
            except Refused:
                written = b""
            told = b"canary" in written or any("canary" in text for text in (texts(written) if written else []))
            tally.tried(len(calls) == before and not told and b"EmbeddedFile" not in written, f"{tag} {address[:20]}")


# --- S10

SIGNS = ("=", "+", "-", "@", "\t", "\r", "\0")
"""What a spreadsheet may take for the beginning of a formula (OWASP, "CSV Injection", from memory; NUL is ours)."""


@contextmanager
def _as_they_are(_ground: Ground):
    with mock.patch.object(cells, "harmless", lambda value: value or ""):
        yield


@TABLE.row(
    "S10", "Cells of CSV files never execute", "round trip", quick=300, full=20_000, broken=40, twin=_as_they_are
)
def harmless_cells(ground: Ground, tally: Tally, count: int) -> None:
    """Random texts, half of them beginning with a sign; written to a file, read again, and had back."""
    letters = "=+-@\t\r'\"; ,\n5aü|!\\"
    for number in range(count):
        value = "".join(ground.dice.choices(letters, k=ground.dice.randrange(0, 9)))
        value = ground.dice.choice(SIGNS) + value if number % 2 else value
        written = cells.harmless(value)
        tally.tried(not written.startswith(SIGNS) and cells.meant(written) == value, repr(value))
        file = csvs.told(["head"], [[value]])
        (_, *rows) = csv.reader(io.StringIO(file.replace("\0", ""), newline=""))
        cell = rows[0][0] if rows and rows[0] else ""
        number_like = re.fullmatch(r"-?\d+(\.\d+)?", cell)
        tally.tried(not cell.startswith(SIGNS) or number_like, repr(value))


# --- S11


@contextmanager
def _trusts_paths(_ground: Ground):
    names = mock.patch.object(manifest, "path_fault", return_value=None)
    with names, mock.patch.object(backup_check, "_set_faults", return_value=()):
        yield


@TABLE.row(
    "S11", "File names and restored backups cannot escape", "200 names, 30 backups",
    quick=10, full=40, broken=8, twin=_trusts_paths,
)  # fmt: skip
def cannot_escape(ground: Ground, tally: Tally, count: int) -> None:
    """Backups spoiled on purpose are refused and leave nothing; names of uploads touch nothing but the page."""
    with ground.desk("ready") as (desk, shop, code):
        base = shop.shop.settings.data.parent
        sound = made_of(shop.shop, base / "stick").backup
        for number, kind in enumerate(list(hostile.HOSTILE)[:count]):
            place = base / f"try-{number}" / "stick"
            copytree(sound.parent, place, symlinks=True)
            tally.tried(*_refused_whole(place / sound.name, kind, base / f"try-{number}"))
        before = {path for path in base.rglob("*") if "files" not in path.parts}
        for number in range(count * 5):
            name = _name(ground, number)
            files = {"request_id": f"n-{number}", "pictures": (io.BytesIO(b"no picture"), name)}
            answer = desk.post(f"/job/{code}/pictures", data=files, content_type="multipart/form-data")
            after = {path for path in base.rglob("*") if "files" not in path.parts}
            tally.tried(answer.status_code in (303, 422) and after - before <= _journal(shop), name)


def _journal(shop) -> set[Path]:
    path = shop.shop.settings.database_path
    return {path.with_name(f"{path.name}{end}") for end in ("-journal", "-wal", "-shm")}


def _refused_whole(backup: Path, kind: str, base: Path) -> tuple[bool, str]:
    hostile.HOSTILE[kind](backup)
    before = set(base.rglob("*"))
    try:
        restore_files(manifest.newest_in(backup), base / "deep" / "new")
    except Refused:
        return set(base.rglob("*")) == before and not list(base.parent.rglob(hostile.OUTSIDE)), f"{kind} left something"
    except Exception as error:
        return False, f"{kind}: {error!r}"
    return False, f"{kind} was restored"


def _name(ground: Ground, number: int) -> str:
    parts = ("..", "/", "\\", "a", "C:", "\0", "é", "%2e%2e", "con", " ", ".", "~", "$(x)", "‮", "\n", "x" * 300)
    return "".join(ground.dice.choices(parts, k=4)) + f"{number}.jpg"


# --- S13


@TABLE.row(
    "S13", "Packages at or above the versions that closed known holes", "0 below",
    twin=patched(importlib.metadata, "version", lambda _name: "0.1"),
)  # fmt: skip
def floors(_ground: Ground, tally: Tally, _count: int) -> None:
    """The table of tests/packaging; it knows no later hole."""
    for name, floor, advisory, *_ in FLOORS:
        installed = importlib.metadata.version(name)
        tally.tried(Version(installed) >= Version(floor), f"{name} {installed} is below {floor} ({advisory})")


# --- S14


@contextmanager
def _chatty(_ground: Ground):
    from logbook.actions import people

    real = people.verify_password

    def telling(session, *, name, password):
        logging.getLogger("logbook").warning("sign-in of %s with %s", name, password)
        return real(session, name=name, password=password)

    with mock.patch.object(people, "verify_password", telling):
        yield


@TABLE.row(
    "S14", "No secret in logs, papers, errors or pages", "canaries", quick=1, twin=_chatty,
)  # fmt: skip
def canaries(ground: Ground, tally: Tally, _count: int) -> None:
    """A password is tried wrongly and rightly, pages and errors are asked for, a traveller is drawn; all is read."""
    heard = io.StringIO()
    handler = logging.StreamHandler(heard)
    logging.getLogger().addHandler(handler)
    try:
        with ground.desk("ready") as (desk, shop, code):
            secrets = {"password": "canary-pass-77", "true password": "ridge-and-valley"}
            data = shop.shop.settings.data
            secrets["form key"] = (data / "form-key").read_text()
            secrets["sign-in"] = ground.cookie(shop)
            desk.set_cookie("bench-sign-in", secrets["sign-in"])
            words = (secrets["password"], secrets["true password"])
            said = [desk.post("/sign-in", data={"name": "Olga", "password": word}) for word in words]
            said += [desk.get(path) for path in ("/", f"/job/{code}", "/no-such-page", "/shop/record", "/shop",
                                                 f"/job/{code}/traveller")]  # fmt: skip
            said.append(desk.post("/shop/facts", data={"largest_picture": "many"}))
            everything = "\n".join([*(one.get_data(as_text=True) for one in said), heard.getvalue()])
            trail = shop.read(lambda session: "\n".join(_bodies(session)))
            for name, secret in secrets.items():
                tally.tried(secret not in everything, f"the {name} stands in a page or a log")
                tally.tried(secret not in trail, f"the {name} stands in the trail")
    finally:
        logging.getLogger().removeHandler(handler)


def _bodies(session):
    from sqlalchemy import select

    from logbook.records.audit import AuditEntry

    return session.execute(select(AuditEntry.body)).scalars().all()
