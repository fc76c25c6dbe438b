"""Waiting times: derived from recorded times whenever somebody looks, never a stored flag."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from logbook.rules.findings import Finding, ask

# Shop defaults without a source; the maker's sheet wins and is kept with the material.
DRY_HOURS = Decimal(24)
TRIM_HOURS = Decimal(24)
SHIP_HOURS = Decimal(72)


@dataclass(frozen=True, slots=True)
class Wait:
    """One waiting time: since when, how long, for what."""

    what: str
    since: datetime | None
    hours: Decimal

    @property
    def until(self) -> datetime | None:
        """When it is over; None when nothing started it."""
        return None if self.since is None else self.since + timedelta(hours=float(self.hours))

    def left(self, now: datetime) -> timedelta:
        """What is left of it, never below zero."""
        return max(timedelta(0), self.until - now) if self.until else timedelta(0)

    def findings(self, now: datetime) -> list[Finding]:
        """An ask while time is left: the wait may be cut short with a reason."""
        left = self.left(now)
        if not left:
            return []
        whole = f"{self.hours.normalize():f} h"
        sentence = f"{self.what}: {describe(left)} left of {whole}."
        return [ask(f"wait: {self.what}", sentence, about=self.what, alike=f"{self.what}: {whole}")]


_GUARDS = {
    "dry": ("Drying", "print", DRY_HOURS),
    "dwell": ("Rest before trimming", "laminate", TRIM_HOURS),
    "pack": ("Rest before it leaves", "laminate", SHIP_HOURS),
}
FROM = {"dry": "printing", "dwell": "mounting", "pack": "mounting"}
"""Since when each waits, as paper says it."""
SINCE = frozenset(since for _, since, _ in _GUARDS.values())
"""The stages of a sheet whose signatures start a wait."""


def guarding(stage: str, hours: Mapping[str, Decimal | None], signed: Callable[[str], datetime | None]) -> Wait | None:
    """The wait that guards a stage; None where none does.

    ``hours`` are the makers', by stage: None takes the shop's default, zero is the maker's word that nothing waits.
    ``signed`` tells when the sheet's stage was signed since which it waits.
    """
    if stage not in _GUARDS:
        return None
    what, since, _ = _GUARDS[stage]
    return Wait(what, signed(since), whole(stage, hours))


def whole(stage: str, hours: Mapping[str, Decimal | None]) -> Decimal:
    """How long the wait lasts that guards a stage."""
    told = hours[stage]
    return _GUARDS[stage][2] if told is None else told


def longest(*told: Decimal | None) -> Decimal | None:
    """Of what several makers say, what covers all of them; None where none says anything."""
    return max((hours for hours in told if hours is not None), default=None)


def describe(span: timedelta) -> str:
    """Hours and minutes as people say them; a minute that has begun counts."""
    minutes = -(-span // timedelta(minutes=1))
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
