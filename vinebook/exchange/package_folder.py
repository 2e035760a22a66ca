"""A data package's folder as it was found: what datapackage.json says of it, and whether it is what `export` writes."""

from __future__ import annotations

import json
import os
import re
import stat
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from vinebook.errors import BookVersionError, FileRefusedError, Finding, FindingsError
from vinebook.exchange.package import (
    DESCRIPTOR,
    FILES,
    FORMAT,
    file_path,
    own_hash,
    package_tables,
    table_path,
    table_resource,
)
from vinebook.records.schema import EARLIER, HEAD

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path
    from typing import BinaryIO

MOST_DESCRIPTOR_BYTES = 64 << 20
MOST_GROWN_BYTES = 1 << 20
"""A file so much larger than datapackage.json says is not looked into."""
FOUND_PER_FILE = 20
"""Findings told of one file; more are counted."""
SHOWN = 60
HINT = "take the folder as `vinebook export` wrote it, or export the book again"
_HASH = re.compile(r"sha256:([0-9a-f]{64})")
_OF_A_TALLY = re.compile(rf"({'|'.join(FILES.values())})-([1-9][0-9]{{0,17}})")
_ESSENTIAL = ("name", "type", "path", "scheme", "format", "encoding", "dialect")
"""What datapackage.json must say of a table for it to be read as it was written; its fields are looked at, too."""


def in_print(words: str) -> str:
    """Give words with every sign that does not print escaped: what a package holds does not reach a terminal."""
    return words if words.isprintable() else "".join(s if s.isprintable() else ascii(s)[1:-1] for s in words)


@dataclass(slots=True)
class Disagreements:
    """What does not agree, gathered to the end and capped.

    Attributes
    ----------
    found : findings that were kept.
    beyond : how many more there were.
    """

    found: list[Finding] = field(default_factory=list)
    beyond: int = 0
    _per_file: dict[str, int] = field(default_factory=dict)

    def add(self, file: str, line: int, column: str, what: str, expected: str = "") -> None:
        """Add a finding."""
        self._per_file[file] = self._per_file.get(file, 0) + 1
        if self._per_file[file] <= FOUND_PER_FILE:
            self.found.append(Finding(file, line, column, in_print(what), in_print(expected)))
        else:
            self.beyond += 1

    def refuse(self) -> None:
        """Raise what was found, if anything was.

        Raises
        ------
        FindingsError : there is at least one.
        """
        if self.found:
            raise FindingsError(self.found, self.beyond, hint=HINT)


@dataclass(frozen=True, slots=True)
class Described:
    """A file of a package as datapackage.json tells of it.

    Attributes
    ----------
    path : within the package.
    size : bytes.
    sha256 : in hexadecimal.
    """

    path: str
    size: int
    sha256: str


@dataclass(slots=True)
class PackageFolder:
    """A package whose folder is in order; what its files hold is still to be looked at.

    Attributes
    ----------
    folder : the package.
    seal : newest hash of the journal, as datapackage.json says.
    tables : its tables by name.
    files : by table of parts and number of the tally: kept files and readings.
    unfit : files that are not of the size that datapackage.json says.
    """

    folder: Path
    seal: str
    tables: dict[str, Described]
    files: dict[tuple[str, int], Described]
    unfit: Disagreements

    def place(self, path: str) -> str:
        """Give how a finding names a file."""
        return _printable(self.folder / path)

    @contextmanager
    def open(self, described: Described) -> Iterator[BinaryIO]:
        """Open a file of the package, never through a link.

        Raises
        ------
        FileRefusedError : it cannot be opened.
        """
        with opened(self.folder / described.path) as stream:
            yield stream


def open_package(folder: Path) -> PackageFolder:
    """Look at a package: datapackage.json, and whether its files are there and no others.

    Raises
    ------
    FileRefusedError : there is no such folder, or it holds no package.
    BookVersionError : the package is of another schema, or of a newer format.
    FindingsError : what does not agree, by file and place.
    """
    if not folder.is_dir():
        raise FileRefusedError(f"there is no folder {folder}", "name the folder that `vinebook export` wrote")
    if not os.path.lexists(folder / DESCRIPTOR):
        raise FileRefusedError(f"{folder} is no data package: it has no {DESCRIPTOR}", HINT)
    wrong = Disagreements()
    place = _printable(folder / DESCRIPTOR)
    data, told = _read_descriptor(folder / DESCRIPTOR, wrong)
    wrong.refuse()
    own = told.get("vinebook")
    if not isinstance(own, dict):
        raise FileRefusedError(f"{place} tells of no package of vinebook's", HINT)
    _require_version(place, own)
    said = own.get("sha256")
    if not isinstance(said, str) or own_hash(data, said) != said:
        wrong.add(place, 0, "", "was changed: it is not what its own SHA-256 says")
    seal = own.get("seal")
    if not isinstance(seal, str):
        wrong.add(place, 0, "vinebook.seal", f"is {_shown(seal)}", "the newest hash of the journal")
    package = PackageFolder(folder, str(seal), {}, {}, Disagreements())
    _describe(package, told.get("resources"), wrong)
    _compare_listing(package, wrong)
    wrong.refuse()
    return package


