"""A complete copy for an inspector, and the program in it that checks it without any of ours.

The verifier was written from FORMAT.txt; here it runs as a process of its own, isolated from this project.
"""

import ast
import csv
import hashlib
import json
import shutil
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook import resources
from logbook.actions import exporting, verifying
from logbook.records.cells import DANGEROUS, harmless, meant
from logbook.records.export import SECRET_COLUMNS, SECRET_TABLES, tables_to_copy
from logbook.records.opened import open_shop
from logbook.records.tables import Base
from logbook.refusals import Refused
from logbook.settings import Settings
from support.small_shop import small_shop
from support.tampering import KINDS, tamper

VERIFIER = resources.folder("templates") / "export" / "check_export.py"


@pytest.fixture(scope="module")
def data(tmp_path_factory):
    made = small_shop(tmp_path_factory.mktemp("export") / "data")
    made.ready()
    made.shop.database.close()
    return made.shop.settings.data


@pytest.fixture
def shop(data, tmp_path):
    """A copy of it that may be spoiled."""
    shutil.copytree(data, tmp_path / "data")
    made = open_shop(Settings(data=tmp_path / "data"))
    yield made
    made.database.close()


def _export(shop, folder):
    return exporting.export_shop(shop, folder, now=datetime.now(UTC))


def _check(folder, *words):
    """The verifier inside the copy: isolated, with nothing of this project within reach."""
    command = [sys.executable, "-I", "-S", folder / "check_export.py", folder, *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd="/")


