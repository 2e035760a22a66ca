"""Runs every command of the guide's page `team` against servers of its own: TLS, archive, recovery, replica.

``python -m tests.house.team`` prints each command with what stands in its place here, and what it answers.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.postgresql import _as_server_user, server_programs

TOP = Path(__file__).resolve().parents[2]
PAGE = TOP / "vinebook" / "guide" / "team.md"
HASH = re.compile(r"^seal ([0-9a-f]{64})$", re.MULTILINE)
PASSWORD = "an invented word"  # noqa: S105 - of a server that lives for a minute
CLUSTERS = ("main", "again", "replica")
WRITING = """vinebook --book "$BOOK_REPLICA" amend event A1/2024-06-18/hail share_hit=1 --reason x"""


def blocks(page: str) -> list[str]:
    """Give the indented blocks of a page, each the commands of one person."""
    found = re.findall(r"(?:^    .*\n)+", page, re.MULTILINE)
    return [re.sub(r"^    ", "", block, flags=re.MULTILINE) for block in found]


def is_of_a_person(block: str) -> bool:
    """Say whether a block is for a person at their machine, not for the server's user."""
    return re.search(r"(^|; )vinebook |BOOK_|_BOOK", block, re.MULTILINE) is not None


class Estate:
    """The page's hosts, all of them here."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.words, user = _as_server_user()
        self.server, self.person = folder / "postgresql", folder / "person"
        self.server.mkdir()
        self.person.mkdir()
        os.chown(folder, user.pw_uid, user.pw_gid)
        os.chown(self.server, user.pw_uid, user.pw_gid)
        self.ports = dict(zip(CLUSTERS, free_ports(len(CLUSTERS)), strict=True))
        self.seal, self.moment, self.exported = "", "", ""
        shutil.copytree(TOP / "demo" / "first", self.person / "demo" / "first")

    def in_place(self, command: str) -> str:
        """Give a command with this machine's places, ports and moments for the page's."""
        for cluster, port in self.ports.items():
            data = self.server / "15" / cluster
            start = f"pg_ctl -D {data} -l {self.server}/{cluster}.log -w -o '-p {port} -k {self.server}'"
            command = command.replace(f"pg_createcluster 15 {cluster}", f": a cluster on port {port}")
            command = re.sub(rf"pg_ctlcluster 15 {cluster} (\w+)", rf"{start} \1", command)
            command = command.replace(f"/etc/postgresql/15/{cluster}", str(data))
        return (
            command.replace("/var/lib/postgresql", str(self.server))
            .replace("/etc/ssl/estate-ca.pem", str(self.person / "estate-ca.pem"))
            .replace("db.estate.example:5433", f"db.estate.example:{self.ports['again']}")
            .replace("db.estate.example/", f"db.estate.example:{self.ports['main']}/")
            .replace("replica.estate.example/", f"replica.estate.example:{self.ports['replica']}/")
            .replace("2026-11-29 11:59:00+00", self.moment)
            .replace("SEAL", self.seal)
            .replace("PASSWORD", PASSWORD)
        )

    def run(self, block: str, *, expected: int = 0) -> str:
        """Run a block as the page says, show it, and give what it printed."""
        commands = self.in_place(block)
        of_person = is_of_a_person(block)
        environment = {
            "PATH": f"{server_programs()}:{os.environ['PATH']}",
            "HOME": str(self.person if of_person else self.server),
            "LANG": "C.UTF-8",
            # All the page's hosts are this one; their names still stand in the certificate.
            "PGHOSTADDR": "127.0.0.1" if of_person or "--dbname='host=" in block else "",
            "PGHOST": "" if of_person else str(self.server),
            "PGPORT": str(self.ports["main"]),
            "PYTHONPATH": str(TOP),
            "VINEBOOK_BY": "R. Quill",
        }
        environment = {name: value for name, value in environment.items() if value}
        if of_person:
            script = f'vinebook() {{ {shlex.quote(sys.executable)} -m vinebook "$@"; }}\n{self.exported}'
            self.exported += "".join(f"{line}\n" for line in commands.splitlines() if line.startswith("export "))
        else:
            script = "umask 077\n"
        print("".join(f"$ {line}\n" for line in commands.splitlines()), end="", flush=True)
        done = subprocess.run(
            [
                *([] if of_person else self.words),
                "setsid",
                "--wait",
                "bash",
                "-euo",
                "pipefail",
                "-c",
                script + commands,
            ],
            cwd=self.person if of_person else self.server,
            env=environment,
            input=f"{PASSWORD}\n" * 8,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        print(done.stdout, flush=True)
        if done.returncode != expected:
            message = f"ended with {done.returncode}: {commands}"
            raise RuntimeError(message)
        return done.stdout

    def live(self) -> None:
        """Run the page from top to bottom."""
        rules = "--auth-local=trust --auth-host=scram-sha-256"
        self.run(f"initdb {rules} -E UTF8 -D {self.server}/15/main >{self.server}/initdb.log")
        self.run("pg_ctlcluster 15 main start")
        for block in blocks(PAGE.read_text(encoding="utf-8")):
            if "pg_basebackup --checkpoint" in block or "report history" in block:
                # The replica may still be on its way to the newest entry.
                time.sleep(1)
            if "share_hit=99" in block:
                self.moment = self.run('psql -Atc "SELECT now()"').strip()
                time.sleep(2)
            told = self.run(block)
            if "BOOK_AGAIN" in block:
                self.look_at_the_recovery()
            if "tls" in block and "mkdir" in block:
                shutil.copy(self.server / "tls" / "ca.pem", self.person / "estate-ca.pem")
            if found := HASH.search(told):
                self.seal = found[1]
        told = self.run(WRITING.replace("auditor", "estate_owner"), expected=1)
        assert "write to the server that it follows" in " ".join(told.split()), told
        told = self.run('vinebook --book "${VINEBOOK_BOOK/db.estate/other.estate}" list block', expected=1)
        assert "does not match host name" in " ".join(told.split()), told

    def look_at_the_recovery(self) -> None:
        """See that it stopped before the amendment, and writes nothing into the first server's archive."""
        now = self.run('vinebook --book "$BOOK_AGAIN" show event A1/2024-06-18/hail')
        if not re.search(r"^share_hit \[%\] +10\.0$", now, re.MULTILINE):
            message = "the recovery went too far, or not far enough"
            raise RuntimeError(message)
        again = f"psql -h {self.server} -p {self.ports['again']} -Atc"
        if self.run(f"{again} 'SHOW archive_mode'").strip() != "off":
            message = "the recovered server archives"
            raise RuntimeError(message)

    def end(self) -> None:
        """Stop what still runs."""
        for cluster in CLUSTERS:
            if (self.server / "15" / cluster / "postmaster.pid").exists():
                self.run(f"pg_ctlcluster 15 {cluster} stop")


def free_ports(count: int) -> list[int]:
    """Give ports that nobody listens on now."""
    held = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports = [int(one.getsockname()[1]) for one in held]
    for one in held:
        one.close()
    return ports


def main() -> None:
    """Run the page in a folder that is gone afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="estate-", dir="/tmp"))
    estate = Estate(folder)
    try:
        estate.live()
    finally:
        estate.end()
        shutil.rmtree(folder)
    print("every command of the page did what it says")


if __name__ == "__main__":
    main()
