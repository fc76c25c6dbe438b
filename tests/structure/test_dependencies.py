"""What the program imports is what an installation of it brings."""

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

from support.repository import tracked_files


def _declared(root: Path) -> set[str]:
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [name for names in project.get("optional-dependencies", {}).values() for name in names]
    return {_plain(re.split(r"[\s<>=!~;\[]", name)[0]) for name in project["dependencies"] + extras}


def _plain(name: str) -> str:
    return name.lower().replace("_", "-")


def _imported_modules(root: Path) -> set[str]:
    names = set()
    for path in [path for path in tracked_files(root) if path.parts[0] == "logbook" and path.suffix == ".py"]:
        for node in ast.walk(ast.parse((root / path).read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                names.add(node.module)
    return {name.partition(".")[0] for name in names} - set(sys.stdlib_module_names) - {"logbook"}


def _imported_distributions(root: Path) -> set[str]:
    owners = packages_distributions()
    return {_plain(owners.get(module, [module])[0]) for module in _imported_modules(root)}


def test_everything_that_is_imported_is_declared(project_root):
    assert _imported_distributions(project_root) - _declared(project_root) == set()
