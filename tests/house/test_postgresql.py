"""The tests' own server: reached through its socket only, by the owner of the books."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest

from tests.postgresql import OWNER, Server, running_server

pytestmark = pytest.mark.postgresql


def test_an_empty_database_belongs_to_the_owner_of_books(postgresql_empty: str) -> None:
    with psycopg.connect(postgresql_empty) as connection:
        row = connection.execute(
            "SELECT current_user::text, (SELECT usesuper FROM pg_user WHERE usename = current_user),"
            " pg_catalog.pg_get_userbyid(datdba)::text FROM pg_database WHERE datname = current_database()"
        ).fetchone()
    assert row == (OWNER, False, OWNER)


def test_each_test_has_a_database_of_its_own(postgresql_server: Server) -> None:
    first, second = postgresql_server.create("apart_1"), postgresql_server.create("apart_2")
    with psycopg.connect(first) as connection:
        connection.execute("CREATE TABLE mark (n integer)")
    with psycopg.connect(second) as connection:
        row = connection.execute("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'").fetchone()
    postgresql_server.drop("apart_1")
    postgresql_server.drop("apart_2")
    assert row == (0,)


def test_nobody_else_reaches_the_server(postgresql_server: Server) -> None:
    assert stat.S_IMODE(postgresql_server.folder.stat().st_mode) == 0o700
    with psycopg.connect(postgresql_server.url("postgres", "postgres")) as connection:
        row = connection.execute("SHOW listen_addresses").fetchone()
    assert row == ("",)


def test_the_server_and_its_folder_are_gone_afterwards_even_on_failure() -> None:
    seen: list[Path] = []

    def fail() -> None:
        with running_server() as server:
            seen.append(server.folder)
            msg = "a test fails"
            raise LookupError(msg)

    with pytest.raises(LookupError):
        fail()
    assert not seen[0].exists()


def test_the_server_stops_when_the_tests_are_killed(tmp_path: Path) -> None:
    place = tmp_path / "pid"
    program = (
        "import os, pathlib, sys\n"
        "from tests.postgresql import running_server\n"
        "with running_server() as server:\n"
        "    pid = (server.folder / 'data' / 'postmaster.pid').read_text().split()[0]\n"
        "    pathlib.Path(sys.argv[1]).write_text(f'{pid} {server.folder}')\n"
        "    os.kill(os.getpid(), 9)\n"
    )
    top = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", program, place], check=False, cwd=top, env={**os.environ, "PYTHONPATH": "."}
    )
    assert done.returncode == -9
    pid, folder = place.read_text().split()
    waited = subprocess.run(["timeout", "30", "tail", f"--pid={pid}", "-f", "/dev/null"], check=False)
    subprocess.run(["rm", "-r", folder], check=True)
    assert waited.returncode == 0
