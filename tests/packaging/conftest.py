"""A copy of the tracked files, built and installed as a stranger would."""

import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

from support.repository import tracked_files


@dataclass(frozen=True)
class Built:
    """The two archives that one build makes."""

    sdist: Path
    wheel: Path


@dataclass(frozen=True)
class Installed:
    """An environment that holds nothing but the wheel and its locked packages."""

    folder: Path

    def python(self, *arguments: str, **options: object) -> subprocess.CompletedProcess[str]:
        """Run its Python outside the checkout, with no way to find the checkout's files."""
        environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
        return subprocess.run(
            [self.folder / "bin" / "python", *arguments],
            cwd=self.folder,
            env=environment,
            check=True,
            capture_output=True,
            text=True,
            **options,
        )


def _installer(root: Path, *arguments: str | Path) -> None:
    subprocess.run([root / ".venv-uv" / "bin" / "uv", *arguments, "--quiet"], cwd=root, check=True, capture_output=True)


@pytest.fixture(scope="session")
def checkout(project_root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tracked files alone: what lies about in a working folder is not in a clone."""
    copy = tmp_path_factory.mktemp("checkout")
    for path in tracked_files(project_root):
        (copy / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(project_root / path, copy / path)
    return copy


@pytest.fixture(scope="session")
def built(project_root: Path, checkout: Path, tmp_path_factory: pytest.TempPathFactory) -> Built:
    """The sdist, and the wheel that is built from the sdist."""
    out = tmp_path_factory.mktemp("built")
    backend = project_root / ".requirements-build.txt"
    _installer(project_root, "build", checkout, "--out-dir", out, "--build-constraints", backend)
    return Built(sdist=next(out.glob("*.tar.gz")), wheel=next(out.glob("*.whl")))


@pytest.fixture(scope="session")
def installed(project_root: Path, built: Built, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """The wheel in an empty environment with the locked runtime packages."""
    folder = tmp_path_factory.mktemp("installed") / "environment"
    python = folder / "bin" / "python"
    _installer(project_root, "venv", "--no-project", "--python", project_root / ".venv" / "bin" / "python", folder)
    _installer(project_root, "pip", "sync", "--python", python, "--require-hashes", project_root / ".requirements.txt")
    _installer(project_root, "pip", "install", "--python", python, "--no-deps", built.wheel)
    return Installed(folder)
