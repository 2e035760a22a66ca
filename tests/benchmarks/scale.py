"""A book of many years in three sizes on both databases: growth and memory of each command, ratios to plain ways.

A server's processor time counts as the command's own. Growth is the exponent between two sizes: 1 is in step with the
rows. Start-up makes it less at small sizes.
"""

from __future__ import annotations

import json
import math
import os
import shutil
import time
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.benchmarks.books import code_of
from tests.benchmarks.measuring import VINEBOOK, Run, run
from tests.benchmarks.printing import SET_PAGE, WRITE_PAGE
from tests.benchmarks.scale_book import SAMPLED, SEASONS
from tests.postgresql import running_server

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.benchmarks.measuring import Results
    from tests.postgresql import Server

BLOCKS = 1_000
PARTS = (16, 4, 1)
FEW_FROM = 20
"""From this scale on times tell nothing, so the smallest size and further turns are left out."""
HERE = Path(__file__).parent
PLAIN = HERE / "plain_scale.py"
SEASON = 2015
GROWTH, FLAT = 1.05, 1.2
ONE_BLOCK = "figures BLOCK"
ONE_BLOCK_TURNS = 3


@dataclass(frozen=True, slots=True)
class Job:
    """One command, what it may hold at most, and its largest ratio to the plain way; None where there is no target.

    Attributes
    ----------
    by : what the plain way is, in words.
    """

    most_mib: float
    ratio: float | None
    by: str


JOBS = {
    "load": Job(200, None, "csv + executemany, or csv + COPY"),
    ONE_BLOCK: Job(100, 2.0, "click + SQLAlchemy Core, one query"),
    "figures --season": Job(200, None, "bare aggregates of that season"),
    "arrays of figures": Job(400, 3.0, "bare aggregates"),
    "figures": Job(400, None, "bare aggregates"),
    # WeasyPrint alone holds more than 500 MiB for the page of 1,000 blocks.
    "overview": Job(800, 1.3, "python -m weasyprint on the finished page"),
    "verify": Job(200, 3.0, "hash kept bytes, read readings as csv, fetch all rows"),
    "export": Job(200, 2.0, "SELECT and csv"),
}
LOAD_RATIOS = {"SQLite": 2.5, "PostgreSQL": 2.0}
"""A load is measured against executemany on SQLite and against COPY on PostgreSQL."""


@dataclass(slots=True)
class Series:
    """One command on one database: a run of each size, and the plain way in the largest."""

    ours: dict[int, Run] = field(default_factory=dict)
    theirs: Run | None = None

    def growth(self) -> float:
        """Give the exponent of growth between the two largest sizes, in processor time."""
        *_, before, last = sorted(self.ours)
        return math.log(self.ours[last].cpu_s / self.ours[before].cpu_s) / math.log(last / before)

    def spread(self) -> float:
        """Give the processor time in the largest book to that in the smallest."""
        first, *_, last = sorted(self.ours)
        return self.ours[last].cpu_s / self.ours[first].cpu_s


class Place:
    """Where the books of one database stand, and what its server adds to a command's processor time."""

    def __init__(self, name: str, folder: Path, server: Server | None) -> None:
        self.name = name
        self.folder = folder
        self._server = server

    def empty(self, blocks: int, places: list[str]) -> str:
        """Make a book that holds the blocks alone, from which others are copied."""
        name = f"empty_{blocks}"
        book = str(self.folder / f"{name}.db") if self._server is None else self._server.create(name)
        run([*VINEBOOK, "--book", book, "new"], self.folder)
        run([*VINEBOOK, "--book", book, "load", *places], self.folder)
        return book

    def copied(self, empty: str, name: str) -> str:
        """Copy an empty book."""
        if self._server is None:
            shutil.copyfile(empty, self.folder / f"{name}.db")
            return str(self.folder / f"{name}.db")
        return self._server.create(name, Path(empty.partition("?")[0]).name)

    def remove(self, name: str) -> None:
        """Remove a book."""
        if self._server is not None:
            self._server.drop(name)
            return
        for ending in ("", "-wal", "-shm"):
            (self.folder / f"{name}.db{ending}").unlink(missing_ok=True)

    def run(self, words: list[str | Path], *, count_lines: bool = False) -> Run:
        """Run Python with some words; the server's processor time is added."""
        before = self._server_s()
        done = run(words, self.folder, count_lines=count_lines)
        return replace(done, cpu_s=done.cpu_s + self._server_s() - before)

    def _server_s(self) -> float:
        """Give the processor seconds of the server and of all its processes that have ended."""
        if self._server is None:
            return 0.0
        time.sleep(0.1)
        pid = (self._server.folder / "data" / "postmaster.pid").read_text().split()[0]
        times = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[11:15]
        return sum(map(int, times)) / os.sysconf("SC_CLK_TCK")