def _require_version(place: str, own: Mapping[str, Any]) -> None:
    form, schema = own.get("format"), own.get("schema")
    if type(form) is not int or form < 1 or not isinstance(schema, str) or not re.fullmatch(r"[0-9]{4}", schema):
        raise FileRefusedError(
            f"{place}: vinebook.format is {_shown(form)} and vinebook.schema is {_shown(schema)}; "
            f"expected numbers such as {FORMAT} and '{HEAD}'",
            HINT,
        )
    if form > FORMAT or schema > HEAD:
        raise BookVersionError(
            f"{place}: the package is of format {form} and schema {schema}, newer than this program knows "
            f"({FORMAT} and {HEAD})",
            "install a newer vinebook",
        )
    if schema == HEAD:
        return
    if schema not in EARLIER:
        raise FileRefusedError(f"{place}: vinebook.schema is {schema!r}, which no book ever had", HINT)
    raise BookVersionError(
        f"{place}: the package was made from a book of schema {schema}, this program works with {HEAD}",
        "run `vinebook upgrade` on the book and export it again; where the book is gone, import the package with the "
        "vinebook that exported it, and upgrade the book that it makes",
    )


def _without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for name, value in pairs:
        if name in made:
            msg = f"the name {_shown(name)} stands twice in one object"
            raise ValueError(msg)
        made[name] = value
    return made


def _no_number(words: str) -> float:
    msg = f"{words} is no number of JSON"
    raise ValueError(msg)


def _read_descriptor(path: Path, wrong: Disagreements) -> tuple[bytes, dict[str, Any]]:
    place = _printable(path)
    with opened(path) as stream:
        data = stream.read(MOST_DESCRIPTOR_BYTES + 1)
    if len(data) > MOST_DESCRIPTOR_BYTES:
        wrong.add(place, 0, "", "is too large", f"at most {MOST_DESCRIPTOR_BYTES:,} bytes")
        return data, {}
    try:
        told = json.loads(data.decode(), object_pairs_hook=_without_twins, parse_constant=_no_number)
    except UnicodeDecodeError as trouble:
        wrong.add(place, data.count(b"\n", 0, trouble.start) + 1, "", f"byte {data[trouble.start]:#04x} is not UTF-8")
    except json.JSONDecodeError as trouble:
        wrong.add(place, trouble.lineno, "", f"is no JSON: {trouble.msg} (column {trouble.colno})")
    except (ValueError, RecursionError) as trouble:
        deep = isinstance(trouble, RecursionError)
        wrong.add(place, 0, "", "is no JSON that can be read: " + ("it is nested too deep" if deep else str(trouble)))
    else:
        if isinstance(told, dict):
            return data, told
        wrong.add(place, 0, "", "is no object of JSON", "an object with resources")
    return data, {}


def _describe(package: PackageFolder, resources: object, wrong: Disagreements) -> None:
    """Take in what is said of each file; what differs from what `export` writes is told by its place."""
    place = package.place(DESCRIPTOR)
    if not isinstance(resources, list):
        wrong.add(place, 0, "resources", f"is {_shown(resources)}", "a list of files")
        return
    known = {table.name: table for table in package_tables()}
    seen: set[str] = set()
    for at, resource in enumerate(resources):
        where = f"resources[{at}]"
        if not isinstance(resource, dict) or not isinstance(resource.get("name"), str):
            wrong.add(place, 0, where, f"is {_shown(resource)}", "an object with a name")
            continue
        name = resource["name"]
        if name in seen:
            wrong.add(place, 0, f"{where}.name", f"{_shown(name)} stands twice")
            continue
        seen.add(name)
        described = _described(resource, where, place, wrong)
        of_tally = _OF_A_TALLY.fullmatch(name)
        if name in known:
            size, sha256 = (described.size, described.sha256) if described else (0, "")
            _compare_essentials(where, resource, table_resource(known[name], size, sha256), place, wrong)
            if described is not None and described.path == table_path(name):
                package.tables[name] = described
        elif of_tally is not None:
            table, number = next(table for table in FILES if FILES[table] == of_tally[1]), int(of_tally[2])
            if described is not None and _may_lie_at(described.path, table, number, f"{where}.path", place, wrong):
                package.files[table, number] = described
        else:
            wrong.add(place, 0, f"{where}.name", f"{_shown(name)} is no table and no file of a book")
    for name in sorted(known.keys() - seen):
        wrong.add(place, 0, "resources", f"the table {name!r} is missing")


def _described(resource: Mapping[str, Any], where: str, place: str, wrong: Disagreements) -> Described | None:
    path, size, said = resource.get("path"), resource.get("bytes"), resource.get("hash")
    found = _HASH.fullmatch(said) if isinstance(said, str) else None
    if not isinstance(path, str):
        wrong.add(place, 0, f"{where}.path", f"is {_shown(path)}", "where the file lies")
    if type(size) is not int or size < 0:
        wrong.add(place, 0, f"{where}.bytes", f"is {_shown(size)}", "the size of the file")
    if found is None:
        wrong.add(place, 0, f"{where}.hash", f"is {_shown(said)}", "sha256: and 64 hexadecimal digits")
    if isinstance(path, str) and type(size) is int and size >= 0 and found is not None:
        return Described(path, size, found[1])
    return None


