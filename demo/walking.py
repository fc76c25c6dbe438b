"""The main job, walked through a running server as a person's browser would."""

import hashlib
import io
import json
import subprocess
import sys
import time
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

from browsing import Browser, Page
from pictures import LIGHTHOUSE
from PIL import Image, TiffImagePlugin

TRUE_PITCH = Decimal("20.07")
MACHINE = {
    "manual": "Own manual, drawer",
    "freeing_procedure": "Stop, isolate, raise the roller by hand.",
    "stop_position": "both sides",
    "isolator": "wall",
    "competent_role": "workshop lead",
    "last_inspection": "this spring",
}


class Walk:
    """The main job, step by step; every step leaves something for the next."""

    def __init__(self, address: str, data: Path, *, patience: int) -> None:
        self.browser, self.data, self.patience = Browser(address), data, patience
        self.job = self.run = self.sheet = self.piece = ""
        self.serial, self.lens_lot, self.pitch = "", "", ""
        self.tiff, self.pixels = b"", ""

    def found_the_shop(self) -> None:
        """An empty folder asks for its owner."""
        page = self.browser.get("/")
        self.browser.send(
            page.form("/found"),
            {"name": "Wanda Check", "password": "walks-it-once", "again": "walks-it-once", "shop_name": "Check"},
        )

    def take_the_order(self) -> None:
        """Customer, size, flip, lens, two pictures."""
        page = self.browser.get("/orders/new")
        files = [("pictures", name, draw()) for name, draw in LIGHTHOUSE]
        page = self.browser.send(
            page.form("/orders/new"),
            {"customer": "Anybody", "width": "4in", "height": "5in", "lens_lpi": "20"},
            files=files,
        )
        self.job, self.lens_lot = page.address, page.link("20 LPI lens")

    def make_the_proof(self) -> None:
        """A moving picture and a page."""
        page = self.browser.send(self.browser.get(self.job).form("/proof"))
        assert self.browser.get(page.link("moving picture")).content[:3] == b"GIF", "the proof is no GIF"
        assert self.browser.get(page.link("page to mail")).content[:5] == b"%PDF-", "the proof's page is no PDF"

    def record_the_answer(self) -> None:
        """The customer approves."""
        page = self.browser.send(
            self.browser.get(self.job).form("/answer"), {"verdict": "approved", "how": "telephone"}
        )
        assert "approved by telephone" in page.text, "the answer does not stand on the job's page"

    def measure_the_pitch(self) -> None:
        """Chart, readings, result on record."""
        room = {"temperature_c": "22", "humidity_percent": "50"}
        page = self.browser.send(self.browser.get("/pitch/new").form("/pitch/new"), room, expect=422)
        assert "is not described yet" in page.text, "a printer that nobody described asked nothing"
        page = self.browser.send(page.form("/pitch/new"), {**room, **_reason("printer-facts")})
        page = self.browser.send(page.form("/chart"))
        assert (
            Image.open(io.BytesIO(self.browser.get(page.link("Download for the printer")).content)).format == "TIFF"
        ), "the chart is no TIFF"
        counts = {f"band_{band}": _counted(Decimal("19.5") + Decimal("0.1") * (band - 1)) for band in range(1, 12)}
        page = self.browser.send(page.form("/read"), counts)
        page = self.browser.send(page.form("/accept"))
        self.pitch = page.address.rsplit("/", 1)[1]

    def choose_the_pitch(self) -> None:
        """The job takes it."""
        page = self.browser.get(f"{self.job}/pitch")
        offer = next(form for form in page.forms if form.fields.get("pitch") == [self.pitch])
        self.browser.send(offer, {"reason": "first print with this lens"})

    def interlace(self) -> None:
        """In the background, with progress, to the end."""
        self.run = self.browser.send(self.browser.get(self.job).form("/run")).address
        started = time.monotonic()
        while (state := json.loads(self.browser.get(f"{self.run}.json").content))["state"] in ("waiting", "running"):
            assert time.monotonic() - started < self.patience, (
                f"the run is still {state['state']} after {self.patience} s"
            )
            time.sleep(0.3)
        assert state["state"] == "done", f"the run ended as {state['state']}: {state['trouble']}"

    def accept_and_download(self) -> None:
        """Looked at, accepted; the file reaches the printer."""
        page = self.browser.send(self.browser.get(self.run).form("/accept"), {"count": "1"})
        self.tiff = self.browser.get(page.link("Download the TIFF")).content
        image = Image.open(io.BytesIO(self.tiff))
        assert isinstance(image, TiffImagePlugin.TiffImageFile), "the interlaced file is no TIFF"
        assert Fraction(image.tag_v2[282]) == 720, "the file's resolution is not 720 dots per inch"
        self.pixels = hashlib.sha256(image.tobytes()).hexdigest()
        self.sheet = page.link("-S1")

    def sign(self, stage: str, **values: str) -> Page:
        """Sign a stage of the sheet."""
        return self.browser.send(self.browser.get(self.sheet).form(f"/sign/{stage}"), values)

    def print_and_dry(self) -> None:
        """Printed; drying cut short needs a reason."""
        self.sign("print", **_reason("printer-facts"))
        page = self.browser.send(self.browser.get(self.sheet).form("/sign/dry"), expect=422)
        assert "Give a reason" in page.text, "drying was cut short without a reason"
        self.sign("dry", **_reason("wait-drying"))

    def set_up_the_laminator(self) -> None:
        """Facts, a named person, today's check; before that its steps are stopped."""
        page = self.browser.send(
            self.browser.get("/machines/new").form("/machines/new"),
            {"kind": "laminator", "name": "Check rollers", "drive": "powered"},
        )
        here = page.address
        stopped = self.browser.send(
            self.browser.get(self.sheet).form("/rollers"), {"alone_with": "somebody"}, expect=422
        )
        assert "NOT SET" in stopped.text, "a laminator without its facts was not stopped"
        self.browser.send(self.browser.get(here).form("/facts"), dict(MACHINE))
        self.browser.send(self.browser.get(here).form("/authorise"), {"reread": "y"})
        page = self.browser.get(here)
        questions = dict.fromkeys(_radios(page, "/check"), "yes")
        self.browser.send(page.form("/check"), questions)

    def mount(self) -> None:
        """Adhesive, then the lens: read and tick before, sign after."""
        for stage in ("adhesive", "laminate"):
            page = self.browser.get(self.sheet)
            ticks = dict.fromkeys(_boxes(page), "yes")
            page = self.browser.send(page.form("/rollers"), {"alone_with": "somebody calls at noon", **ticks})
            self.browser.send(page.form(f"/sign/{stage}"))

    def rest_and_trim(self) -> None:
        """The sheet is cut apart."""
        self.sign("dwell", **_reason("wait-rest-before-trimming"))
        page = self.browser.get(self.sheet)
        self.serial = next(shown for shown, address in page.links if "/print/" in address)
        self.piece = next(address for _, address in page.links if "/print/" in address)
        self.browser.send(self.browser.get(self.piece).form("/sign/trim"), {"trim-width": "101.6"})

    def inspect_and_ship(self) -> None:
        """Passed, packed, collected."""
        self.browser.send(
            self.browser.get(self.piece).form("/sign/inspect"), {"inspect-result": "passed", "inspect-ghosting": "1"}
        )
        page = self.browser.send(
            self.browser.get(self.piece).form("/leave"),
            {"how": "collected", **_reason("wait-rest-before-it-leaves")},
        )
        assert "collected on" in page.text, "the print has not left"

    def print_the_traveller(self) -> None:
        """The PDF job traveller."""
        page = self.browser.send(self.browser.get(self.job).form("/traveller"))
        assert page.content[:5] == b"%PDF-", "the traveller is no PDF"

    def trace_forwards(self) -> None:
        """From the print to its pitch and its file: page, command line and the downloaded file agree."""
        told = self._traced(self.serial)
        assert told["pitch"]["code"] == self.pitch, "the trace names another pitch"
        assert told["run"]["pixels_sha256"] == self.pixels, "the downloaded file shows other dots than the trace says"
        whole = hashlib.sha256(self.tiff).hexdigest()
        assert told["run"]["file_sha256"] == whole, "the downloaded file is another one than the trace says"
        assert whole in self.browser.get(self.piece).text, "page and command line differ about the file"

    def trace_backwards(self) -> None:
        """From the pitch, the lens lot and a file found somewhere to the print."""
        for page, name in ((f"/pitch/{self.pitch}", "the pitch"), (self.lens_lot, "the lens lot")):
            assert self.serial in self.browser.get(page).text, f"{name}'s page does not list the print"
        found = self.data / "found-on-a-stick.tif"
        found.write_bytes(self.tiff)
        for words, name in ((self.pitch, "the pitch"), (str(found), "the file")):
            serials = [one["serial"] for one in self._traced(words)["prints"]]
            assert serials == [self.serial], f"{name} does not lead to the print"

    def _traced(self, words: str) -> dict[str, Any]:
        command = [sys.executable, "-m", "logbook", "trace", words, "--json", "--data", str(self.data)]
        told = subprocess.run(command, check=False, capture_output=True, text=True)
        assert told.returncode == 0, told.stderr.strip()
        return dict(json.loads(told.stdout))


