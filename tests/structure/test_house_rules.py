"""The house rules that no tool holds. Source of all of them: the project's own working agreement."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from support.repository import text_of, tracked_files

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "logbook", "templates", "tests", "demo", "safety",
}

# Written in two halves, so that this list does not find itself.
FORBIDDEN_WORDS = [
    "trans" + "cript",
    "seed" + " document",
    "you" + "tube",
    "anth" + "ropic",
    "clau" + "de",
    "chat" + "gpt",
    "open" + "ai",
    "copi" + "lot",
    "language" + " model",
    "artificial" + " intelligence",
    "code" + " agent",
]
PACKAGE_HOSTS = ["pypi" + ".org", "python" + "hosted", "npmjs" + ".", "deb.deb" + "ian", "archive.ubu" + "ntu"]
MACHINE_PATHS = re.compile(r"(?<![\w./])/(?:work|root|home/\w+|Users/\w+|tmp)/")
UNFINISHED = re.compile("|".join(["TO" + "DO", "FIX" + "ME", "pragma: no" + " cover"]))


def _findings(root: Path, pattern: re.Pattern[str]) -> list[str]:
    found = []
    for path in tracked_files(root):
        text = f"{path}\n{text_of(root / path) or ''}"
        found += [f"{path}: {line.strip()[:120]}" for line in text.splitlines() if pattern.search(line)]
    return found


def _any_of(words: list[str]) -> re.Pattern[str]:
    return re.compile("|".join(map(re.escape, words)), re.IGNORECASE)


def test_no_tracked_file_holds_a_forbidden_word(project_root):
    assert _findings(project_root, _any_of(FORBIDDEN_WORDS)) == []


def test_no_tracked_file_names_the_host_of_a_package_registry(project_root):
    assert _findings(project_root, _any_of(PACKAGE_HOSTS)) == []


def test_no_tracked_file_holds_a_path_of_the_machine_it_was_written_on(project_root):
    assert _findings(project_root, MACHINE_PATHS) == []


def test_no_tracked_file_is_left_unfinished(project_root):
    assert _findings(project_root, UNFINISHED) == []


@pytest.mark.parametrize("line", ["see /" + "home/anna/prints", "cd /" + "tmp/x", '"/' + 'root/.cache"'])
def test_a_path_of_a_machine_is_recognised(line):
    assert MACHINE_PATHS.search(line)


@pytest.mark.parametrize("line", ["/static/home/a.css", "https://localhost/work/x", "/usr/share/fonts", "src/tmp/a"])
def test_an_address_or_a_standard_folder_is_no_path_of_a_machine(line):
    assert not MACHINE_PATHS.search(line)


def test_the_top_level_holds_only_the_agreed_names(project_root):
    names = {path.parts[0] for path in tracked_files(project_root)}
    assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL


def test_folders_of_tests_and_shipped_files_are_no_packages(project_root):
    plain = {"tests", "templates", "safety", "demo"}
    assert [path for path in tracked_files(project_root) if path.parts[0] in plain and path.name == "__init__.py"] == []


def _undocumented(tree: ast.AST, prefix: str = "") -> Iterator[str]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            if ast.get_docstring(node) is None:
                yield f"{prefix}{node.name}"
            if isinstance(node, ast.ClassDef):
                yield from _undocumented(node, f"{prefix}{node.name}.")


def test_every_public_function_and_class_says_what_it_means(project_root):
    modules = [path for path in tracked_files(project_root) if path.parts[0] == "logbook" and path.suffix == ".py"]
    trees = {path: ast.parse((project_root / path).read_text(encoding="utf-8")) for path in modules}
    assert [path for path, tree in trees.items() if ast.get_docstring(tree) is None] == []
    assert [f"{path}: {name}" for path, tree in trees.items() for name in _undocumented(tree)] == []


def test_a_missing_docstring_is_found_in_functions_classes_and_methods():
    source = "def bare(): ...\ndef _own(): ...\nclass Told:\n    '''Told.'''\n    def method(self): ...\n"
    assert list(_undocumented(ast.parse(source))) == ["bare", "Told.method"]