def _rewrite(folder):
    """The manifest of somebody who changed a copy and computed every sum anew."""
    told = json.loads((folder / "manifest.json").read_bytes())
    told["files"] = [
        {"path": path.relative_to(folder).as_posix(), "size": path.stat().st_size,
         "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
        for path in sorted(folder.rglob("*")) if path.is_file() and not path.name.startswith("manifest.")
    ]  # fmt: skip
    content = json.dumps(told).encode()
    (folder / "manifest.json").write_bytes(content)
    (folder / "manifest.sha256").write_text(f"{hashlib.sha256(content).hexdigest()}  manifest.json\n")


def test_an_untouched_copy_is_sound_and_holds_everything(shop, tmp_path):
    made = _export(shop, tmp_path / "copy")
    checked = _check(tmp_path / "copy")
    assert (checked.returncode, checked.stderr) == (0, "")
    assert checked.stdout.startswith(f"Sound: {made.anchor.entries} entries")
    assert {path.name for path in (tmp_path / "copy/files").glob("*/*")} == shop.store.hashes()
    tables = {path.stem for path in (tmp_path / "copy/tables").iterdir()}
    assert tables == set(Base.metadata.tables) - set(SECRET_TABLES)
    page = (tmp_path / "copy/index.html").read_text(encoding="utf-8")
    assert "Quillon &amp; Daughters" in page
    assert "<script" not in page


def test_every_row_of_every_table_comes_back_from_its_cells(shop, tmp_path):
    _export(shop, tmp_path / "copy")
    connection = sqlite3.connect(shop.settings.database_path)
    for name, columns in tables_to_copy().items():
        chosen = ", ".join(f'CAST("{column}" AS TEXT)' for column in columns)
        rows = connection.execute(f'SELECT {chosen} FROM "{name}" ORDER BY rowid').fetchall()
        with (tmp_path / "copy/tables" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            header, *cells = csv.reader(file)
        assert header == columns
        assert [tuple(map(meant, row)) for row in cells] == rows, name
        assert not any(cell.startswith(DANGEROUS[:-1]) for row in cells for cell in row)
    connection.close()


@given(st.none() | st.text() | st.sampled_from([f"{sign}1+1" for sign in DANGEROUS]))
def test_a_cell_is_never_a_formula_and_gives_its_value_back(value):
    """OWASP, "CSV Injection": the signs that a spreadsheet may take for a formula (from memory)."""
    cell = harmless(value)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\0"))
    assert meant(cell) == value


def test_no_secret_is_in_a_copy(shop, tmp_path):
    _export(shop, tmp_path / "copy")
    readable = [path for path in (tmp_path / "copy").rglob("*") if path.suffix in {".csv", ".jsonl"}]
    everything = b"".join(path.read_bytes() for path in readable)
    connection = sqlite3.connect(shop.settings.database_path)
    secrets = [*connection.execute("SELECT password_hash FROM person"), *connection.execute(
        "SELECT hash_key FROM customer UNION SELECT hash_key FROM answer")]  # fmt: skip
    connection.close()
    assert len(secrets) >= 4
    assert [secret for (secret,) in secrets if secret.encode() in everything] == []
    # whatever is called like a secret in a table to come is one
    named = {column.name for table in Base.metadata.tables.values() for column in table.columns}
    assert {name for name in named if name.endswith(("_key", "token", "token_hash", "password_hash", "pin_hash"))} <= {
        *SECRET_COLUMNS, "step_key"
    }  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_twelve_kinds_of_tampering_are_named_alike_by_verify_and_by_the_copys_own_program(shop, tmp_path, kind):
    before = _trail(shop)
    tamper(shop.database, kind, 9)
    assert _trail(shop) != before, "the tampering itself must do something"
    told = verifying.verify(shop.database, shop.store)
    made = _export(shop, tmp_path / "copy")
    checked = _check(tmp_path / "copy")
    assert not told["sound"]
    assert checked.returncode == 1
    named = told["sentence"].partition(":")[0]
    assert checked.stdout.startswith(f"{named}:"), (told["sentence"], checked.stdout)
    assert made.fault is not None
    if kind != "entry slipped in":
        assert named == "Entry 9"


def _trail(shop):
    connection = sqlite3.connect(shop.settings.database_path)
    found = [connection.execute(f"SELECT * FROM {name}").fetchall() for name in ("audit_entry", "audit_object")]
    connection.close()
    return found


@pytest.mark.parametrize("work", ["changed", "removed"])
def test_a_kept_file_that_was_tampered_with_is_named_by_both(shop, tmp_path, work):
    kept = min(shop.store.hashes())
    shop.store.path(kept).write_bytes(b"another") if work == "changed" else shop.store.drop(kept)
    assert kept in verifying.verify(shop.database, shop.store)["sentence"]
    _export(shop, tmp_path / "copy")
    checked = _check(tmp_path / "copy")
    assert checked.returncode == 1
    assert kept in checked.stdout


def _line(number, change):
    """Another line in the trail of a copy."""

    def spoil(folder):
        lines = (folder / "trail.jsonl").read_text(encoding="utf-8").splitlines()
        entry = json.loads(lines[number - 1])
        change(entry)
        lines[number - 1] = json.dumps(entry)
        (folder / "trail.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")

    return spoil


def _kept(folder):
    return next((folder / "files").glob("*/*"))


IN_THE_COPY = {
    "line changed": (_line(3, lambda entry: entry.update(reason="because")), "Entry 3:"),
    "body changed": (_line(5, lambda entry: entry.update(body=entry["body"].replace("Olga", "Otto"))), "Entry 5:"),
    "no object": (_line(2, lambda entry: entry.clear()), "Entry 2:"),
    "file changed": (lambda folder: _kept(folder).write_bytes(b"x"), "has changed"),
    "file removed": (lambda folder: _kept(folder).unlink(), "is missing"),
    "file added": (lambda folder: (folder / "more.txt").write_text("x"), "more.txt"),
    "table changed": (lambda folder: (folder / "tables/job.csv").write_text("x"), "tables/job.csv"),
    "link": (lambda folder: (folder / "link").symlink_to("/"), "link"),
    "check sum": (lambda folder: (folder / "manifest.sha256").write_text("x"), "manifest.json"),
    "no manifest": (lambda folder: (folder / "manifest.json").unlink(), "manifest.json is missing"),
}


@pytest.mark.parametrize("kind", IN_THE_COPY)
def test_a_copy_that_was_tampered_with_is_named(shop, tmp_path, kind):
    spoil, words = IN_THE_COPY[kind]
    _export(shop, tmp_path / "copy")
    spoil(tmp_path / "copy")
    checked = _check(tmp_path / "copy")
    assert checked.returncode == 1
    assert words in checked.stdout
    assert len(checked.stdout.splitlines()) == 1


def test_a_changed_entry_is_named_even_when_every_sum_was_computed_anew(shop, tmp_path):
    _export(shop, tmp_path / "copy")
    _line(5, lambda entry: entry.update(body=entry["body"].replace("Olga", "Otto")))(tmp_path / "copy")
    _rewrite(tmp_path / "copy")
    assert _check(tmp_path / "copy").stdout.startswith("Entry 5:")


def test_a_whole_new_chain_is_found_by_an_anchor_on_paper(shop, tmp_path):
    made = _export(shop, tmp_path / "copy")
    anchor = f"{made.anchor.entries}:{made.anchor.head}"
    assert _check(tmp_path / "copy", "--anchor", anchor).returncode == 0
    _compute_anew(tmp_path / "copy")
    assert _check(tmp_path / "copy").returncode == 0, "with every sum and hash computed anew nothing inside tells"
    checked = _check(tmp_path / "copy", "--anchor", anchor)
    assert checked.returncode == 1
    assert checked.stdout.startswith(f"Entry {made.anchor.entries}:")


def _compute_anew(folder):
    previous, lines = "0" * 64, []
    for line in (folder / "trail.jsonl").read_text(encoding="utf-8").splitlines():
        entry = json.loads(line)
        body = entry["body"].replace("Olga", "Olge")
        entry.update(body=body, actor_name=entry["actor_name"].replace("Olga", "Olge"), previous_hash=previous)
        previous = hashlib.sha256(f"lens-bench-logbook/audit/1\n{previous}\n{body}".encode()).hexdigest()
        lines.append(json.dumps({**entry, "entry_hash": previous}))
    (folder / "trail.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    told = json.loads((folder / "manifest.json").read_bytes())
    told["anchor"].update(head=previous, origin=json.loads(lines[0])["entry_hash"])
    (folder / "manifest.json").write_text(json.dumps(told))
    _rewrite(folder)


def test_the_verifier_uses_the_standard_library_alone():
    tree = ast.parse(VERIFIER.read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    assert names <= set(sys.stdlib_module_names)


@pytest.mark.parametrize("place", ["data/copy", "full", "file"])
def test_a_copy_is_made_only_where_nothing_is(shop, tmp_path, place):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine").touch()
    (tmp_path / "file").touch()
    with pytest.raises(Refused):
        _export(shop, tmp_path / place)
    assert not list(tmp_path.rglob("*.part"))


def test_a_copy_that_cannot_be_finished_leaves_nothing(shop, tmp_path, monkeypatch):
    def full(*_words, **_more):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(exporting.export, "write_manifest", full)
    with pytest.raises(Refused, match="No space left on device"):
        _export(shop, tmp_path / "copy")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["data"]
