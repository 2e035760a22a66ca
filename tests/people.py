"""People at work on one book at once: each a process of its own that types commands and keeps what it was told."""

from __future__ import annotations

import json
import multiprocessing
import random
import re
import time
from collections import Counter, defaultdict
from dataclasses import asdict, dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from click.testing import CliRunner, Result
from sqlalchemy import select

from tests.desk import CLUSTERS, Desk, cluster_rows, places
from vinebook.audit.verify import verify_book
from vinebook.cli import vinebook
from vinebook.records.book import Book
from vinebook.records.journal import entries
from vinebook.records.tables import READING, TABLES, TALLY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from multiprocessing.synchronize import Event
    from pathlib import Path

BLOCKS = ("A1", "A2")
FIRST_ROWS = 40
"""Rows of clusters that are there before anybody begins, for all to amend."""
SHARED = 30
"""Files that all have and load."""
WHATS = ("frost", "hail", "heat", "birds")
RULES = ("hand_picked", "old_census", "young_vines")
NEVER = re.compile(
    "deadlock|serializ|traceback|fault of the program|concurrent update|current transaction", re.IGNORECASE
)
"""What no person may ever read."""
UNKNOWN = "which of the two is not known"
"""What is read where nobody could say whether a step was stored."""
STATED = re.compile(
    "being written by|already|a value that differs|nothing was stored|cannot be reached|which of the two is not known",
    re.IGNORECASE,
)
"""Why a command may be refused here: others were faster."""


@dataclass(slots=True)
class Told:
    """What a person did and was told.

    Attributes
    ----------
    what : the command.
    token : what the step left in the book, found nowhere else.
    status : 0 where it was told to be done.
    words : what was said.
    already : the same bytes had come in before.
    lasted_s : seconds.
    """

    what: str
    token: str
    status: int
    words: str
    already: bool
    lasted_s: float


@dataclass(slots=True)
class Ledgers:
    """What all were told, and what was found of it afterwards.

    Attributes
    ----------
    told : every command of everybody.
    wrong : what is not as it was told.
    unknown : steps of which nobody could say whether they were stored; each may be there or not.
    entries, rows : of the book.
    """

    told: list[Told] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    unknown: int = 0
    entries: int = 0
    rows: int = 0

    def counts(self) -> Counter[str]:
        """Give how often each command was done, refused or had been done by somebody else."""
        return Counter(
            f"{one.what}: {'already there' if one.already else 'refused' if one.status else 'done'}"
            for one in self.told
        )

    def longest_s(self) -> float:
        """Give the seconds of the step that took longest, waits included."""
        return max(one.lasted_s for one in self.told)


def run(book: str, by: str, *words: str) -> Result:
    """Type a command."""
    return CliRunner().invoke(vinebook, ["--book", book, "--by", by, *words], prog_name="vinebook")


