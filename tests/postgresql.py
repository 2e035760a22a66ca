"""A PostgreSQL server of the tests' own: in a temporary folder, on a Unix socket in it, gone afterwards."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

import psycopg

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

WAIT_SECONDS = 60
PORT = 5432
OWNER = "vinebook_owner"
SHORT_AND_OPEN = ("/tmp", "/dev/shm")  # noqa: S108 - a folder of our own is made there
# A test's database needs no safety from power cuts.
SETTINGS = {
    "listen_addresses": "",
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "shared_buffers": "64MB",
    "max_connections": "40",
    "log_min_messages": "fatal",
}


def server_programs() -> Path:
    """Give the folder that holds the newest server's initdb and postgres."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda folder: int(folder.parent.name))
    folders = [folder for folder in folders if (folder / "initdb").exists() and (folder / "postgres").exists()]
    if folders:
        return folders[-1]
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    msg = "no PostgreSQL server is installed: run bash tests/run.sh, or bash tests/run.sh quick to do without"
    raise RuntimeError(msg)


class Server:
    """A running server. `url(name)` names a database on it; the owner of all of them is no superuser."""

    def __init__(self, folder: Path, words: list[str], port: int = PORT) -> None:
        self.folder = folder
        self.port = port
        self._words = words
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, and wait until it answers."""
        log = self.folder / "log"
        with log.open("ab") as stream:
            self._process = subprocess.Popen(
                self._words, cwd=self.folder, stdin=subprocess.DEVNULL, stdout=stream, stderr=stream
            )
        _wait_until_ready(self, self._process, log)

    def stop(self, sign: signal.Signals = signal.SIGINT) -> None:
        """Stop it, whoever is still connected."""
        if self._process is not None and self._process.poll() is None:
            self._process.send_signal(sign)
            self._process.wait(timeout=WAIT_SECONDS)

    def stop_at_once(self) -> None:
        """Stop it as a fault would: nothing is finished or written away, and the next start recovers."""
        self.stop(signal.SIGQUIT)

    def url(self, database: str, user: str = OWNER) -> str:
        """Give the address of a database as a person would give it to ``--book``."""
        port = "" if self.port == PORT else f"&port={self.port}"
        return f"postgresql://{user}@/{database}?host={quote(str(self.folder), safe='')}{port}"

    def run(self, statement: str) -> None:
        """Run one statement as superuser outside a transaction."""
        place = {"host": str(self.folder), "port": str(self.port), "user": "postgres", "dbname": "postgres"}
        with psycopg.connect(**place, autocommit=True) as connection:  # type: ignore[arg-type]
            connection.execute(statement.encode())

    def create(self, name: str, template: str = "template0") -> str:
        """Make a database from a template and give its address."""
        self.run(f'CREATE DATABASE "{name}" OWNER {OWNER} TEMPLATE "{template}"')
        return self.url(name)

    @contextlib.contextmanager
    def lend(self, name: str, template: str = "template0") -> Iterator[str]:
        """Make a database for a while and give its address."""
        url = self.create(name, template)
        try:
            yield url
        finally:
            self.drop(name)

    def drop(self, name: str) -> None:
        """Drop a database, whoever is still connected."""
        self.run(f'DROP DATABASE "{name}" WITH (FORCE)')


def _as_server_user() -> tuple[list[str], pwd.struct_passwd]:
    """Give the words that start a program as the server's user, and stop it when the tests die."""
    words = ["setpriv", "--pdeathsig", "INT"]
    if os.getuid() != 0:
        return words, pwd.getpwuid(os.getuid())
    # initdb refuses to run as root; the server's package brings a user of its own.
    user = pwd.getpwnam("postgres")
    return [*words, f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups"], user


def _wait_until_ready(server: Server, process: subprocess.Popen[bytes], log: Path) -> None:
    deadline = time.monotonic() + WAIT_SECONDS
    while time.monotonic() < deadline:
        with contextlib.suppress(psycopg.OperationalError):
            server.run("SELECT 1")
            return
        if process.poll() is not None:
            break
        time.sleep(0.05)
    msg = f"the PostgreSQL server did not start: {log.read_text()}"
    raise RuntimeError(msg)


@contextlib.contextmanager
def running_server(
    settings: Mapping[str, str] | None = None, *, logins: str = "", secret_files: Mapping[str, bytes] | None = None
) -> Iterator[Server]:
    """Start a server for the length of a ``with``; it is stopped and its folder removed even on failure.

    Parameters
    ----------
    settings : what is to be set otherwise than in SETTINGS.
    logins : lines of pg_hba.conf in place of those that trust the socket alone.
    secret_files : files by name that the server alone may read, in its data folder.
    """
    programs = server_programs()
    words, user = _as_server_user()
    # Not in the test's own folder: a socket's path has 107 characters at most, and the server's user must get there.
    lies_in = tempfile.gettempdir() if tempfile.gettempdir() in SHORT_AND_OPEN else SHORT_AND_OPEN[0]
    folder = Path(tempfile.mkdtemp(prefix="vinebook-pg-", dir=lies_in))
    server: Server | None = None
    try:
        os.chown(folder, user.pw_uid, user.pw_gid)
        data = folder / "data"
        initdb = ["--pgdata", str(data), "--username=postgres", "--auth-local=trust", "--auth-host=reject"]
        subprocess.run(
            [*words, str(programs / "initdb"), *initdb, "--encoding=UTF8", "--locale=C.UTF-8", "--no-sync"],
            check=True,
            cwd=folder,
            stdout=subprocess.DEVNULL,
        )
        if logins:
            (data / "pg_hba.conf").write_text(logins)
        for name, content in (secret_files or {}).items():
            (data / name).write_bytes(content)
            (data / name).chmod(0o600)
            os.chown(data / name, user.pw_uid, user.pw_gid)
        used = {**SETTINGS, **(settings or {})}
        words_of_settings = [word for name, value in used.items() for word in ("-c", f"{name}={value}")]
        start = [str(programs / "postgres"), "-D", str(data), "-k", str(folder)]
        server = Server(folder, [*words, *start, *words_of_settings], int(used.get("port", PORT)))
        server.start()
        server.run(f"CREATE ROLE {OWNER} LOGIN CREATEDB CREATEROLE")
        yield server
    finally:
        if server is not None:
            server.stop()
        shutil.rmtree(folder, ignore_errors=True)
