"""How values look on screen: times, lengths, pitches, waits, strengths."""

import json
import re
import secrets
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Any

from flask import Flask, g, render_template, request
from markupsafe import Markup

from logbook.lengths import Length
from logbook.manner import counted
from logbook.manner import plain as without_zeros
from logbook.records.audit import AuditEntry
from logbook.records.floor import Sheet, StepRecord
from logbook.rules.signing import in_unit, limits
from logbook.rules.steplist import Step
from logbook.web import pinned
from logbook.web.condition import condition
from logbook.web.gate import own_manner, the_shop
from logbook.web.wayback import from_here, way_back

_MINUS_NOTHING = re.compile(r"-0(?=(\.0*)?(?![.\d]))")
_LETTERING = re.compile(r">[^<]*<")
STAGE_WORDS = {
    "print": "to print",
    "dry": "drying",
    "adhesive": "adhesive next",
    "laminate": "lens next",
    "dwell": "resting",
    "parted": "goes on as its pieces",
    "on sheet": "on its sheet",
    "trim": "to trim",
    "inspect": "to inspect",
    "pack": "to pack",
    "gone": "gone",
    "scrapped": "scrapped",
}
WAY = ("print", "dry", "adhesive", "laminate", "dwell", "trim", "inspect", "pack", "gone")
WAY_WORDS = ("printed", "dried", "adhesive", "lens", "rested", "trimmed", "inspected", "packed", "gone")


def teach(app: Flask) -> None:
    """Give templates these filters and the things every page shows."""
    app.add_template_filter(when)
    app.add_template_filter(day)
    app.add_template_filter(length)
    app.add_template_filter(plain)
    app.add_template_filter(formatted, "format")
    app.add_template_filter(marked)
    app.add_template_filter(told)
    app.jinja_env.finalize = _written
    app.add_template_filter(short)
    app.add_template_filter(size_words, "bytes")
    app.add_template_filter(own_limits, "limits")
    app.add_template_filter(own_unit, "unit")
    app.add_template_filter(reading)
    app.add_template_filter(number)
    app.add_template_filter(stage_words)
    app.add_template_filter(sheet_words)
    app.add_template_filter(stage_name)
    app.add_template_filter(newest)
    app.add_template_filter(counted)
    app.add_template_filter(act_words)
    app.add_template_global(way_marks)
    app.add_template_global(pinned.is_wanted, "pin_wanted")
    app.add_template_global(pinned.of_stage, "pin_of_stage")
    app.add_template_global(pinned.of_setting_up, "pin_of_setting_up")
    app.add_template_global(_request_id, "new_request_id")
    app.add_template_global(way_back)
    app.add_template_global(from_here)
    app.add_template_global(_addresses(app), "url_for")
    app.context_processor(_everywhere)


def _addresses(app: Flask) -> Callable[..., str]:
    """Flask's own ``url_for`` for templates, which remembers: a page of lists asks for a hundred addresses."""

    @lru_cache(maxsize=8192)
    def built(_root: str, endpoint: str, values: tuple[tuple[str, object], ...]) -> str:
        return app.url_for(endpoint, **dict(values))  # type: ignore[arg-type]

    def url_for(endpoint: str, **values: object) -> str:
        return built(request.script_root, endpoint, tuple(values.items()))

    return url_for


def _everywhere() -> dict[str, object]:
    return {
        "me": g.get("me"),
        "tablet": g.get("place"),
        "is_demo": the_shop().is_demo,
        "view_only": condition().words,
        "today_date": datetime.now().astimezone().date(),
    }


MANY_PRINTS, NEWEST_PRINTS = 60, 40


def newest(prints: Sequence[Any]) -> Sequence[Any]:
    """The newest of a long list of prints, which stands there oldest first; all where the address asks for them."""
    return prints if len(prints) <= MANY_PRINTS or request.args.get("prints") == "all" else prints[-NEWEST_PRINTS:]


def _request_id() -> str:
    return secrets.token_hex(16)


def trouble(title: str, sentence: str) -> str:
    """A whole page that says what went wrong and what to do."""
    g.setdefault("me", None)
    return render_template("trouble.html", title=title, sentence=sentence)


def when(moment: datetime | None) -> str:
    """Local date and time."""
    return moment.astimezone().strftime("%Y-%m-%d %H:%M") if moment else ""