class Person:
    """One of those who write."""

    def __init__(self, book: str, folder: Path, name: str, seed: int) -> None:
        self.book = book
        self.folder = folder
        self.name = name
        self._chance = random.Random(seed)  # noqa: S311 - seeded work needs no cryptography
        self._done = 0
        self._mine: list[str] = []

    def step(self) -> Told:
        """Do one thing, by chance."""
        work: list[Callable[[str], tuple[str, list[str]]]] = [
            self._load,
            self._load,
            self._load_shared,
            self._add,
            self._add,
            self._amend,
            self._amend,
            self._strike,
            self._decide,
            self._draw,
            self._silence,
        ]
        self._done += 1
        token = f"{self.name}-{self._done}"
        what, words = self._chance.choice(work)(token)
        if what == "load shared":
            token = words[1].rpartition("/")[2].partition(".")[0]
        begun = time.monotonic()
        done = run(self.book, self.name, *words)
        trouble = done.exception
        said = done.output
        if trouble is not None and not isinstance(trouble, SystemExit):
            said += f"Traceback: {trouble!r}"
        if what == "add" and done.exit_code == 0:
            self._mine += re.findall(r"\((#\d+)\)", said)
        return Told(what, token, done.exit_code, said, "nothing done" in said, time.monotonic() - begun)

    def _load(self, token: str) -> tuple[str, list[str]]:
        """Load a file of as many rows for each block, so that who reads can see whether they came together."""
        path = self.folder / f"{token}.csv"
        rows = 1500 if self._chance.random() < 0.05 else self._chance.randint(1, 30)
        counted = f"2022-12-{self._chance.randint(10, 28)},random,{token}"
        path.write_text(
            CLUSTERS
            + "".join(
                f"{block},{counted},{1 + at // 60},{1 + at % 60},{self._chance.randint(0, 60)}\n"
                for at in range(rows)
                for block in BLOCKS
            )
        )
        return "load", ["load", str(path)]

    def _load_shared(self, token: str) -> tuple[str, list[str]]:
        del token
        name = f"shared-{self._chance.randrange(SHARED)}"
        return "load shared", ["load", str(self.folder / f"{name}.csv")]

    def _add(self, token: str) -> tuple[str, list[str]]:
        day = f"2022-11-{self._chance.randint(1, 30):02}"
        what = f"what={self._chance.choice(WHATS)}"
        return "add", ["add", "event", f"block={self._chance.choice(BLOCKS)}", f"date={day}", what, f"words={token}"]

    def _amend(self, token: str) -> tuple[str, list[str]]:
        key = f"#{self._chance.randint(5, 4 + FIRST_ROWS)}"
        value = f"clusters={self._chance.randint(0, 60)}"
        return "amend", ["amend", "cluster_tally", key, value, "--reason", token]

    def _strike(self, token: str) -> tuple[str, list[str]]:
        if not self._mine:
            return self._amend(token)
        key = self._mine.pop(self._chance.randrange(len(self._mine)))
        return "strike", ["strike", "event", key, "--reason", token]

    def _decide(self, token: str) -> tuple[str, list[str]]:
        words = ["decide", self._chance.choice(BLOCKS), "--season", "2023", "--decides", "nodes_to_keep"]
        words += ["--value", "24", "--words", "24 nodes", "--reason", token, "--decided-on", "2023-01-05"]
        return "decide", words + (["--evidence", "none"] if self._chance.random() < 0.7 else [])

    def _draw(self, token: str) -> tuple[str, list[str]]:
        words = ["draw", self._chance.choice(BLOCKS), "--season", "2023", "--for", "clusters_per_vine"]
        return "draw", [*words, "--vines", "5", "--on", "2022-12-01", "--note", token]

    def _silence(self, token: str) -> tuple[str, list[str]]:
        words = ["check", "--silence", self._chance.choice(RULES), "--block", self._chance.choice(BLOCKS)]
        return "silence", [*words, "--reason", token]


def prepare(book: str, folder: Path) -> None:
    """Put into a new book what all work on."""
    desk = Desk(book, folder)
    places(desk)
    desk.load_texts(clusters=cluster_rows([(1, vine, 10) for vine in range(1, FIRST_ROWS + 1)]))
    row = "block,from_season,first_row,last_row,positions\n"
    desk.load_texts(row=row + "".join(f"{block},2015,1,60,60\n" for block in BLOCKS))
    for at in range(SHARED):
        desk.write(f"shared-{at}.csv", _same_for_all(f"2023-01-{1 + at:02}"))
    desk.load_texts(begun=_same_for_all("2022-12-31"))


def _same_for_all(day: str) -> str:
    """Give a file that says the same of each block."""
    return CLUSTERS + "".join(f"{block},{day},random,all,1,{vine},7\n" for block in BLOCKS for vine in (1, 2))


