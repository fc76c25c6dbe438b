"""The demo: loads once, never into a real shop's folder, shows every stage; its check fails when a part is broken."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select

from logbook.actions import trace, verifying
from logbook.actions.pitch import prints_from
from logbook.records.floor import Print, Run, Sheet, Verdict
from logbook.records.opened import DEMO_MARK, Shop, open_shop
from logbook.records.orders import Job
from logbook.records.pitch import PitchOnRecord
from logbook.settings import Settings


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
    told = _program(project_root, "demo/scenario.py", "--data", str(tmp_path))
    assert told.returncode != 0
    assert "never shares" in told.stderr
    assert not (tmp_path / DEMO_MARK).exists()


def test_something_stands_at_every_stage(demo):
    with demo.database.reading() as session:
        sheets = set(session.execute(select(Sheet.stage)).scalars())
        prints = set(session.execute(select(Print.stage)).scalars())
    assert {"print", "dry", "adhesive", "laminate", "dwell", "parted"} <= sheets
    assert {"on sheet", "trim", "inspect", "pack", "gone", "scrapped"} <= prints


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
        assert session.execute(select(Verdict).where(Verdict.kind == "concession")).scalars().first() is not None
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


def test_the_check_walks_the_whole_job(demo_folder, project_root):
    told = _program(project_root, "demo/check.py", "--data", str(demo_folder))
    assert told.returncode == 0, told.stderr
    assert "trace forwards and backwards" in told.stdout


def test_the_check_says_what_failed_when_no_worker_answers(demo_folder, project_root):
    told = _program(project_root, "demo/check.py", "--data", str(demo_folder), "--no-worker", "--patience", "2")
    assert told.returncode == 1
    assert "interlace: the run is still waiting" in told.stderr


def test_the_check_says_when_the_demo_s_records_were_changed(demo_folder, demo, tmp_path, project_root):
    copy = tmp_path / "changed"
    subprocess.run(["cp", "-r", str(demo_folder), str(copy)], check=True)
    with demo.database.reading() as session:
        file = session.execute(select(Run)).scalars().first().output
        assert file is not None
    (copy / "files" / file.sha256[:2] / file.sha256).write_bytes(b"another file")
    told = _program(project_root, "-m", "logbook", "verify", "--json", "--data", str(copy))
    assert told.returncode == 1
    assert file.sha256 in json.loads(told.stdout)["sentence"]
