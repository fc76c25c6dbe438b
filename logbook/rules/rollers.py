"""Who may work at a machine that can hurt: stops that no reason and no owner can lift on the spot."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from logbook.rules.findings import Finding, ask, note, stop

SESSION_IDLE = timedelta(minutes=30)
WARN_BEFORE = timedelta(days=30)
LEADING_EDGE: dict[str, Literal["top", "left"]] = {"left-right": "top", "up-down": "left"}
"""Which edge of the picture enters the rollers first: the one that lets the ridges run with the feed. A shop default
without a source; the machine maker's manual comes first."""
MINORS_BARRED_CUTTING = ("guillotine", "lever")


@dataclass(frozen=True, slots=True)
class MachineFacts:
    """What is known about a machine; empty text means not set."""

    name: str
    kind: str
    drive: str
    cutting: str = ""
    manual: str = ""
    freeing_procedure: str = ""
    stop_position: str = ""
    isolator: str = ""
    competent_role: str = ""
    last_inspection: str = ""
    out_of_use: str | None = None
    check_passed: bool = False

    @property
    def can_hurt(self) -> bool:
        """Whether people are named for it: rollers and blades, not printers."""
        return self.kind != "printer"

    @property
    def must_be_known(self) -> bool:
        """Whether nobody works at it before manual, stops and the rest are written down."""
        return self.kind == "laminator" or (self.kind == "trimmer" and self.drive == "powered")

    @property
    def needs_daily_check(self) -> bool:
        """Whatever can hurt is held until today's check is signed."""
        return self.can_hurt

    @property
    def bars_minors(self) -> bool:
        """Powered nips, guillotines, lever trimmers (29 CFR 570.63, MHSWR 1999 reg 19: taken over, not re-read)."""
        return (self.kind == "laminator" and self.drive == "powered") or self.cutting in MINORS_BARRED_CUTTING


@dataclass(frozen=True, slots=True)
class WorkerFacts:
    """One person who takes part."""

    name: str
    authorised_until: date | None
    authorised_by_nobody_else: bool = False
    under_18: bool = False
    minor_document: str = ""
    """Under 18: what allows it; powered: with issuer and adult; hand-driven: the written risk assessment."""
    minor_issuer: str = ""
    minor_adult: str = ""
    named_later: datetime | None = None
    """Asked of an earlier time: when the person was named, if that came only after it."""

    @property
    def minor_lifted(self) -> bool:
        """Whether the owner named document, issuer and supervising adult."""
        return bool(self.minor_document and self.minor_issuer and self.minor_adult)


def still_covers(*, last_used_at: datetime, last_day: date, now: datetime, today: date) -> bool:
    """Whether what was read and ticked at the rollers still holds: the same day, at most half an hour away."""
    return last_day == today and now - last_used_at <= SESSION_IDLE


def somebody_there(name: str, machine: str, sheet: str, since: str) -> Finding:
    """An ask: what another person set up is not signed yet, so that their hands may be at the rollers."""
    return ask(
        f"at the rollers: {sheet}",
        f"{name} set up {machine} for sheet {sheet} at {since} and has not signed it: hands may be at the rollers. "
        "Go and look, and write down how you know that nobody works there.",
        about=f"{name} at {machine}",
    )


def signed_late(ago: str) -> Finding:
    """A note: the signature came long after the setting up, so that nobody knows how long the rollers stood."""
    return note("set-up", f"The rollers were set up {ago} before this signature.")


_REQUIRED = (
    ("manual", "the maker's manual (title, edition, where it is kept) or who wrote the instruction instead"),
    ("freeing_procedure", "the procedure for freeing a trapped person"),
    ("competent_role", "the competent person's role"),
    ("last_inspection", "the last inspection"),
)
_REQUIRED_POWERED = (
    ("stop_position", "where the emergency stops are"),
    ("isolator", "where the isolator or plug is"),
)


def missing_fields(machine: MachineFacts) -> list[str]:
    """The mandatory facts that nobody has written down yet, as words: of rollers, and of blades that a motor drives."""
    if not machine.must_be_known:
        return []
    required = _REQUIRED + (_REQUIRED_POWERED if machine.drive == "powered" else ())
    return [words for name, words in required if not getattr(machine, name).strip()]


def may_run(machine: MachineFacts, workers: list[WorkerFacts], *, today: date, local_day: date | None) -> list[Finding]:
    """Every reason why these people may not work at this machine now.

    ``local_day`` is the shop's own day of the last check; None when there was none.
    """
    found = [*_machine(machine, today, local_day)]
    for worker in workers if machine.can_hurt else ():
        found.extend(_worker(machine, worker, today))
    return found


def _machine(machine: MachineFacts, today: date, local_day: date | None) -> Iterator[Finding]:
    if machine.out_of_use is not None:
        yield stop(
            "out of use",
            f"{machine.name} is out of use: {machine.out_of_use}; once it is put right, the owner says so on its page.",
            safety=True,
        )
    if missing := missing_fields(machine):
        yield stop("machine facts", f"{machine.name}: NOT SET, do not run. Missing: {'; '.join(missing)}.", safety=True)
    if machine.needs_daily_check and (local_day != today or not machine.check_passed):
        yield stop(
            "daily check", f"{machine.name}: today's machine check has not been signed; do it on its page.", safety=True
        )


def _minor(machine: MachineFacts, worker: WorkerFacts) -> Iterator[Finding]:
    if machine.bars_minors and not worker.minor_lifted:
        yield stop(
            "under 18",
            f"{worker.name} is under 18 and cannot work at {machine.name}; somebody else does this.",
            safety=True,
        )
    elif not machine.bars_minors and not worker.minor_document:
        yield stop(
            "under 18",
            f"{worker.name} is under 18; {machine.name} needs the owner's written risk assessment first.",
            safety=True,
        )
    else:
        told = f"{worker.minor_document}" + (f" of {worker.minor_issuer}" if worker.minor_issuer else "")
        adult = f", supervised by {worker.minor_adult}" if worker.minor_adult else ""
        yield note(
            "under 18",
            f"{worker.name} is under 18: {told}{adult}. This record is no permission; check the law of this place.",
        )


def _worker(machine: MachineFacts, worker: WorkerFacts, today: date) -> Iterator[Finding]:
    if worker.under_18:
        yield from _minor(machine, worker)
    until = worker.authorised_until
    if until is None and worker.named_later is not None:
        yield stop(
            "authorisation",
            f"{worker.name} was not authorised for {machine.name} at that time; the owner named them on "
            f"{worker.named_later.astimezone():%Y-%m-%d at %H:%M}, and a signature does not reach back. Somebody who "
            "took part and was authorised then may sign; otherwise decide what becomes of the sheet, and write down "
            "why.",
            safety=True,
        )
    elif until is None:
        yield stop(
            "authorisation",
            f"{worker.name} is not authorised for {machine.name}; the owner names people on its page.",
            safety=True,
        )
    elif until < today:
        yield stop(
            "authorisation",
            f"{worker.name}'s authorisation for {machine.name} ended on {until:%Y-%m-%d}; the owner names "
            "people on its page.",
            safety=True,
        )
    elif until - today <= WARN_BEFORE:
        yield note("authorisation", f"{worker.name}'s authorisation for {machine.name} ends on {until:%Y-%m-%d}.")
    if until is not None and worker.authorised_by_nobody_else:
        yield note("authorisation", f"{worker.name} named themselves for it; nobody else has looked at that.")
