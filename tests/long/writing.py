"""Eight people at one book on PostgreSQL for minutes, then with sessions ended and the server stopped under them.

Before that four on a book in a file, fifty commands each, while somebody holds it now and then for longer than a wait
is worth a line.
"""

from __future__ import annotations

import random
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Self

import psycopg

from tests.people import look_over, prepare, work_together
from tests.postgresql import running_server
from tests.wire import laid_wire
from vinebook.records.book import Book
from vinebook.records.schema import make_book
from vinebook.records.waiting import WAIT_SECONDS

if TYPE_CHECKING:
    from tests.people import Ledgers
    from tests.postgresql import Server
    from tests.wire import When, Wire

SECONDS = 180
PEOPLE = 8
READERS = 2
WAITS = "waiting for another writer of"
PAUSE_S = (0.1, 1.5)
"""Between two blows."""
STOPS = 20
"""Of so many blows one stops the whole server."""
FOUR, COMMANDS = 4, 50
"""Who work on a file, and how much each does."""
HELD_S, FREE_S = 4.0, 6.0
"""How long the file is held, twice what may go by unsaid, and left alone in between."""
CUTS: tuple[When, ...] = ("bytes", "before commit", "after commit", "late commit", "deaf")


class Blows:
    """Cuts lines and ends sessions of those who write, and now and then stops the server, at random moments.

    Attributes
    ----------
    sessions, stops : how many were ended, and how often the server was.
    """

    def __init__(self, server: Server, wire: Wire, seed: int) -> None:
        self._server = server
        self._wire = wire
        self._chance = random.Random(seed)  # noqa: S311 - seeded moments need no cryptography
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._strike)
        self.sessions = 0
        self.stops = 0

    def __enter__(self) -> Self:
        """Begin."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """End, with the server running."""
        self._over.set()
        self._thread.join()
        # A server goes down with the thread that started it.
        self._server.stop()
        self._server.start()

    def _strike(self) -> None:
        while not self._over.wait(self._chance.uniform(*PAUSE_S)):
            if self._chance.randrange(STOPS) == 0:
                self._server.stop_at_once()
                time.sleep(self._chance.uniform(0, 2))
                self._server.start()
                self.stops += 1
            elif self._chance.random() < 0.5:
                self._wire.arm(self._chance.choice(CUTS), after_bytes=self._chance.randrange(20_000))
            else:
                self.sessions += self._end_one()

    def _end_one(self) -> int:
        """End the session of one who writes."""
        with psycopg.connect(host=str(self._server.folder), user="postgres", dbname="postgres") as connection:
            row = connection.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE application_name LIKE 'vinebook % by P%' ORDER BY random() LIMIT 1"
            ).fetchone()
        return int(bool(row and row[0]))


class Holder:
    """Holds a book for a while, lets go, and holds it again, as a long load would.

    Attributes
    ----------
    times : how often it was held.
    """

    def __init__(self, book: str) -> None:
        self._book = Book(book)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._hold)
        self.times = 0

    def __enter__(self) -> Self:
        """Begin."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """End, with the book free."""
        self._over.set()
        self._thread.join()

    def _hold(self) -> None:
        while not self._over.wait(FREE_S):
            with self._book.writing(by="HOLDER", doing="load"):
                self.times += 1
                self._over.wait(HELD_S)


def told(what: str, found: Ledgers) -> None:
    """Print what was done, and stop where anything is otherwise than people were told."""
    for words, count in sorted(found.counts().items()):
        print(f"  {count:6,}  {words}")
    for words in found.wrong[:20]:
        print(f"  wrong: {words}")
    busy = sum("being written by" in one.words for one in found.told)
    lost = sum("nothing was stored" in one.words and "connection was lost" in one.words for one in found.told)
    late = sum("but the step was stored whole" in one.words for one in found.told)
    waited = sum(WAITS in one.words for one in found.told)
    print(
        f"{what}: {found.entries:,} entries in one chain, {found.rows:,} rows; longest step {found.longest_s():.1f} s; "
        f"told that they wait: {waited}; refused as somebody else wrote: {busy}; "
        f"connection lost, nothing stored: {lost}; lost but stored: {late}; "
        f"not known: {found.unknown}; otherwise than told: {len(found.wrong)}"
    )
    if found.wrong:
        sys.exit(1)


def in_peace(url: str, place: Path, people: int, seconds: float, seed: int) -> None:
    """Have people write and read, and look what came of it."""
    place.mkdir()
    make_book(url, by="KL")
    prepare(url, place)
    found = work_together(url, place, people=people, readers=READERS, seconds=seconds, seed=seed)
    look_over(url, found)
    where = "PostgreSQL" if "://" in url else "a file"
    told(f"{people} people and {READERS} readers on {where} for {seconds:g} s", found)


def on_a_file(url: str, place: Path, seed: int) -> None:
    """Have four write to a file until each has done all its commands, and look that none was refused or waited long."""
    place.mkdir()
    make_book(url, by="KL")
    prepare(url, place)
    with Holder(url) as holder:
        found = work_together(url, place, people=FOUR, readers=0, seconds=3600, steps=COMMANDS, seed=seed)
    look_over(url, found)
    if len(found.told) != FOUR * COMMANDS:
        found.wrong.append(f"{len(found.told)} commands were given, not {FOUR * COMMANDS}")
    found.wrong += [f"{one.what} was refused: {one.words}" for one in found.told if "being written by" in one.words]
    if sum(WAITS in one.words for one in found.told) < holder.times:
        found.wrong.append("somebody waited and was not told so")
    if found.longest_s() > WAIT_SECONDS:
        found.wrong.append(f"a command took {found.longest_s():.0f} s")
    told(f"{FOUR} people, {COMMANDS} commands each, on a file that somebody held {holder.times} times", found)


def under_blows(server: Server, place: Path, people: int, seconds: float, seed: int) -> None:
    """Have people write while lines are cut, sessions ended and the server stopped, and look what came of it."""
    place.mkdir()
    url = server.create("blows")
    make_book(url, by="KL")
    prepare(url, place)
    with laid_wire(server) as wire, Blows(server, wire, seed) as blows:
        found = work_together(wire.url(url), place, people=people, readers=0, seconds=seconds, seed=seed)
    look_over(url, found)
    told(
        f"{people} people for {seconds:g} s, {wire.cuts:,} lines cut, {blows.sessions:,} sessions ended and "
        f"{blows.stops} times the server (seed {seed})",
        found,
    )


def main(seconds: float, people: int, seed: int) -> None:
    """Have people work in peace on both databases, then under blows."""
    with running_server() as server, tempfile.TemporaryDirectory() as folder:
        top = Path(folder)
        on_a_file(str(top / "four.db"), top / "four", seed + 3)
        in_peace(server.create("peace"), top / "peace", people, seconds, seed)
        in_peace(str(top / "book.db"), top / "file", people // 2, seconds / 3, seed + 1)
        under_blows(server, top / "blows", people, seconds, seed + 2)


if __name__ == "__main__":
    main(
        float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS,
        int(sys.argv[2]) if len(sys.argv) > 2 else PEOPLE,
        int(sys.argv[3]) if len(sys.argv) > 3 else 1,
    )