class Scale:
    """Measures every command in every size on one database."""

    def __init__(self, results: Results, place: Place) -> None:
        self._results = results
        self._place = place
        self._turns = ONE_BLOCK_TURNS if results.scale < FEW_FROM else 1
        self.series: dict[str, Series] = {name: Series() for name in JOBS}

    def size(self, blocks: int, went_in: dict[str, Any], *, is_largest: bool) -> None:
        """Measure every command in a book of so many blocks, and in the largest the plain ways too."""
        place = self._place
        files = went_in["files"]
        counted = [path for path in files if Path(path).name.startswith((*SAMPLED, "load", "harvest_close"))]
        empty = place.empty(blocks, [path for path in files if path not in counted])
        name = f"book_{blocks}"
        book = place.copied(empty, name)
        self._note("load", blocks, place.run([*VINEBOOK, "--book", book, "--quiet", "load", *counted]))
        _assert_holds(book, went_in)
        if is_largest:
            plain = place.copied(empty, "plain")
            self._note_plain("load", place.run([PLAIN, "load", plain, *counted]))
            _assert_holds(plain, went_in)
            place.remove("plain")
        self._read(book, blocks, went_in, is_largest=is_largest)
        self._overview(book, blocks, is_largest=is_largest)
        self._write_out(book, blocks, went_in, is_largest=is_largest)
        place.remove(name)

    def _read(self, book: str, blocks: int, went_in: dict[str, Any], *, is_largest: bool) -> None:
        """Measure what reads; a plain way comes right behind the command, so that other work slows both alike."""
        place, vinebook = self._place, [*VINEBOOK, "--book", book]
        one = _least(lambda: place.run([*vinebook, "figures", code_of(0)]), self._turns)
        self._note(ONE_BLOCK, blocks, one)
        if is_largest:
            query: list[str | Path] = [HERE / "plain_query.py", book, "--block", code_of(0)]
            self._note_plain(ONE_BLOCK, _least(lambda: place.run(query), self._turns))
        season = place.run([*vinebook, "--format", "csv", "figures", "--season", str(SEASON)], count_lines=True)
        assert int(season.out) > blocks
        self._note("figures --season", blocks, season)
        if is_largest:
            self._note_plain("figures --season", self._plain(went_in["vines"] // SEASONS, "season", book, str(SEASON)))
        arrays = place.run([HERE / "arrays_of_seasons.py", book])
        known = json.loads(arrays.out)["figures"]["clusters_per_vine"]
        assert known["n"] == went_in["vines"] // len(SAMPLED)
        self._note("arrays of figures", blocks, arrays)
        if is_largest:
            bare = self._plain(went_in["vines"], "all", book)
            self._note_plain("arrays of figures", bare)
            self._note_plain("figures", bare)
        printed = place.run([*vinebook, "--format", "csv", "figures"], count_lines=True)
        assert int(printed.out) > blocks * SEASONS
        self._note("figures", blocks, printed)
        self._results.say("figures printed", f"{int(printed.out) - 1:,}")
        verified = place.run([*vinebook, "verify"])
        assert f"{went_in['rows']:,} rows" in verified.out, verified.out
        self._note("verify", blocks, verified)
        if is_largest:
            self._note_plain("verify", self._plain(went_in["rows"], "verify", book))

    def _plain(self, expected: int, *words: str) -> Run:
        """Run a plain way whose last word is a number that is known."""
        done = self._place.run([PLAIN, *words])
        assert _last(done) == expected
        return done

    def _write_out(self, book: str, blocks: int, went_in: dict[str, Any], *, is_largest: bool) -> None:
        place, package, csvs = self._place, self._place.folder / "package", self._place.folder / "csvs"
        self._note("export", blocks, place.run([*VINEBOOK, "--book", book, "--quiet", "export", package]))
        vines = sum(_lines(package / "data" / f"{kind}.csv") - 1 for kind in SAMPLED)
        assert vines == went_in["vines"]
        shutil.rmtree(package)
        if is_largest:
            self._note_plain("export", place.run([PLAIN, "export", book, csvs]))
            assert sum(_lines(csvs / f"{kind}.csv") for kind in SAMPLED) == vines
            shutil.rmtree(csvs)

    def _overview(self, book: str, blocks: int, *, is_largest: bool) -> None:
        place, pdf, page = self._place, self._place.folder / "overview.pdf", self._place.folder / "overview.html"
        words: list[str | Path] = ["--quiet", "report", "overview", "--season", str(SEASON), "-o", pdf]
        self._note("overview", blocks, place.run([*VINEBOOK, "--book", book, *words]))
        assert pdf.read_bytes().startswith(b"%PDF")
        if is_largest:
            write = WRITE_PAGE.replace("Wanted(what, tuple(rest))", f"Wanted(what, season={SEASON})")
            place.run(["-c", write, book, page, "overview"])
            self._note_plain("overview", place.run(["-c", SET_PAGE, page, pdf]))

    def _note(self, job: str, blocks: int, ours: Run) -> None:
        self.series[job].ours[blocks] = ours
        self._results.say(f"{self._place.name}, {blocks:,} blocks: {job}", _told(ours))

    def _note_plain(self, job: str, theirs: Run) -> None:
        self.series[job].theirs = theirs
        self._results.say(f"{self._place.name}: {JOBS[job].by}"[:52], _told(theirs))

    def tell(self) -> None:
        """Print growth, ratio and memory of each command beside their targets, then all of it as a table."""
        results, name = self._results, self._place.name
        results.heading(f"{name}: growth (exponent, processor time), ratio to the plain way, memory")
        rows = []
        for job, series in self.series.items():
            target = LOAD_RATIOS[name] if job == "load" else JOBS[job].ratio
            last = max(series.ours)
            ours, theirs = series.ours[last], series.theirs
            assert theirs is not None
            ratio = ours.cpu_s / theirs.cpu_s
            if job == ONE_BLOCK:
                results.limit(f"{job}: largest book : smallest", series.spread(), FLAT, "")
                grows = f"× {series.spread():.2f}"
            else:
                results.limit(f"{job}: growth", series.growth(), GROWTH, "")
                grows = f"{series.growth():.2f}"
            if target is None:
                results.say(f"{job} : {JOBS[job].by}"[:52], f"{ratio:.2f}")
            else:
                results.limit(f"{job} : {JOBS[job].by}"[:52], ratio, target, "")
            results.limit(f"{job}: peak memory", ours.peak_mib, JOBS[job].most_mib, "MiB")
            seconds = " | ".join(f"{series.ours[size].cpu_s:.1f}" for size in sorted(series.ours))
            wanted = f"{ratio:.2f}" + ("" if target is None else f" (≤ {target:g})")
            rows.append(f"| {job} | {seconds} | {grows} | {ours.peak_mib:.0f} (≤ {JOBS[job].most_mib:g}) | {wanted} |")
        sizes = " | ".join(f"{size:,} blocks" for size in sorted(self.series["load"].ours))
        print(f"\n| {name} | {sizes} | growth | MiB | : plain |\n|{'---|' * (sizes.count('|') + 5)}")
        print("\n".join(rows), flush=True)


def measure(results: Results, folder: Path) -> None:
    """Measure both databases."""
    parts = PARTS if results.scale < FEW_FROM else PARTS[1:]
    sizes = sorted({max(2, BLOCKS // results.scale // part) for part in parts})
    with ExitStack() as held:
        server = held.enter_context(running_server())
        both = []
        for name, where in (("SQLite", None), ("PostgreSQL", server)):
            (folder / name).mkdir()
            both.append(Scale(results, Place(name, folder / name, where)))
        for blocks in sizes:
            results.heading(f"a book of {blocks:,} blocks × {SEASONS} seasons × 100 vines")
            tallies = folder / f"tallies_{blocks}"
            tallies.mkdir()
            went_in = json.loads(run(["-m", "tests.benchmarks.scale_book", tallies, str(blocks)], folder).out)
            for scale in both:
                scale.size(blocks, went_in, is_largest=blocks == sizes[-1])
            shutil.rmtree(tallies)
        for scale in both:
            scale.tell()


def _assert_holds(book: str, went_in: dict[str, Any]) -> None:
    """Hold a book to what went in: the sum of the last counted value of each kind."""
    from tests.benchmarks.plain_scale import opened

    raw = opened(book)
    of_kind = {
        "pruned_vine": "sum(prunings_mg) / 1000",
        "shoot_tally": "sum(blind_nodes) * 1000",
        "cluster_tally": "sum(clusters) * 1000",
        "vine_harvest": "sum(mass_mg) / 1000",
        "load": "sum(net_milli)",
    }
    for kind, total in of_kind.items():
        (found,) = raw.execute(f"SELECT {total} FROM {kind}").fetchone()
        assert int(found) == went_in["thousandths"][kind], (book, kind, found)
    vines = sum(raw.execute(f"SELECT count(*) FROM {kind}").fetchone()[0] for kind in SAMPLED)
    assert vines == went_in["vines"]
    raw.close()


def _told(done: Run) -> str:
    return f"{done.cpu_s:8.2f} s cpu {done.wall_s:8.2f} s wall {done.peak_mib:5.0f} MiB"


def _least(measured: Callable[[], Run], turns: int) -> Run:
    return min((measured() for _ in range(turns)), key=lambda one: one.cpu_s)


def _last(done: Run) -> int:
    return int(done.out.split()[-1])


def _lines(path: Path) -> int:
    with path.open("rb") as stream:
        return sum(1 for _ in stream)
