"""The shell part of demo/start and tests/run, on machines that exist only as stand-ins.

What each system answers (`id -u` is 0 for root, `sudo -n` never asks, `uname -s`
says Darwin on macOS) is from the POSIX standard and the tools' manual pages, from
memory.
"""

import shutil
import subprocess
from pathlib import Path

import pytest

SHELL = shutil.which("sh")


class Machine:
    """A folder of stand-in commands that is the whole PATH; each logs how it was called."""

    def __init__(self, folder: Path, root: Path):
        self.folder, self.root = folder, root
        self.log = folder / "called"
        self.log.touch()
        self.commands = folder / "commands"
        self.commands.mkdir()
        (self.commands / "env").symlink_to(shutil.which("env"))
        self.command("uname", "echo Linux")

    def command(self, name: str, body: str) -> None:
        """Put a command onto the machine."""
        path = self.commands / name
        path.write_text(f'#!{SHELL}\necho "{name} $*" >>"{self.log}"\n{body}\n')
        path.chmod(0o755)

    def user(self, number: int) -> None:
        """Say who is at the keyboard; 0 is root."""
        self.command("id", f"echo {number}")

    def installs(self, name: str) -> None:
        """A package manager whose install command makes the missing piece appear."""
        self.command(name, f'case "$*" in *install*) : >"{self.folder}/piece" ;; esac')

    def run(self, words: str) -> subprocess.CompletedProcess[str]:
        """Source the set-up library and run the words."""
        return subprocess.run(
            [SHELL, "-euc", f". {self.root}/demo/set-up.sh\n{words}"],
            cwd=self.folder,
            env={"PATH": str(self.commands)},
            capture_output=True,
            text=True,
            check=False,
        )

    def need(self) -> subprocess.CompletedProcess[str]:
        """Ask for the missing piece."""
        return self.run("need '[ -e piece ]' 'libone libtwo' 'formula'")

    def called(self, *names: str) -> list[str]:
        """Every call of these commands, in order."""
        return [line for line in self.log.read_text().splitlines() if line.split()[0] in names]


@pytest.fixture
def machine(tmp_path, project_root):
    return Machine(tmp_path, project_root)


def test_a_piece_that_is_there_is_not_installed(machine):
    machine.user(0)
    machine.installs("apt-get")
    (machine.folder / "piece").touch()
    assert machine.need().returncode == 0
    assert machine.called("apt-get") == []


def test_root_installs_what_is_missing_after_reading_the_package_lists(machine):
    machine.user(0)
    machine.installs("apt-get")
    assert machine.need().returncode == 0
    update, install = machine.called("apt-get")
    assert update.endswith("update")
    assert install.endswith("install -y --no-install-recommends libone libtwo")


def test_a_user_who_may_use_sudo_without_a_password_installs_through_it(machine):
    machine.user(1000)
    machine.installs("apt-get")
    machine.command("sudo", 'shift; [ "$1" = true ] || exec "$@"')
    machine.command("true", ":")
    assert machine.need().returncode == 0
    assert all(call.startswith("sudo -n") for call in machine.called("sudo"))
    assert len(machine.called("apt-get")) == 2


@pytest.mark.parametrize("sudo", [None, "exit 1"], ids=["no sudo", "sudo asks"])
def test_a_user_who_may_not_install_is_told_the_command_and_nothing_is_touched(machine, sudo):
    machine.user(1000)
    machine.installs("apt-get")
    if sudo:
        machine.command("sudo", sudo)
    result = machine.need()
    assert result.returncode == 1
    assert len(result.stderr.splitlines()) == 1
    assert "sudo apt-get update && sudo apt-get install -y libone libtwo" in result.stderr
    assert machine.called("apt-get") == []


def test_homebrew_installs_the_formulae(machine):
    machine.command("uname", "echo Darwin")
    machine.installs("brew")
    assert machine.need().returncode == 0
    assert machine.called("brew") == ["brew install --quiet formula"]


def test_a_mac_without_homebrew_is_told_what_to_do(machine):
    machine.command("uname", "echo Darwin")
    result = machine.need()
    assert result.returncode == 1
    assert "Install Homebrew, run: brew install formula" in result.stderr


def test_another_system_is_told_the_names_of_the_packages(machine):
    result = machine.need()
    assert result.returncode == 1
    assert "libone libtwo" in result.stderr


def test_an_installation_that_brings_nothing_is_an_error(machine):
    machine.user(0)
    machine.command("apt-get", ":")
    result = machine.need()
    assert result.returncode == 1
    assert "Still missing" in result.stderr


def test_a_package_list_that_cannot_be_read_does_not_stop_the_installation(machine):
    machine.user(0)
    machine.command("apt-get", f'case "$*" in *update) exit 100 ;; *) : >"{machine.folder}/piece" ;; esac')
    assert machine.need().returncode == 0


@pytest.mark.parametrize(
    ("knows", "name"), [("exit 0", "debian"), ('[ "$2" = ubuntu ]', "ubuntu"), ("exit 100", "debian")]
)
def test_a_package_is_asked_for_by_the_name_that_this_system_gives_it(machine, knows, name):
    machine.user(0)
    machine.installs("apt-get")
    machine.command("apt-cache", knows)
    assert machine.run("need '[ -e piece ]' 'same debian|ubuntu' 'formula'").returncode == 0
    assert machine.called("apt-get")[1].endswith(f"same {name}")


def test_a_python_that_is_too_old_is_named_in_one_sentence(machine):
    machine.command("python3", '[ "$1" = --version ] && echo Python 3.9.2')
    result = machine.run("python=$(find_python); echo reached")
    assert (result.returncode, result.stdout) == (1, "")
    assert result.stderr == "Python 3.11 or newer is needed; this machine's python3 is: Python 3.9.2.\n"


def test_a_newer_python_beside_an_old_one_is_taken(machine):
    machine.command("python3", "exit 1")
    machine.command("python3.12", "exit 0")
    assert machine.run("find_python").stdout == "python3.12\n"


@pytest.mark.parametrize(
    ("recorded", "asked", "kind"),
    [(None, "runtime", "runtime"), ("runtime 1", "test", "test"), ("test 1", "runtime", "test")],
)
def test_the_demo_leaves_the_test_tools_where_they_are(machine, recorded, asked, kind):
    (machine.commands / "grep").symlink_to(shutil.which("grep"))
    (machine.folder / ".venv").mkdir()
    if recorded:
        (machine.folder / ".venv" / ".set-up").write_text(recorded)
    assert machine.run(f"requirements_for {asked}").stdout.strip() == kind
