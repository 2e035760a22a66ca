"""Tallies damaged at random, as text and as workbooks: each is refused at a place, or read whole; never a traceback.

python tests/long/damaging.py [FILES [SEED]]
"""

from __future__ import annotations

import io
import random
import shutil
import sys
import tempfile
import time
import warnings
import zipfile
from collections import Counter
from pathlib import Path

from openpyxl import Workbook

from tests.desk import Desk, cluster_rows, places
from vinebook.audit.verify import verify_book
from vinebook.errors import FindingsError, VinebookError
from vinebook.records.schema import make_book

FILES = 20_000
TOLD_EVERY = 1_000
KEPT = Path(__file__).parents[1] / "intake" / "workbooks"
PARTS = ("xl/worksheets/sheet", "xl/worksheets/sheet", "xl/sharedStrings", "xl/workbook.xml", "xl/styles", "_rels/")
CSV_CELLS = (
    '"',
    '"";',
    "=1+1",
    "\x00",
    "1e9",
    "-1",
    "\U0001d7db",
    "ÿ",
    "1,5",
    "  ",
    "A1\n",
    "9" * 400,
    "2022-13-01",
    "\ufeff",
    "x" * 200_000,
    '"x\r\ry"',
)
ENCODINGS = ("utf-16", "utf-16-le", "utf-32", "utf-8-sig", "latin-1", "utf-7", "cp037")
ODD_NAMES = (
    *("../climbs.xml", "/etc/passwd", "xl/../../x", "xl\\worksheets\\sheet1.xml", "C:x", "xl/WORKBOOK.xml", ""),
    *(
        "xl/vbaProject.bin",
        "xl/externalLinks/externalLink1.xml",
        "xl/connections.xml",
        "xl/workbook.bin",
        "content.xml",
    ),
)
METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
LINK_MODE = 0o120777 << 16
BOMB_BYTES = 4 << 20
XML_BITS = (
    *(b"<", b">", b'"', b"&", b"&#0;", b"&lt;", b"<f/>", b"<f>1</f>", b"<v/>", b"</c>", b"]]>", b"<!--", b"\xff"),
    *(b' t="e"', b' t="s"', b' t="d"', b' t="b"', b' s="9"', b' s="-1"', b"<v>NaN</v>", b"<v>1e999</v>", b"<v>-7</v>"),
    *(b' r="XFD1048576"', b' r="A0"', b' r="ZZZ9"', b' hidden="1"', b'<mergeCell ref="A1:B9"/>', b"<!DOCTYPE a>"),
    *(
        b'<row r="7"/>',
        b"<c/>",
        b"<v>9999999999</v>",
        b"\x00",
        "\U0001d7db".encode(),
        b"<is><t>x</t></is>",
        b' date1904="1"',
    ),
)


def workbook_of(text: str) -> bytes:
    """Give a workbook with the cells of a CSV text, one sheet of them."""
    book = Workbook()
    book.active.title = "cluster_tally"
    for line in text.splitlines():
        book.active.append([int(cell) if cell.isdecimal() else cell for cell in line.split(",")])
    page = io.BytesIO()
    book.save(page)
    return page.getvalue()


