"""The status of what is kept: backups, restore trials, the disk."""

from pathlib import Path

from flask import Blueprint, url_for
from werkzeug import Response
from wtforms import BooleanField, IntegerField, StringField, TimeField
from wtforms.validators import Length as TextLength
from wtforms.validators import NumberRange

from logbook.actions import backups, diskuse, repairs
from logbook.actions.finding import by_code
from logbook.records.keeping import KeepingRun
from logbook.web.acting import act, address_of, page, reading
from logbook.web.fields import MAYBE, NEEDED, BenchForm
from logbook.web.gate import actor, owner_only, the_shop
from logbook.web.howfar import how_far

pages = Blueprint("status", __name__)
RUNS_SHOWN = 30
REPAIRS_SHOWN = 10


class BackupNow(BenchForm):
    """A button."""


class SetUpForm(BenchForm):
    """Where backups go, and when."""

    folder = StringField(
        "Folder for backups", [MAYBE, TextLength(max=500)],
        description="On the logbook's own machine: a stick, another disk, a folder of another machine.",
    )  # fmt: skip
    closing = TimeField(
        "Closing time", [MAYBE],
        description="A backup is made each day after it, or at the next start. Empty: only when somebody asks.",
    )  # fmt: skip
    keep = IntegerField("Backups that stay there", [NEEDED, NumberRange(min=1, max=1000)])
    limit_days = IntegerField("Say so when the last one is older than (days)", [NEEDED, NumberRange(min=1, max=365)])
    with_interlaced = BooleanField("Interlaced files too, although they can be made anew")


@pages.route("/shop/status")
def status() -> tuple[str, int]:
    """Last backup, last trial, how full the disk is."""
    return _page()


def _page(now_form: BenchForm | None = None, set_up_form: SetUpForm | None = None) -> tuple[str, int]:
    now = actor().now
    with reading() as session:
        known = backups.setup(session)
        return page(
            "status.html",
            setup=known,
            on_server=the_shop().database.path is None,
            good={kind: backups.last(session, kind) for kind in ("backup", "trial", "check")},
            working=backups.at_work(session),
            runs=backups.newest(session, RUNS_SHOWN),
            repairs=[(one, one.about and address_of(one.about)) for one in repairs.newest(session, REPAIRS_SHOWN)],
            warnings=backups.warnings(session, now),
            use=diskuse.disk_use(session, the_shop(), now),
            classes=diskuse.CLASSES,
            now_form=now_form or BackupNow(formdata=None),
            form=set_up_form or SetUpForm(
                formdata=None, folder=str(known.folder or ""), closing=known.closing, keep=known.keep,
                limit_days=known.limit_days, with_interlaced=known.with_interlaced,
            ),
        )  # fmt: skip


@pages.get("/shop/status/<code>.json")
def state(code: str) -> Response:
    """What the page polls."""
    with reading() as session:
        found = by_code(session, KeepingRun, code)
        return how_far(found)


@pages.post("/shop/status/backup")
def back_up() -> Response | tuple[str, int]:
    """A backup now, in the background."""
    form = BackupNow()
    if form.validate_on_submit() and (done := act(form, backups.ask_for, lambda _: url_for("status.status"))):
        return done
    return _page(now_form=form)


@pages.post("/shop/status/<code>/stop")
def stop(code: str) -> Response | tuple[str, int]:
    """Stop what is at work."""
    form = BackupNow()
    if form.validate_on_submit() and (
        done := act(
            form,
            lambda session, by: backups.stop(session, by, run=by_code(session, KeepingRun, code)),
            lambda _: url_for("status.status"),
        )
    ):
        return done
    return _page(now_form=form)


@pages.post("/shop/status/set-up")
@owner_only
def set_up() -> Response | tuple[str, int]:
    """Where and when."""
    form = SetUpForm()
    if form.validate_on_submit():
        folder = (form.folder.data or "").strip()
        wanted = backups.Setup(Path(folder) if folder else None, form.closing.data, form.keep.data,
                               form.limit_days.data, form.with_interlaced.data)  # fmt: skip
        data = the_shop().settings.data
        if done := act(
            form,
            lambda session, by: backups.set_up(session, by, data=data, wanted=wanted),
            lambda _: url_for("status.status"),
        ):
            return done
    return _page(set_up_form=form)
