"""The demo: loads once, never into a real shop's folder, and shows every stage."""

import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import select

from logbook.actions import people, runs, trace, verifying
from logbook.actions.pitch import prints_from
from logbook.background.compute import work_on
from logbook.records.audit import Actor
from logbook.records.floor import Print, Run, Sheet, Verdict
from logbook.records.opened import DEMO_MARK, Shop, open_shop
from logbook.records.orders import Job, Reorder
from logbook.records.pitch import PitchOnRecord
from logbook.settings import Settings
from logbook.web.app import create_app
from logbook.web.gate import COOKIE


def _program(root: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, *words], cwd=root, capture_output=True, text=True, check=False)


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory, project_root: Path) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "data"
    told = _program(project_root, "demo/scenario.py", "--data", str(folder))
    assert told.returncode == 0, told.stderr
    return folder


@pytest.fixture
def demo(demo_folder: Path) -> Iterator[Shop]:
    shop = open_shop(Settings(data=demo_folder))
    yield shop
    shop.database.close()


def test_loading_it_again_changes_nothing(demo_folder, demo, project_root):
    before = verifying.verify(demo.database, demo.store)["head"]
    told = _program(project_root, "demo/scenario.py", "--data", str(demo_folder))
    after = verifying.verify(demo.database, demo.store)
    assert after["sound"]
    assert after["head"] == before
    assert "password" in told.stdout


def test_it_never_touches_the_folder_of_a_real_shop(tmp_path, project_root):
    real = open_shop(Settings(data=tmp_path))
    real.database.close()
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    told = _program(project_root, "demo/scenario.py", "--data", str(tmp_path))
    assert told.returncode != 0
    assert "never shares" in told.stderr
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


def test_a_demo_that_was_loaded_half_is_not_taken_for_a_whole_one(tmp_path, project_root):
    begun = open_shop(Settings(data=tmp_path))
    begun.database.close()
    (tmp_path / DEMO_MARK).write_text("loading\n", encoding="ascii")
    told = _program(project_root, "demo/scenario.py", "--data", str(tmp_path))
    assert told.returncode != 0
    assert "delete that folder" in told.stderr


def test_something_stands_at_every_stage(demo):
    with demo.database.reading() as session:
        sheets = set(session.execute(select(Sheet.stage)).scalars())
        prints = set(session.execute(select(Print.stage)).scalars())
    assert {"print", "dry", "adhesive", "laminate", "dwell", "parted"} <= sheets
    assert {"on sheet", "trim", "inspect", "pack", "gone", "scrapped"} <= prints


def test_something_of_everything_is_there_today(demo_folder, tmp_path):
    copy = tmp_path / "data"
    shutil.copytree(demo_folder, copy)
    shop = open_shop(Settings(data=copy))
    page = _today(shop, "Ilse Varga")
    shop.database.close()
    for heading in ("At work", "Can go on now", "Due within a week", "Waits for the customer", "Low, held or ending"):
        assert heading in page
    assert 'class="none"' not in page
    for line in ("asked for a change", "Choose a pitch", "print it", ": dries", "bring the adhesive on",
                 "register and laminate", ": rests before trimming", "trim it", "inspect it",
                 ": rests before it leaves", " left, order more<", "ends on", "set aside"):  # fmt: skip
        assert line in page


def _today(shop: Shop, name: str) -> str:
    with shop.database.writing() as session:
        person = people.person_named(session, name)
        by = Actor(person.id, person.name, person.role, datetime.now(UTC))
        token = people.start_sign_in(session, by, person=person, keys=[])
    client = create_app(shop, ring=lambda _: None).test_client()
    client.set_cookie(COOKIE, token)
    return client.get("/").text


def test_the_run_that_waits_is_computed_once_a_worker_comes(demo_folder, tmp_path):
    copy = tmp_path / "data"
    shutil.copytree(demo_folder, copy)
    shop = open_shop(Settings(data=copy))
    with shop.database.reading() as session:
        waiting = runs.waiting_runs(session, datetime.now(UTC))
    for run_id in waiting:
        work_on(shop, run_id)
    with shop.database.reading() as session:
        assert [session.get_one(Run, run_id).state for run_id in waiting] == ["done"]
    shop.database.close()


def test_of_five_copies_one_failed_and_was_replaced_from_the_same_run(demo):
    with demo.database.reading() as session:
        job = session.execute(select(Job).where(Job.quantity == 5)).scalar_one()
        pieces = list(session.execute(select(Print).where(Print.job_id == job.id).order_by(Print.id)).scalars())
        replaced = [piece for piece in pieces if piece.replaces is not None]
        assert len(pieces) == 6
        assert [piece.stage for piece in pieces].count("gone") == 4
        assert replaced[0].replaces.stage == "scrapped"
        assert {piece.sheet.run_id for piece in pieces} == {pieces[0].sheet.run_id}


def test_it_shows_a_concession_a_sample_and_a_half_done_job(demo):
    with demo.database.reading() as session:
        verdicts = {one.kind: one for one in session.execute(select(Verdict)).scalars()}
        assert {kind: one.cause for kind, one in verdicts.items()} == {"replace": "L1", "concession": "E2"}
        assert "leave it as it is" in verdicts["concession"].word.words
        assert session.execute(select(Run).where(Run.sample)).scalars().first() is not None
        midway = session.execute(select(Job).where(Job.entered_at_stage.is_not(None))).scalars().one()
        piece = session.execute(select(Print).where(Print.job_id == midway.id)).scalars().one()
        told = trace.of_print(session, piece)
        assert told["run"] is None
        assert {step["source"] for step in told["steps"]} == {"before the logbook"}


def test_the_prints_of_the_withdrawn_pitch_are_set_aside(demo):
    with demo.database.reading() as session:
        withdrawn = [pitch for pitch in session.execute(select(PitchOnRecord)).scalars() if pitch.withdrawal]
        assert len(withdrawn) == 1
        touched = prints_from(session, withdrawn[0])
        assert touched
        assert all(piece.set_aside_reason for piece in touched)


def test_the_check_says_when_the_demo_s_records_were_changed(demo_folder, demo, tmp_path, project_root):
    copy = tmp_path / "changed"
    shutil.copytree(demo_folder, copy)
    with demo.database.reading() as session:
        file = session.execute(select(Run)).scalars().first().output
        assert file is not None
    (copy / "files" / file.sha256[:2] / file.sha256).write_bytes(b"another file")
    told = _program(project_root, "demo/check.py", "--data", str(copy))
    assert told.returncode == 1
    assert told.stderr.startswith("The check failed at: verify")
    assert file.sha256 in told.stderr


def test_the_reorder_is_one_and_at_work_again(demo):
    with demo.database.reading() as session:
        again = session.execute(select(Reorder)).scalar_one()
        assert again.of.ended_at is not None
        assert [one.file_id for one in again.job.pictures] == [one.file_id for one in again.of.pictures]
        assert (again.job.quantity, again.of.quantity) == (2, 1)
        assert again.job.ended_at is None