def _may_lie_at(path: str, table: str, number: int, where: str, place: str, wrong: Disagreements) -> bool:
    if path == file_path(table, number, f"x.{path.rpartition('.')[2]}" if "." in path else ""):
        return True
    wrong.add(place, 0, where, f"is {_shown(path)}", f"{file_path(table, number)!r} within the package")
    return False


def _compare_essentials(
    where: str, found: Mapping[str, Any], wanted: Mapping[str, Any], place: str, wrong: Disagreements
) -> None:
    for key in _ESSENTIAL:
        if found.get(key) != wanted[key]:
            wrong.add(place, 0, f"{where}.{key}", f"is {_shown(found.get(key))}", _shown(wanted[key]))
    schema = found.get("schema")
    fields = schema.get("fields") if isinstance(schema, dict) else None
    if not isinstance(schema, dict) or not isinstance(fields, list):
        wrong.add(place, 0, f"{where}.schema", f"is {_shown(schema)}", "an object with fields")
        return
    expected = wanted["schema"]
    if schema.get("missingValues") != expected["missingValues"]:
        wrong.add(place, 0, f"{where}.schema.missingValues", f"is {_shown(schema.get('missingValues'))}", '[""]')
    if len(fields) != len(expected["fields"]):
        wrong.add(place, 0, f"{where}.schema.fields", f"has {len(fields)} fields", str(len(expected["fields"])))
    for at, (one, other) in enumerate(zip(fields, expected["fields"], strict=False)):
        for key in ("name", "type"):
            value = one.get(key) if isinstance(one, dict) else None
            if value != other[key]:
                wrong.add(place, 0, f"{where}.schema.fields[{at}].{key}", f"is {_shown(value)}", _shown(other[key]))


def _compare_listing(package: PackageFolder, wrong: Disagreements) -> None:
    """Compare the files that are there with those that are told of: no others, no links, of their sizes."""
    wanted = {described.path: described for described in (*package.tables.values(), *package.files.values())}
    folders = {table_path("x").partition("/")[0], *FILES.values()}
    for path, entry in _listed(package.folder, folders, wrong):
        described = wanted.pop(path, None)
        if described is None:
            if path != DESCRIPTOR:
                wrong.add(package.place(path), 0, "", f"is not named in {DESCRIPTOR}", "no other files in the folder")
            continue
        size = entry.stat(follow_symlinks=False).st_size
        if size != described.size:
            words = f"holds {size:,} bytes", f"{described.size:,} bytes, as {DESCRIPTOR} says"
            far = size > 2 * described.size + MOST_GROWN_BYTES
            (wrong if far else package.unfit).add(package.place(path), 0, "", *words)
    for path in wanted:
        wrong.add(package.place(path), 0, "", "is missing", f"the file that {DESCRIPTOR} names")


def _listed(folder: Path, folders: Iterable[str], wrong: Disagreements) -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Give the plain files of a package; what else lies there is told."""
    for name in ("", *sorted(folders)):
        inner = folder / name
        if inner.is_symlink() and name:
            # The listing of the folder above tells of it.
            continue
        try:
            with os.scandir(inner) as entries:
                found = sorted(entries, key=lambda entry: entry.name)
        except OSError as trouble:
            wrong.add(_printable(inner), 0, "", f"cannot be looked into: {trouble.strerror}", "a folder")
            continue
        for entry in found:
            path = f"{name}/{entry.name}" if name else entry.name
            if entry.is_symlink():
                wrong.add(_printable(folder / path), 0, "", "is a link", "a plain file; links are never followed")
            elif entry.is_file(follow_symlinks=False):
                yield path, entry
            elif name or entry.name not in folders or not entry.is_dir(follow_symlinks=False):
                wrong.add(_printable(folder / path), 0, "", "does not belong here", "plain files alone")


@contextmanager
def opened(path: Path) -> Iterator[BinaryIO]:
    """Open a plain file, never through a link.

    Raises
    ------
    FileRefusedError : it is no plain file, or cannot be opened.
    """
    try:
        # A pipe would have one wait for its writer.
        number = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError as trouble:
        link = " (it is a link, and links are never followed)" if path.is_symlink() else ""
        raise FileRefusedError(f"{path} cannot be opened: {trouble.strerror}{link}", HINT) from trouble
    if not stat.S_ISREG(os.fstat(number).st_mode):
        os.close(number)
        raise FileRefusedError(f"{path} is no plain file", HINT)
    with os.fdopen(number, "rb") as stream:
        yield stream


def _printable(path: Path) -> str:
    words = str(path)
    return words if words.isprintable() else ascii(words)


def _shown(value: object) -> str:
    """Give a value of JSON as a message shows it."""
    if value is None:
        return "missing"
    if isinstance(value, (dict, list)) and value:
        return "an object" if isinstance(value, dict) else "a list"
    words = repr(value) if isinstance(value, str) else json.dumps(value)
    return words if len(words) <= SHOWN else f"{words[:SHOWN]}…"