STEPS = (
    "found_the_shop",
    "take_the_order",
    "make_the_proof",
    "record_the_answer",
    "measure_the_pitch",
    "choose_the_pitch",
    "interlace",
    "accept_and_download",
    "print_and_dry",
    "set_up_the_laminator",
    "mount",
    "rest_and_trim",
    "inspect_and_ship",
    "print_the_traveller",
    "trace_forwards",
    "trace_backwards",
)


def _reason(ask: str) -> dict[str, str]:
    """A reason in the field of the one thing that it serves."""
    return {f"reason-{ask}": "walk-through"}


def _counted(lpi: Decimal) -> str:
    return str(round(abs(lpi - TRUE_PITCH) * Decimal(190) / Decimal("25.4") * 4) / Decimal(4))


def _radios(page: Page, action: str) -> list[str]:
    """Names of yes-or-no questions: they hold no value until somebody answers."""
    return _names(page, action, b'type="radio"')


def _boxes(page: Page) -> list[str]:
    return _names(page, "/rollers", b'type="checkbox"')


def _names(page: Page, action: str, kind: bytes) -> list[str]:
    part = page.content.split(page.form(action).action.encode(), 1)[1].split(b"</form>", 1)[0]
    tags = [tag for tag in part.split(b"<input")[1:] if kind in tag]
    return list(dict.fromkeys(tag.split(b'name="', 1)[1].split(b'"', 1)[0].decode() for tag in tags))
