"""A PostgreSQL server of the tests' own: in a short temporary folder, as nobody special, gone with the session."""

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

USER = "shop"


def tools() -> Path:
    """Where the server's programs lie: on the PATH, or the newest in the folders of Debian and of Homebrew."""
    if on_path := shutil.which("initdb"):
        return Path(on_path).parent
    places = ("/usr/lib/postgresql", "*"), ("/opt/homebrew/opt", "postgresql@*"), ("/usr/local/opt", "postgresql@*")
    found = [path.parent for root, version in places for path in Path(root).glob(f"{version}/bin/initdb")]
    assert found, "PostgreSQL is missing; tests/run installs it"
    return max(found, key=lambda path: int(path.parts[-2].rpartition("@")[2]))


class Server:
    """One that runs; ``address`` of a database, fresh ones, and how it dies."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port, self._made = folder, _free_port(), 0
        self._passing: list[str] = []
        self._run("initdb", "-A", "trust", "-U", USER, "-E", "UTF8", "--locale=C", "--no-sync", "-D", folder / "data")
        self.start()

    def start(self) -> None:
        """And wait until it answers."""
        how = f"-c listen_addresses=127.0.0.1 -p {self.port} -k {self.folder} -c fsync=off -c max_connections=200"
        self._run("pg_ctl", "-w", "-s", "-D", self.folder / "data", "-l", self.folder / "log", "-o", how, "start")

    def stop(self, mode: str = "immediate") -> None:
        """``immediate``: as if the machine had lost its power."""
        self._run("pg_ctl", "-w", "-s", "-D", self.folder / "data", "-m", mode, "stop")

    def address(self, name: str) -> str:
        """Of a database."""
        return f"postgresql://{USER}@127.0.0.1:{self.port}/{name}"

    def fresh(self, template: str = "template0", *, keep: bool = False) -> str:
        """The address of a new database that is like another one; ``keep``: beyond the test that asked for it."""
        self._made += 1
        name = f"shop_{self._made}"
        self.tell(f"CREATE DATABASE {name} TEMPLATE {template}")
        if not keep:
            self._passing.append(name)
        return self.address(name)

    def forget(self) -> None:
        """Drop the databases of a test that is over."""
        while self._passing:
            self.tell(f"DROP DATABASE {self._passing.pop()} WITH (FORCE)")

    def tell(self, words: str, database: str = "postgres") -> None:
        """A statement of the server's keeper."""
        import psycopg

        with psycopg.connect(self.address(database), autocommit=True) as connection:
            connection.execute(words)

    def _run(self, program: str, *words: object) -> None:
        command = [str(tools() / program), *map(str, words)]
        if os.getuid() == 0:  # the server refuses to run as root
            command = ["runuser", "-u", "postgres", "--", *command]
        subprocess.run(command, check=True, capture_output=True, cwd=self.folder)


@contextmanager
def server() -> Iterator[Server]:
    """One for a session of tests."""
    folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
    if os.getuid() == 0:
        keeper = pwd.getpwnam("postgres")
        os.chown(folder, keeper.pw_uid, keeper.pw_gid)
    made = Server(folder)
    try:
        yield made
    finally:
        made.stop()
        shutil.rmtree(folder, ignore_errors=True)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
