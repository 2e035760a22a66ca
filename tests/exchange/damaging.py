"""Damage to a package, at random: as disks and spreadsheets do it, and as somebody does it who mends the hashes."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
from typing import TYPE_CHECKING, Any

from tests.exchange.packed import contents
from vinebook.api import export_package, import_package, open_book
from vinebook.errors import FindingsError, VinebookError
from vinebook.exchange.package import DESCRIPTOR, NO_HASH, own_hash

if TYPE_CHECKING:
    import random
    from collections.abc import Callable
    from pathlib import Path

ODD_CELLS = (
    "",
    "'",
    "0",
    "-1",
    "x",
    "=1",
    "999999999999999999999",
    "1e308",
    "\0",
    "\u202e",
    "2022-02-30",
    'a"b',
    "a,b",
    "'\n",
)
ODD_VALUES: tuple[Any, ...] = (
    *(None, True, 0, -1, 10**30, 1.5, "", "x", "\0", [], {}, [[]], "0001", "9999", "data/block.csv", "sha256:"),
    *(
        "../../etc/passwd",
        "/etc/passwd",
        "https://example.org/x.csv",
        "data/../data/block.csv",
        "C:\\x",
        "data//block.csv",
    ),
)
ODD_JSON = (
    b"",
    b"[]",
    b"null",
    b"{",
    b"[" * 100_000,
    b'{"a":' * 50_000,
    b"\xff\xfe{}",
    b"1" * 10_000,
    b'{"a":NaN}',
    b"\xef\xbb\xbf{}",
)


class Damager:
    """Damages copies of one package and asks `import` what it makes of them.

    Attributes
    ----------
    package : the copy.
    """

    def __init__(self, whole: Path, folder: Path, chance: random.Random) -> None:
        """Take a package that is whole, and a folder to work in."""
        self.package = folder / "package"
        self._whole = contents(whole)
        self._folder = folder
        self._chance = chance
        self._descriptor: dict[str, Any] = json.loads(self._whole[DESCRIPTOR])
        self._tables = [one for one in self._descriptor["resources"] if "schema" in one]
        self.ways: dict[str, Callable[[], None]] = {
            name.removeprefix("_way_"): getattr(self, name) for name in dir(self) if name.startswith("_way_")
        }
        self._restore()

    def once(self, way: str) -> str:
        """Damage the package in one way and import it; give what came of it.

        Raises
        ------
        AssertionError : a refusal named no place, something was stored, or a book came in that is another.
        """
        self._restore()
        self.ways[way]()
        if self._is_whole():
            return "same"
        place = self._folder / "made.db"
        try:
            import_package(self.package, str(place))
        except VinebookError as refusal:
            self._assert_told(refusal)
            return "refused"
        shutil.rmtree(self._folder / "again", ignore_errors=True)
        export_package(open_book(place), self._folder / "again")
        assert contents(self._folder / "again") == self._whole
        shutil.rmtree(self._folder / "again")
        for path in self._folder.glob("made.db*"):
            path.unlink()
        return "equal"

    def _assert_told(self, refusal: VinebookError) -> None:
        """Assert that a refusal names a place, says what to do and left nothing behind."""
        found = refusal.findings if isinstance(refusal, FindingsError) else [refusal.message]
        told = [str(finding) for finding in found]
        assert told
        assert all(str(self.package) in words for words in told), told
        assert all(words.isprintable() for words in told), told
        assert refusal.hint
        left = [path.name for path in self._folder.iterdir() if path != self.package]
        assert left == [], left

    def _restore(self) -> None:
        shutil.rmtree(self.package, ignore_errors=True)
        for path, data in self._whole.items():
            place = self.package / path
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(data)

    def _is_whole(self) -> bool:
        return not any(path.is_symlink() for path in self.package.rglob("*")) and contents(self.package) == self._whole

    def _any_file(self) -> str:
        return self._chance.choice(list(self._whole))

    def _write(self, path: str, data: bytes) -> None:
        (self.package / path).write_bytes(data)

    def _mend(self, told: dict[str, Any]) -> None:
        """Write datapackage.json with hashes and sizes of the files as they lie there, its own hash too."""
        for resource in told["resources"]:
            place = self.package / resource["path"]
            if place.is_file():
                data = place.read_bytes()
                resource |= {"bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}"}
        self._write_descriptor(told)

    def _write_descriptor(self, told: dict[str, Any]) -> None:
        said = told["vinebook"].get("sha256") if isinstance(told.get("vinebook"), dict) else None
        if isinstance(said, str):
            told["vinebook"]["sha256"] = NO_HASH
            words = json.dumps(told, ensure_ascii=False, indent=1).encode(errors="surrogatepass")
            told["vinebook"]["sha256"] = own_hash(words, NO_HASH)
        self._write(DESCRIPTOR, json.dumps(told, ensure_ascii=False, indent=1).encode(errors="surrogatepass"))

    def _told(self) -> dict[str, Any]:
        told: dict[str, Any] = json.loads(self._whole[DESCRIPTOR])
        return told

    def _way_byte(self) -> None:
        path = self._any_file()
        data = bytearray(self._whole[path])
        for _ in range(self._chance.randrange(1, 4)):
            data[self._chance.randrange(len(data))] = self._chance.randrange(256)
        self._write(path, bytes(data))

    def _way_cut(self) -> None:
        path = self._any_file()
        self._write(path, self._whole[path][: self._chance.randrange(len(self._whole[path]))])

    def _way_insert(self) -> None:
        path = self._any_file()
        data = self._whole[path]
        at = self._chance.randrange(len(data) + 1)
        some = self._chance.choice(
            [b"\n", b"\r\n", b'"', b",", b"\0", b"\xff", b"\xef\xbb\xbf", b"x" * 5000, b";", b"'"]
        )
        self._write(path, data[:at] + some + data[at:])

    def _way_line_ends(self) -> None:
        path = self._any_file()
        self._write(
            path, self._whole[path].replace(b"\r\n", b"\n").replace(b"\n", self._chance.choice([b"\n", b"\r\n", b"\r"]))
        )

    def _way_delimiter(self) -> None:
        table = self._chance.choice(self._tables)["path"]
        self._write(table, self._whole[table].replace(b",", self._chance.choice([b";", b"\t", b"|"])))
        if self._chance.random() < 0.5:
            self._mend(self._told())

    def _way_encoding(self) -> None:
        table = self._chance.choice(self._tables)["path"]
        other = self._chance.choice(["utf-16", "utf-32", "utf-8-sig", "latin-1", "utf-7", "cp037"])
        self._write(table, self._whole[table].decode().encode(other, errors="replace"))
        if self._chance.random() < 0.5:
            self._mend(self._told())

    def _way_long(self) -> None:
        """Put a cell that is longer than any book would hold, or a row that is wider."""
        path = self._chance.choice(self._tables)["path"]
        rows = list(csv.reader(io.StringIO(self._whole[path].decode(), newline="")))
        row = self._chance.choice(rows)
        if self._chance.random() < 0.3:
            row.extend(["1"] * 50_000)
        else:
            row[self._chance.randrange(len(row))] = self._chance.choice("9x'\u0301\n\0") * 200_000
        self._write_rows(path, rows)

    def _way_delete(self) -> None:
        (self.package / self._any_file()).unlink()
        if self._chance.random() < 0.3:
            told = self._told()
            told["resources"] = [one for one in told["resources"] if (self.package / one["path"]).exists()]
            if (self.package / DESCRIPTOR).exists():
                self._mend(told)

    def _way_rename(self) -> None:
        path = self._any_file()
        end = path.rpartition("/")[2][-3:].upper()
        new = self._chance.choice(
            [f"{path}.bak", "data/x.csv", "kept/9.csv", "x", f"kept/X.{end}", ".hidden", "data/\udcff"]
        )
        (self.package / path).rename(self.package / new)
        if self._chance.random() < 0.5 and (self.package / DESCRIPTOR).exists():
            told = self._told()
            for one in told["resources"]:
                if one["path"] == path:
                    one["path"] = new
            self._mend(told)

    def _way_swap(self) -> None:
        one, other = self._any_file(), self._any_file()
        self._write(one, self._whole[other])
        self._write(other, self._whole[one])
        if self._chance.random() < 0.5 and DESCRIPTOR not in (one, other):
            self._mend(self._told())

    def _way_extra(self) -> None:
        name = self._chance.choice(
            ["x.txt", "data/x.csv", "kept/999.csv", "kept/x/y.csv", "new/x.csv", ".DS_Store", "data/x\ny.csv"]
        )
        place = self.package / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(b"x")

    def _way_link(self) -> None:
        path = self.package / self._chance.choice([self._any_file(), "data", "kept", "readings"])
        away = self.package.with_name("away") if self._chance.random() < 0.5 else self.package / "away"
        path.rename(away)
        path.symlink_to(away)
        if away.parent == self._folder:
            # What a link leads to lies outside of the package; only the package is looked at.
            away.rename(self.package / "elsewhere")

    def _way_pipe(self) -> None:
        place = self.package / self._any_file()
        place.unlink()
        os.mkfifo(place)

    def _way_folder(self) -> None:
        place = self.package / self._any_file()
        place.unlink()
        place.mkdir()

    def _way_cell(self) -> None:
        """Change one cell, and mend the hashes half of the time: then only verify can tell."""
        resource = self._chance.choice(self._tables)
        path = resource["path"]
        rows = list(csv.reader(io.StringIO(self._whole[path].decode(), newline="")))
        row = self._chance.choice(rows)
        at = self._chance.randrange(len(row))
        other = self._chance.choice(rows)[at] if self._chance.random() < 0.5 else self._chance.choice(ODD_CELLS)
        row[at] = other
        self._write_rows(path, rows)

    def _way_row(self) -> None:
        path = self._chance.choice(self._tables)["path"]
        rows = list(csv.reader(io.StringIO(self._whole[path].decode(), newline="")))
        at = self._chance.randrange(len(rows))
        match self._chance.randrange(5):
            case 0:
                del rows[at]
            case 1:
                rows.insert(at, list(self._chance.choice(rows)))
            case 2:
                other = self._chance.randrange(len(rows))
                rows[at], rows[other] = rows[other], rows[at]
            case 3:
                rows[at].append("x")
            case _:
                rows.insert(at, [])
        self._write_rows(path, rows)

    def _way_column(self) -> None:
        path = self._chance.choice(self._tables)["path"]
        rows = list(csv.reader(io.StringIO(self._whole[path].decode(), newline="")))
        one, other = self._chance.randrange(len(rows[0])), self._chance.randrange(len(rows[0]))
        for row in rows:
            row[one], row[other] = row[other], row[one]
        self._write_rows(path, rows)

    def _write_rows(self, path: str, rows: list[list[str]]) -> None:
        page = io.StringIO(newline="")
        csv.writer(page, lineterminator="\r\n").writerows(rows)
        self._write(path, page.getvalue().encode())
        if self._chance.random() < 0.5:
            self._mend(self._told())

    def _way_kept(self) -> None:
        path = self._chance.choice([path for path in self._whole if path.startswith(("kept/", "readings/"))])
        data = bytearray(self._whole[path])
        data[self._chance.randrange(len(data))] ^= 1 << self._chance.randrange(8)
        self._write(path, bytes(data))
        self._mend(self._told())

    def _way_json_value(self) -> None:
        told = self._told()
        owner, key = self._spot(told)
        owner[key] = self._chance.choice(ODD_VALUES)
        self._write_told(told)

    def _way_json_drop(self) -> None:
        told = self._told()
        owner, key = self._spot(told)
        del owner[key]
        self._write_told(told)

    def _way_json_twin(self) -> None:
        told = self._told()
        resources = told["resources"]
        resources.insert(self._chance.randrange(len(resources)), dict(self._chance.choice(resources)))
        self._write_told(told)

    def _way_json_name(self) -> None:
        told = self._told()
        owner, key = self._spot(told)
        if isinstance(owner, dict):
            owner[self._chance.choice(["x", "path", "name", "\0", f"{key} "])] = owner.pop(key)
        self._write_told(told)

    def _way_json_bomb(self) -> None:
        self._write(DESCRIPTOR, self._chance.choice(ODD_JSON))

    def _spot(self, told: dict[str, Any]) -> tuple[Any, Any]:
        """Give an object or list within datapackage.json, and a key of it."""
        here: Any = told
        while True:
            key = self._chance.choice(list(here) if isinstance(here, dict) else range(len(here)))
            if not isinstance(here[key], (dict, list)) or not here[key] or self._chance.random() < 0.1:
                return here, key
            here = here[key]

    def _write_told(self, told: dict[str, Any]) -> None:
        if self._chance.random() < 0.5:
            self._write_descriptor(told)
        else:
            self._write(DESCRIPTOR, json.dumps(told, ensure_ascii=False, indent=1).encode(errors="surrogatepass"))
