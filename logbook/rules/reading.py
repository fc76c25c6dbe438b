"""Careful reading of already-loaded mappings: one clear sentence for the first thing that is wrong."""

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal, InvalidOperation

from logbook.refusals import Refused

PROMISING = re.compile(r"\b(safe|safely|ok|okay|ready)\b", re.IGNORECASE)
"""Words that no step and no card may carry: paper says who signed what, never that a machine may run."""


def no_stranger(mapping: Mapping, known: Iterable[str], *, where: str) -> None:
    """Refuse a key that nobody reads: it is most likely a typing mistake."""
    strangers = sorted(set(mapping) - set(known))
    if strangers:
        raise Refused(f"{where}: the entry {strangers[0]!r} is not known; known are {', '.join(sorted(known))}.")


def text(mapping: Mapping, key: str, *, where: str, required: bool = True) -> str:
    """A stripped text; empty only where it is not required. A promise such as "safe" is refused."""
    value = mapping.get(key, "")
    if not isinstance(value, str):
        raise Refused(f"{where}: {key} must be a text in quotes.")
    if required and not value.strip():
        raise Refused(f"{where}: {key} is missing.")
    if found := PROMISING.search(value):
        raise Refused(f"{where}: {key} says {found[0]!r}; no screen and no paper promises that.")
    return value.strip()


def texts(mapping: Mapping, key: str, *, where: str, required: bool = False) -> tuple[str, ...]:
    """A list of texts, in order."""
    value = mapping.get(key, ())
    if isinstance(value, str) or not all(isinstance(item, str) and item.strip() for item in value):
        raise Refused(f"{where}: {key} must be a list of texts.")
    if required and not value:
        raise Refused(f"{where}: {key} is missing.")
    return tuple(text({key: item}, key, where=where) for item in value)


def one_of(mapping: Mapping, key: str, allowed: Iterable[str], *, where: str, default: str = "") -> str:
    """One of a few words; the default stands for a missing entry and may be empty."""
    value = mapping.get(key, default)
    if value != default and value not in set(allowed):
        raise Refused(f"{where}: {key} is {value!r}; use {', '.join(allowed)}.")
    return str(value)


def flag(mapping: Mapping, key: str, *, where: str, default: bool = False) -> bool:
    """True or false, nothing else."""
    value = mapping.get(key, default)
    if not isinstance(value, bool):
        raise Refused(f"{where}: {key} must be true or false.")
    return value


def number(mapping: Mapping, key: str, *, where: str) -> Decimal | None:
    """A finite number as an exact decimal, or None where there is none."""
    if key not in mapping:
        return None
    try:
        value = Decimal(str(mapping[key]))
    except InvalidOperation:
        raise Refused(f"{where}: {key} must be a number.") from None
    if not value.is_finite():
        raise Refused(f"{where}: {key} must be a number.")
    return value
