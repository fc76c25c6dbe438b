"""The shop's own facts, and its step list."""

import hashlib
import ipaddress
import json
import tomllib
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from pathlib import Path
from urllib.parse import urlsplit

from sqlalchemy import select
from sqlalchemy.orm import Session

from logbook import resources
from logbook.engine.headers import PIXEL_CAP
from logbook.records.audit import Act, Actor, record
from logbook.records.orders import StepListRevision
from logbook.records.people import ShopFact
from logbook.refusals import Refused
from logbook.rules.steplist import StepList, read_step_list

FACTS = {
    "shop name": "Shop name",
    "hand-over folder": "Folder that the printer's computer reads",
    "emergency number": "Emergency number",
    "ambulance address": "Address as an ambulance needs it",
    "first-aider": "First-aider",
    "dressings": "Where dressings are kept",
    "eyewash": "Where the eyewash is kept",
    "local rule": "The rule that counts here (law, insurer, landlord)",
    "hourly rate": "Price of an hour's work, for quotes",
    "tax": "Tax on what is sold, in percent; prices here are without it",
    "money": "Money, as it is written behind an amount",
    "office paper": "In the office printer lies A4 or Letter (nothing written: Letter for whoever works in inches)",
    "address": "Address of this logbook in the shop's network, for the QR codes",
    "proof address": "Links to proofs: the public address that customers open, such as https://proofs.example.org "
                     "(nothing written: links are off)",
    "forecast lens": "Forecasts: how far a lens lot may be from its nominal pitch, in percent (usually 0.5)",
    "forecast scale": "Forecasts: how far a printer's scale may be from true, in percent (usually 0.05)",
    "forecast mode or paper": "Forecasts: what a mode or a paper may add to that, in percent (usually 0.05)",
    "largest picture": "Largest picture taken, in million pixels (400 where nothing is written)",
}
FIRST_AID = ("emergency number", "ambulance address", "first-aider", "dressings", "eyewash")
"""What the first-aid card says of this shop; a blank one helps nobody."""
OFFICE_PAPERS = ("A4", "Letter")
MOST_MEGAPIXELS = 3600
"""A picture of 60,000 pixels a side, the most that is ever taken."""


def first_aid_missing(session: Session) -> list[str]:
    """What the first-aid card still leaves blank, in words."""
    known = facts(session)
    return [FACTS[key][:1].lower() + FACTS[key][1:] for key in FIRST_AID if not known[key]]


def set_facts(session: Session, by: Actor, values: dict[str, str]) -> None:
    """Write down the shop's facts; only what changed is recorded."""
    known = {row.key: row for row in session.execute(select(ShopFact)).scalars()}
    changed = {
        key: value.strip()
        for key, value in values.items()
        if key in FACTS and value.strip() != (known[key].value if key in known else "")
    }
    if not changed:
        return
    _megapixels(changed.get("largest picture", ""))
    if changed.get("office paper"):
        changed["office paper"] = _office_paper(changed["office paper"])
    if changed.get("proof address"):
        changed["proof address"] = _public_address(changed["proof address"])
    for key in changed:
        if key.startswith("forecast "):
            percent(changed[key], words=FACTS[key], field=key.replace(" ", "_"))
    old = {key: known[key].value for key in changed if key in known}
    for key, value in changed.items():
        if key in known:
            known[key].value = value
        else:
            session.add(ShopFact(key=key, value=value))
    record(session, by, Act("shop facts set", ["shop:facts"], old=old, new=changed))


def _office_paper(text: str) -> str:
    found = next((one for one in OFFICE_PAPERS if one.casefold() == text.casefold()), None)
    if found is None:
        raise Refused(f"Papers are printed on A4 or Letter, not {text[:20]!r}.", field="office_paper")
    return found


def percent(text: str, *, words: str, field: str | None = None) -> Decimal | None:
    """A number of percent between 0 and 100, None where nothing is written; Refused, naming the field, for others."""
    if not text:
        return None
    try:
        value = Decimal(text.replace(",", "."))
    except InvalidOperation:
        value = Decimal(0)
    if not 0 < value < 100:
        raise Refused(f"{words}: a number between 0 and 100, not {text[:20]!r}.", field=field)
    return value


def largest_picture(session: Session) -> int:
    """The pixels of the largest picture that the owner lets in."""
    return _megapixels(facts(session)["largest picture"]) * 1_000_000


def _megapixels(text: str) -> int:
    if not text:
        return PIXEL_CAP // 1_000_000
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= MOST_MEGAPIXELS:
        raise Refused(f"The largest picture is a whole number of million pixels from 1 to {MOST_MEGAPIXELS}, "
                      f"not {text[:20]!r}.", field="largest_picture")
    return int(text)


def _public_address(text: str) -> str:
    """The address of proof links as it is kept: https, a host, perhaps a port. Plain http serves this machine only."""
    try:
        parts = urlsplit(text.strip())
        sound = parts.scheme in ("https", "http") and parts.hostname and parts.port != 0
    except ValueError:
        sound = False
    if not sound or f"{parts.scheme}://{parts.netloc}" != text.strip().rstrip("/") or "@" in parts.netloc:
        raise Refused("The address of links to proofs reads like https://proofs.example.org, with nothing after the "
                      "name.", field="proof_address")  # fmt: skip
    if parts.scheme == "http" and not _is_this_machine(str(parts.hostname)):
        raise Refused("Links to proofs go over the open network: their address begins with https://.",
                      field="proof_address")  # fmt: skip
    return f"{parts.scheme}://{parts.netloc}"


def _is_this_machine(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def facts(session: Session) -> dict[str, str]:
    """All facts, empty text where nobody wrote one down."""
    known = {row.key: row.value for row in session.execute(select(ShopFact)).scalars()}
    return {key: known.get(key, "") for key in FACTS}


def current_step_list(session: Session, by: Actor, own: Path) -> StepListRevision:
    """The shop's step list as it stands, kept as a revision; its own file wins over the shipped one."""
    return kept_revision(session, by, standing_step_list(own))


def kept_revision(session: Session, by: Actor, content: str) -> StepListRevision:
    """A whole step list as JSON, kept once."""
    sha256 = hashlib.sha256(content.encode()).hexdigest()
    known = session.execute(select(StepListRevision).where(StepListRevision.sha256 == sha256)).scalar_one_or_none()
    if known is None:
        revision = read_step_list(json.loads(content)).revision
        known = StepListRevision(sha256=sha256, revision=revision, content=content, kept_at=by.now)
        session.add(known)
        session.flush()
    return known


def standing_step_list(own: Path) -> str:
    """The step list that new jobs start with, as JSON; nothing is written."""
    path = own / "steps.toml"
    text = (path if path.is_file() else resources.folder("safety") / "steps.toml").read_text(encoding="utf-8")
    return json.dumps(tomllib.loads(text), ensure_ascii=False, sort_keys=True)


def step_list(kept: StepListRevision) -> StepList:
    """A kept revision, checked and frozen."""
    return _read_once(kept.content)


@lru_cache(maxsize=64)
def _read_once(content: str) -> StepList:
    """A kept revision never changes, and a page asks for it once per step that it shows."""
    return read_step_list(json.loads(content))