class Damager:
    """Damages tallies and loads them.

    Attributes
    ----------
    came : what came of each file, by sort of file.
    wrong : what must not happen.
    """

    def __init__(self, folder: Path, seed: int) -> None:
        self._folder = folder
        self._chance = random.Random(seed)  # noqa: S311 - seeded damage needs no cryptography
        self._template = folder / "template.db"
        make_book(str(self._template), by="KL")
        places(Desk(str(self._template), folder))
        self._csv = cluster_rows([(1 + at // 5, 1 + at % 5, at) for at in range(20)]).encode()
        self._workbooks = [
            workbook_of(self._csv.decode()),
            *(path.read_bytes() for path in sorted(KEPT.glob("*.xlsx"))),
        ]
        self._books = 0
        self._anew()
        self.came: Counter[str] = Counter()
        self.wrong: list[str] = []

    def _anew(self) -> None:
        self._books += 1
        path = self._folder / f"book-{self._books}.db"
        shutil.copyfile(self._template, path)
        self._desk = Desk(str(path), self._folder)
        self._held = self._desk.held()

    def damaged_csv(self) -> bytes:
        """Give a damaged CSV tally."""
        if self._chance.random() < 0.4:
            return self._damaged(self._csv)
        if self._chance.random() < 0.2:
            text = self._csv.decode().replace("\n", self._chance.choice(["\n", "\r", "\r\n", "\n\r", "\u2028"]))
            text = text.replace(",", self._chance.choice([",", ";", "\t", "|", ",,"]))
            return text.encode(self._chance.choice(ENCODINGS), errors="replace")
        rows = [line.split(",") for line in self._csv.decode().splitlines()]
        for _ in range(self._chance.randint(1, 3)):
            row = self._chance.choice(rows)
            row[self._chance.randrange(len(row))] = self._chance.choice(CSV_CELLS)
        return "\n".join(",".join(row) for row in rows).encode()

    def damaged_workbook(self) -> bytes:
        """Give a damaged workbook: its bytes, or the bytes or words of one of its parts."""
        chance = self._chance
        data = chance.choice(self._workbooks)
        # What is locked with a password is no archive.
        if chance.random() < 0.25 or not zipfile.is_zipfile(io.BytesIO(data)):
            return self._damaged(data)
        if chance.random() < 0.25:
            return self._repacked(data)
        start = chance.choice(PARTS)
        page = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(data)) as whole, zipfile.ZipFile(page, "w", zipfile.ZIP_DEFLATED) as made:
            names = whole.namelist()
            hit = chance.choice([name for name in names if start in name] or names)
            for name in names:
                part = whole.read(name)
                if name == hit:
                    if chance.random() < 0.1:
                        continue
                    part = self._damaged(part) if chance.random() < 0.4 else self._worded(part)
                made.writestr(name, part)
        return page.getvalue()

    def _repacked(self, data: bytes) -> bytes:
        """Pack a workbook anew in a way that no spreadsheet program does."""
        chance = self._chance
        with zipfile.ZipFile(io.BytesIO(data)) as whole:
            parts = [(zipfile.ZipInfo(name), whole.read(name)) for name in whole.namelist()]
        chance.choice([self._name_otherwise, self._fill_otherwise, chance.shuffle])(parts)
        flags = chance.choice([0, 0, 0, 1, 1 << 3, 1 << 5, 1 << 6, 1 << 11])
        page = io.BytesIO()
        with warnings.catch_warnings(action="ignore"), zipfile.ZipFile(page, "w") as made:
            for info, words in parts:
                info.compress_type = chance.choice(METHODS)
                made.writestr(info, words)
            for info in made.infolist():
                info.flag_bits |= flags
            made.comment = chance.choice([b"", chance.randbytes(30)])
        return chance.choice([b"", b"", chance.randbytes(9)]) + page.getvalue()

    def _name_otherwise(self, parts: list[tuple[zipfile.ZipInfo, bytes]]) -> None:
        """Put a part in twice, under another name or as a link, or one more."""
        chance = self._chance
        at = chance.randrange(len(parts))
        part = parts[at][0]
        match chance.randrange(4):
            case 0:
                parts.append((zipfile.ZipInfo(part.filename), chance.choice(parts)[1]))
            case 1:
                part.filename = chance.choice(ODD_NAMES)
            case 2:
                parts.insert(at, (zipfile.ZipInfo(chance.choice(ODD_NAMES)), b"<x/>"))
            case _:
                part.external_attr = LINK_MODE
                parts[at] = part, b"/etc/passwd"

    def _fill_otherwise(self, parts: list[tuple[zipfile.ZipInfo, bytes]]) -> None:
        """Fill a part with another's bytes, in another encoding, or with much."""
        chance = self._chance
        at = chance.randrange(len(parts))
        part, held = parts[at]
        encoded = held.decode(errors="replace").encode(chance.choice(ENCODINGS), errors="replace")
        parts[at] = part, chance.choice([chance.choice(parts)[1], encoded, held + b" " * BOMB_BYTES])

    def _damaged(self, data: bytes) -> bytes:
        chance = self._chance
        for _ in range(chance.randint(1, 4)):
            at = chance.randrange(len(data) + 1)
            match chance.randrange(5):
                case 0:
                    data = data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
                case 1:
                    data = data[:at]
                case 2:
                    data = data[:at] + chance.randbytes(chance.randint(1, 9)) + data[at:]
                case 3:
                    data = data[:at] + data[at + chance.randint(1, 60) :]
                case _:
                    data = data[:at] + data[max(0, at - 50) : at] + data[at:]
        return data

    def _worded(self, data: bytes) -> bytes:
        chance = self._chance
        for _ in range(chance.randint(1, 3)):
            places = [at for at, sign in enumerate(data) if sign in b' <>"'] or [0]
            at = chance.choice(places)
            end = at + chance.choice([0, 0, 1, 5])
            data = data[:at] + chance.choice(XML_BITS) + data[end:]
        return data

    def once(self, sort: str) -> None:
        """Load one damaged file and look at what came of it."""
        data = self.damaged_csv() if sort == "csv" else self.damaged_workbook()
        path = self._desk.write(f"damaged.{sort}", data)
        try:
            self._desk.load(path)
        except FindingsError as refused:
            self.came[f"{sort}: refused at a place"] += 1
            if any(not finding.file.startswith(str(path)) or not finding.what for finding in refused.findings):
                self._tell(sort, data, f"a finding without a place: {refused.findings}")
            if self._desk.held() != self._held:
                self._tell(sort, data, "something was stored")
        except VinebookError as refused:
            self.came[f"{sort}: {type(refused).__name__}"] += 1
            if str(path) not in refused.message or self._desk.held() != self._held:
                self._tell(sort, data, f"no place or something stored: {refused.message}")
        except BaseException as trouble:
            if isinstance(trouble, KeyboardInterrupt):
                raise
            self._tell(sort, data, f"{type(trouble).__name__}: {trouble}")
        else:
            self.came[f"{sort}: read whole"] += 1
            if verify_book(self._desk.book).differences:
                self._tell(sort, data, "the book does not verify")
            self._anew()

    def _tell(self, sort: str, data: bytes, what: str) -> None:
        self.wrong.append(what)
        (Path(tempfile.gettempdir()) / f"damaged-{len(self.wrong)}.{sort}").write_bytes(data)


def damage(folder: Path, files: int, seed: int) -> Damager:
    """Damage and load so many files, one of three of them text."""
    damager = Damager(folder, seed)
    begun = time.monotonic()
    for at in range(files):
        damager.once("xlsx" if at % 3 else "csv")
        if at % TOLD_EVERY == TOLD_EVERY - 1:
            told = f"{at + 1:,} files in {time.monotonic() - begun:,.0f} s, {len(damager.wrong)} of them ended badly"
            print(told, flush=True)
    return damager


def main(files: int, seed: int) -> int:
    """Print what came of the files; 1 where it must not have."""
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        done = damage(Path(folder), files, seed)
    for what, count in sorted(done.came.items()):
        print(f"  {count:6,}  {what}")
    took_s = time.monotonic() - begun
    print(f"{files:,} damaged files in {took_s:.0f} s, {len(done.wrong)} of them ended badly (seed {seed})")
    for words in done.wrong[:20]:
        print(words, file=sys.stderr)
    return 1 if done.wrong else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else FILES, int(sys.argv[2]) if len(sys.argv) > 2 else 1))
