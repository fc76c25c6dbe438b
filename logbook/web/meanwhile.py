"""A form whose object was changed since it was shown: by whom, when, and what, before anything is overwritten."""

import json
from collections.abc import Mapping

from sqlalchemy.orm import Session

from logbook.records import audit
from logbook.records.audit import AuditEntry
from logbook.refusals import Changed
from logbook.web.fields import BenchForm

_MOST_SHOWN = 60


def watch(
    session: Session, form: BenchForm, about: str, *actions: str, names: Mapping[str, str] | None = None
) -> None:
    """Remember with the form up to which entry of the trail its values are known.

    ``about`` is the object as the trail names it; ``actions`` are those that change what the form shows; ``names``
    are words for what has no field of its own. Call it before the values are read, where they are read by itself.
    """
    form.about, form.changed_by, form.names = about, actions, names or {}
    if not form.seen.data:
        form.seen.data = str(audit.head(session).seq)


def check(session: Session, form: BenchForm) -> None:
    """Refuse a form that does not know the newest change; what was typed stays, and the next time it goes through."""
    seen = form.seen.data or ""
    if not form.about or not seen.isdecimal():
        return
    entries = audit.since(session, int(seen), ref=form.about, actions=form.changed_by)
    if not entries:
        return
    form.seen.data = str(entries[-1].id)
    told = " ".join(_told(form, entry) for entry in entries)
    raise Changed(f"{told} What you typed stands below and is not kept yet; send it again to put it in place of that.")


def _told(form: BenchForm, entry: AuditEntry) -> str:
    body = json.loads(entry.body)
    old, new = body["old"], body["new"]
    what = "; ".join(f"{_name(form, key)} {_shown(old.get(key))} → {_shown(new[key])}" for key in new)
    return f"Changed by {entry.actor_name} at {entry.at.astimezone():%Y-%m-%d %H:%M}: {what}."


def _name(form: BenchForm, key: str) -> str:
    return f"“{form[key].label.text if key in form else form.names.get(key, key)}”"


def _shown(value: object) -> str:
    words = "" if value in (None, "None") else " ".join(str(value).split())
    if not words:
        return "nothing"
    return words if len(words) <= _MOST_SHOWN else f"{words[:_MOST_SHOWN]}…"