def _write(book: str, folder: Path, name: str, seed: int, until: float, steps: int) -> None:
    """Work until a moment, or for a number of steps, and keep the ledger."""
    person = Person(book, folder, name, seed)
    with (folder / f"{name}.ledger").open("w", encoding="utf-8") as ledger:
        for _ in range(steps) if steps else iter(int, 1):
            if time.monotonic() > until:
                return
            ledger.write(json.dumps(asdict(person.step())) + "\n")
            ledger.flush()


def _read(book: str, folder: Path, name: str, over: Event) -> None:
    """Read until all have written, in turn by every command that reads much, and keep what was not of one piece."""
    looks = 0
    with (folder / f"{name}.read").open("w", encoding="utf-8") as ledger:
        while not looks or not over.is_set():
            looks += 1
            for what, wrong in _look(book, folder / f"{name}-{looks}"):
                ledger.write(json.dumps([what, wrong]) + "\n")
                ledger.flush()


def _look(book: str, place: Path) -> Iterator[tuple[str, str]]:
    """Give each command that read, and what was wrong with it, or ""."""
    place.mkdir()
    for _ in range(3):
        done = run(book, "reader", "figures", *BLOCKS, "--season", "2023", "--format", "json")
        yield "figures", _figures_wrong(done)
    done = run(book, "reader", "verify")
    yield "verify", "" if done.exit_code == 0 else done.output
    done = run(book, "reader", "export", str(place / "package"))
    yield "export", "" if done.exit_code == 0 else done.output
    # What was taken from two moments does not verify, and import refuses it.
    done = run(str(place / "again.db"), "reader", "import", str(place / "package"))
    yield "import of the export", "" if done.exit_code == 0 else done.output
    yield "both blocks alike", _uneven(str(place / "again.db"))
    done = run(book, "reader", "report", "history", "A1", "-o", str(place / "a1.pdf"))
    yield "report", "" if done.exit_code == 0 else done.output


def _figures_wrong(done: Result) -> str:
    """Say what is wrong with the figures: every file brings the newest sample of each block as many vines."""
    if done.exit_code:
        return done.output
    told = [one for one in json.loads(done.stdout)["figures"] if one["figure"] == "clusters_per_vine"]
    both = {(one["n"], one["value"]) for one in told}
    return "" if len(told) == len(BLOCKS) and len(both) == 1 else f"figures of the blocks differ: {told}"


def _uneven(book: str) -> str:
    """Say whether a book holds other numbers of loaded rows for one block than for the other."""
    sample, table = TABLES["sample"], TABLES["cluster_tally"]
    block = TABLES["block"]
    with Book(book).reading() as connection:
        rows = connection.execute(
            select(block.c.code)
            .join(sample, sample.c.block == block.c.record)
            .join(table, table.c.sample == sample.c.record)
            .where(table.c.record > 4 + FIRST_ROWS)
        ).scalars()
        counts = Counter(rows)
    return "" if len(set(counts.values())) <= 1 else f"rows of the blocks differ: {dict(counts)}"


def work_together(
    book: str, folder: Path, *, people: int, seconds: float, readers: int, steps: int = 0, seed: int = 1
) -> Ledgers:
    """Have people work on a prepared book at once, and give what they were told; `look_over` holds the book to it.

    Parameters
    ----------
    book, folder : the book, prepared, and where files and ledgers lie.
    people, readers : how many write, and how many read.
    seconds : how long.
    steps : of each person; 0 for as many as the time gives.
    seed : of what they do.
    """
    spawn = multiprocessing.get_context("spawn")
    until = time.monotonic() + seconds
    over = spawn.Event()
    writers = [
        spawn.Process(target=_write, args=(book, folder, f"P{at}", seed * 1000 + at, until, steps))
        for at in range(people)
    ]
    looking = [spawn.Process(target=_read, args=(book, folder, f"R{at}", over)) for at in range(readers)]
    crew = [*looking, *writers]
    for one in crew:
        one.start()
    for one in writers:
        one.join()
    over.set()
    for one in looking:
        one.join()
    found = Ledgers()
    found.wrong += [f"a process ended with {one.exitcode}" for one in crew if one.exitcode]
    for path in sorted(folder.glob("P*.ledger")):
        found.told += [Told(**json.loads(line)) for line in path.read_text(encoding="utf-8").splitlines()]
    for path in sorted(folder.glob("R*.read")):
        for line in path.read_text(encoding="utf-8").splitlines():
            what, wrong = json.loads(line)
            found.told.append(Told(f"read by {what}", "", int(bool(wrong)), wrong, already=False, lasted_s=0))
            found.wrong += [f"{what}: {wrong}"] if wrong else []
    return found