def day(moment: date | datetime | None) -> str:
    """Local date."""
    if moment is None:
        return ""
    return (moment.astimezone(UTC).astimezone() if isinstance(moment, datetime) else moment).strftime("%Y-%m-%d")


def length(value: Length | None) -> str:
    """A length in the reader's units, rounded for reading; the stored value keeps what was typed."""
    return own_manner().length(value) if value is not None else ""


def formatted(pattern: str, *values: object) -> str:
    """A pattern with its values, with the reader's decimal mark; what rounds to nothing has no minus."""
    return own_manner().number(_MINUS_NOTHING.sub("0", pattern % values))


def marked(words: str) -> str:
    """A sentence, or a drawing's lettering, with the reader's decimal mark in its numbers."""
    if isinstance(words, Markup):
        return Markup(_LETTERING.sub(lambda found: own_manner().sentence(found[0]), words))  # noqa: S704, its own drawing
    return own_manner().sentence(words)


def told(words: str) -> str:
    """A sentence of the logbook's own with its millimetres in the reader's units."""
    return own_manner().told(words)


def number(text: object) -> str:
    """A number that comes as text, with the reader's decimal mark."""
    return own_manner().number(text) if text is not None else ""


def own_unit(unit: str) -> str:
    """The unit in which the reader measures."""
    return own_manner().unit(unit)


def own_limits(step: Step) -> str:
    """The limits of a step's number in the reader's unit."""
    return limits(in_unit(step, own_unit(step.unit)))


def reading(row: StepRecord) -> str:
    """What was recorded at a step, with its unit; a number in the reader's."""
    return own_manner().measured(row.value, row.unit) if row.unit else row.value


def _written(value: object) -> object:
    """What every page does to a bare number."""
    return own_manner().number(value) if isinstance(value, Decimal | float) else value


def plain(value: Decimal | str | None) -> str:
    """A decimal without trailing zeros; text as it is."""
    if value is None:
        return ""
    if not isinstance(value, Decimal):
        return str(value)
    return own_manner().number(without_zeros(value))


def size_words(size: float) -> str:
    """Bytes as people read them: powers of ten, as disks are sold."""
    for unit, width in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if size >= width:
            return own_manner().number(f"{size / width:.1f} {unit}")
    return f"{int(size)} bytes"


def short(sha256: str | None) -> str:
    """The first characters of a hash, as printed on travellers."""
    return (sha256 or "")[:8]


def act_words(entry: AuditEntry) -> str:
    """What an act was, with the stage it was about."""
    new = json.loads(entry.body)["new"]
    words = [entry.action, *(stage_name(str(new[key])) for key in ("stage", "verdict") if key in new)]
    return ": ".join(words)


def stage_name(stage: str) -> str:
    """A stage by the one word that people read for it."""
    return {"dwell": "rest"}.get(stage, stage)


def stage_words(stage: str) -> str:
    """A stage in the words of the work lists."""
    return STAGE_WORDS.get(stage, stage)


def sheet_words(sheet: Sheet) -> str:
    """A sheet's stage in the words of the work lists; one that was cut apart goes on only where a piece of it does."""
    stages = {piece.stage for piece in sheet.prints} if sheet.stage == "parted" else {""}
    if stages <= {"gone", "scrapped"}:
        return "its pieces have left" if "gone" in stages else "its pieces are scrapped"
    return stage_words(sheet.stage)


def way_marks(sheet_stage: str, print_stage: str) -> Markup:
    """The way from printing to the door as ridges: done, next, to come. Words and shape carry it, colour only helps."""
    stage = print_stage if print_stage != "on sheet" else sheet_stage
    if stage not in WAY:
        return Markup('<span class="ended">{}</span>').format(stage_words(stage))
    here = WAY.index(stage)
    ridges = Markup("").join(
        Markup('<li class="{}"{}><span>{}</span></li>').format(
            "done" if index < here or stage == "gone" else "next" if index == here else "ahead",
            Markup(' aria-current="step"') if index == here else "",
            WAY_WORDS[index],
        )
        for index in range(len(WAY))
    )
    return Markup('<ol class="way" aria-label="{}">{}</ol>').format(f"stands at: {stage_words(stage)}", ridges)
