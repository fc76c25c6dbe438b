"""What must be known of a printer before a pitch is measured or a print made: a driver that scales spoils both."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from logbook.refusals import Refused
from logbook.rules.findings import Finding, ask

Dpi = tuple[Fraction, Fraction]
"""Dots per inch across the carriage's way, and down the paper's."""


@dataclass(frozen=True, slots=True)
class PrinterFacts:
    """What is known about a printer; empty text and None mean not set."""

    name: str
    prints_with: str = ""
    native_dpi: str = ""
    scaling_off: str = ""
    dry_hours: Decimal | None = None
    manual: str = ""
    isolator: str = ""


REQUIRED = (
    ("prints_with", "what it prints with"),
    ("native_dpi", "the dots per inch that its driver takes"),
    ("scaling_off", "where the driver's own scaling and sharpening are switched off"),
    ("dry_hours", "how long its prints dry"),
    ("manual", "the maker's manual"),
    ("isolator", "where it is isolated before a jam is cleared"),
)


def undescribed(printer: PrinterFacts) -> list[str]:
    """The facts that nobody has written down yet, as words."""
    values = {name: getattr(printer, name) for name, _ in REQUIRED}
    return [words for name, words in REQUIRED if values[name] is None or not str(values[name]).strip()]


def read_native(text: str) -> tuple[Dpi, ...]:
    """What a driver takes: ``720``, ``1440x720`` (across x down), or several of them with commas between.

    Raises Refused for what is no number above zero.
    """
    return tuple(_pair(part) for part in text.split(",") if part.strip())


def _pair(part: str) -> Dpi:
    across, _, down = part.strip().lower().replace("×", "x").partition("x")
    try:
        pair = Fraction(across.strip()), Fraction((down or across).strip())
    except (ValueError, ZeroDivisionError):
        pair = Fraction(0), Fraction(0)
    if min(pair) <= 0:
        raise Refused(f"{part.strip()!r} is no number of dots per inch; write 720, 1440x720, or 360, 720.")
    return pair


def findings(printer: PrinterFacts, mode: Dpi) -> Iterator[Finding]:
    """What asks before a chart or a print is made in a mode with so many dots per inch."""
    if missing := undescribed(printer):
        told = "; ".join(missing)
        yield ask(
            "printer facts", f"{printer.name} is not described yet. Missing: {told}.", about="printer not described"
        )
    native = read_native(printer.native_dpi)
    if native and mode not in native:
        taken = ", ".join(map(_told, native))
        yield ask(
            "native dots",
            f"{printer.name} takes {taken} dots per inch; this mode has {_told(mode)}, so that its driver makes the "
            "dots anew and the pitch of every strip with them.",
            about="dots per inch",
        )


def _told(dpi: Dpi) -> str:
    across, down = dpi
    return str(across) if across == down else f"{across} × {down}"