def look_over(book: str, found: Ledgers) -> None:
    """Hold a book to the ledgers: all that was told is there once, nothing that was refused is, and it is one chain."""
    report = verify_book(Book(book))
    found.wrong += report.differences
    with Book(book).reading() as connection:
        chain = list(entries(connection))
        files = Counter(connection.execute(select(TALLY.c.name)).scalars())
        marks: Counter[str] = Counter()
        for kind, column in (("event", "words"), ("decision", "reason"), ("draw", "note"), ("silence", "reason")):
            marks.update(connection.execute(select(TABLES[kind].c[column])).scalars())
        numbers = [
            number for table in TABLES.values() for number in connection.execute(select(table.c.record)).scalars()
        ]
        ranges = connection.execute(select(READING.c.first_record, READING.c.last_record)).all()
    bodies = [json.loads(entry.body) for entry in chain]
    marks.update(
        body["reason"] for entry, body in zip(chain, bodies, strict=True) if entry.action in ("amend", "strike")
    )
    found.entries, found.rows = len(chain), len(numbers)
    if [entry.number for entry in chain] != list(range(1, len(chain) + 1)):
        found.wrong.append("entry numbers have a gap")
    for before, after in pairwise(chain):
        if after.previous_hash != before.hash or after.hash != after.worked_out_hash():
            found.wrong.append(f"the chain breaks at entry {after.number}")
    if sorted(numbers) != list(range(1, len(numbers) + 1)):
        found.wrong.append("permanent numbers have a gap, or one stands twice")
    if sum(last - first + 1 for first, last in ranges) != len(numbers):
        found.wrong.append("readings do not share out the permanent numbers")
    _hold_to_ledgers(found, files, marks)
    _follow_amendments(found, bodies)


def _hold_to_ledgers(found: Ledgers, files: Counter[str], marks: Counter[str]) -> None:
    shared: dict[str, int] = defaultdict(int)
    for one in found.told:
        if NEVER.search(one.words):
            found.wrong.append(f"a person read: {one.words}")
        if one.status and not STATED.search(one.words):
            found.wrong.append(f"{one.what} {one.token} was refused for no stated reason: {one.words}")
        if UNKNOWN in one.words:
            found.unknown += 1
        elif one.what == "load shared":
            shared[one.token] += one.status == 0 and not one.already
        elif one.token:
            there = files[f"{one.token}.csv"] if one.what == "load" else marks[one.token]
            if there != (one.status == 0):
                found.wrong.append(f"{one.what} {one.token} stands {there} times and was told so: {one.words}")
    unknown = {one.token for one in found.told if UNKNOWN in one.words}
    for at in range(SHARED):
        name = f"shared-{at}"
        there = files[f"{name}.csv"]
        if there > 1 or (shared[name] != there and name not in unknown):
            found.wrong.append(f"{name} stands {there} times and was told {shared[name]} times")


def _follow_amendments(found: Ledgers, bodies: Sequence[dict[str, Any]]) -> None:
    """Look that each amendment saw what the one before it left."""
    stands: dict[tuple[str, int, str], str] = {}
    for body in bodies:
        for column, before in body.get("before", {}).items():
            place = body["kind"], body["record"], column
            if stands.get(place, before) != before:
                found.wrong.append(f"an amendment of {place} saw {before}, not {stands[place]}")
            stands[place] = body["after"][column]
