"""A package that was changed is refused by what does not agree, and nothing of it is stored."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import random
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.exchange.damaging import Damager
from vinebook.api import import_package, open_book
from vinebook.errors import BookVersionError, FileRefusedError, FindingsError, VinebookError
from vinebook.exchange import package_folder, package_reading
from vinebook.exchange.package import DESCRIPTOR, NO_HASH, own_hash

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.postgresql import Server


def refusal(package: Path) -> list[str]:
    """Import a package that is refused, and give what was said, without the folder."""
    before = sorted(package.parent.iterdir())
    with pytest.raises(FindingsError) as caught:
        import_package(package, str(package.parent / "made.db"))
    assert sorted(package.parent.iterdir()) == before
    assert "vinebook export" in caught.value.hint
    return [
        str(finding).replace(f"{package}/", "").replace(str(package), "package") for finding in caught.value.findings
    ]


def told_of(package: Path) -> dict[str, Any]:
    read: dict[str, Any] = json.loads((package / DESCRIPTOR).read_bytes())
    return read


def mend(package: Path, change: Callable[[dict[str, Any]], object] | None = None) -> None:
    """Write datapackage.json anew as somebody does it who knows how: sizes and hashes as the files are."""
    told = told_of(package)
    for resource in told["resources"]:
        place = package / resource["path"]
        if place.is_file():
            data = place.read_bytes()
            resource |= {"bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}"}
    if change is not None:
        change(told)
    told["vinebook"]["sha256"] = NO_HASH
    words = f"{json.dumps(told, ensure_ascii=False, indent=1)}\n".encode()
    (package / DESCRIPTOR).write_bytes(words.replace(NO_HASH.encode(), own_hash(words, NO_HASH).encode(), 1))


def edit(package: Path, table: str, old: str, new: str) -> None:
    place = package / "data" / f"{table}.csv"
    text = place.read_bytes().decode()
    assert old in text
    place.write_bytes(text.replace(old, new, 1).encode())


def resource(told: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in told["resources"] if one["name"] == name)
    return found


def test_a_changed_cell_is_named_with_its_file_and_its_row(package: Path) -> None:
    edit(package, "block", "A1", "A9")
    assert refusal(package) == [
        "package: block #2 (line 2 of tally 2 (block.csv)): code is A9 in the table, A1 in the journal",
        f"data/block.csv: was changed: its SHA-256 is not what {DESCRIPTOR} says",
    ]


def test_a_changed_cell_is_named_though_the_hashes_were_mended(package: Path) -> None:
    edit(package, "planting", "Grey Hen", "Grey Cock")
    mend(package)
    (said,) = refusal(package)
    place, _, words = said.rpartition(": ")
    assert place == "package: planting #4 (line 2 of tally 3 (planting.csv))"
    assert words == "cultivar is Grey Cock in the table, Grey Hen in the journal"


def test_a_cell_that_is_no_value_is_named_by_line_and_column(package: Path) -> None:
    edit(package, "block", "2,1,A1", "2,one,A1")
    mend(package)
    assert refusal(package) == [
        "data/block.csv:2:vineyard: 'one' cannot stand here; expected a whole number, its digits alone"
    ]


def test_a_row_that_the_database_refuses_is_named_by_line(package: Path) -> None:
    place = package / "data" / "cluster_tally.csv"
    with place.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    row = rows[3]
    place.write_bytes(
        place.read_bytes().replace(
            f"{row['record']},{row['sample']},".encode(), f"{rows[2]['record']},{row['sample']},".encode(), 1
        )
    )
    mend(package)
    (said,) = refusal(package)
    assert said.startswith("data/cluster_tally.csv:5: the database refuses this row: UNIQUE constraint failed")


def test_a_row_that_names_none_is_told(package: Path) -> None:
    edit(package, "block", "2,1,A1", "2,777,A1")
    mend(package)
    assert refusal(package) == ["data/block.csv: #2 names a row of vineyard that is not there"]


@pytest.mark.postgresql
def test_a_server_names_the_row_that_it_refuses(package: Path, postgresql_server: Server) -> None:
    edit(package, "block", "2,1,A1", "2,777,A1")
    mend(package)
    server = postgresql_server.create("refusing")
    try:
        with pytest.raises(FindingsError) as caught:
            import_package(package, server)
        assert [finding.line for finding in caught.value.findings][:1] == [2]
        assert "violates foreign key constraint" in str(caught.value.findings[0])
        with pytest.raises(VinebookError, match="holds no vinebook book"):
            open_book(server)
    finally:
        postgresql_server.drop("refusing")


def test_an_entry_that_was_changed_breaks_the_chain(package: Path) -> None:
    edit(package, "entry", ",RM,", ",XX,")
    mend(package)
    assert any("was rewritten: its hash does not fit its words" in words for words in refusal(package))


def test_what_does_not_print_reaches_no_terminal(package: Path) -> None:
    edit(package, "event", "hail,,NULL", "hail,,\u001b[2Jhollow")
    mend(package)
    said = refusal(package)
    assert any("\\x1b[2Jhollow" in words for words in said)
    assert all(words.isprintable() for words in said)


def test_a_journal_that_was_cut_does_not_have_the_seal(package: Path) -> None:
    place = package / "data" / "entry.csv"
    lines = place.read_bytes().splitlines(keepends=True)
    place.write_bytes(b"".join(lines[:-1]))
    mend(package)
    assert any(f"{DESCRIPTOR}:vinebook.seal: is" in words for words in refusal(package))


def test_an_entry_that_is_left_out_is_refused_by_its_line(package: Path) -> None:
    place = package / "data" / "entry.csv"
    lines = place.read_bytes().splitlines(keepends=True)
    place.write_bytes(b"".join(lines[:3] + lines[4:]))
    mend(package)
    assert refusal(package)[0] == (
        "data/entry.csv:4: the database refuses this row: an entry follows the newest one and holds its hash"
    )


@pytest.mark.parametrize("folder", ["kept/2.csv", "readings/2.txt"])
@pytest.mark.parametrize("mended", [False, True])
def test_changed_bytes_are_named(package: Path, folder: str, mended: bool) -> None:
    place = package / folder
    data = bytearray(place.read_bytes())
    data[-2] ^= 1
    place.write_bytes(bytes(data))
    if mended:
        mend(package)
    said = refusal(package)
    what = "kept file" if folder.startswith("kept") else "reading"
    assert any(f"the bytes of the {what} changed" in words for words in said)
    assert mended or any(words.startswith(f"{folder}: was changed") for words in said)


@pytest.mark.parametrize("name", ["data/event.csv", "kept/1.csv", "readings/1.txt"])
def test_a_file_that_is_missing_is_named(package: Path, name: str) -> None:
    (package / name).unlink()
    assert refusal(package) == [f"{name}: is missing; expected the file that {DESCRIPTOR} names"]


@pytest.mark.parametrize("name", ["data/event.csv", "kept/1.csv"])
def test_a_file_that_is_missing_is_named_though_it_was_taken_out_of_the_list(package: Path, name: str) -> None:
    (package / name).unlink()
    mend(package, lambda told: told.update(resources=[one for one in told["resources"] if one["path"] != name]))
    (said,) = refusal(package)
    assert said.startswith(f"{DESCRIPTOR}:resources: ")
    assert "is missing" in said


@pytest.mark.parametrize("name", ["x.txt", "data/x.csv", "kept/x.csv", ".DS_Store", "readings/Thumbs.db"])
def test_a_file_too_many_is_named(package: Path, name: str) -> None:
    (package / name).write_text("x")
    assert refusal(package) == [f"{name}: is not named in {DESCRIPTOR}; expected no other files in the folder"]


def test_a_folder_too_many_is_named(package: Path) -> None:
    (package / "data" / "more").mkdir()
    assert refusal(package) == ["data/more: does not belong here; expected plain files alone"]


@pytest.mark.parametrize("name", ["data/event.csv", "kept/1.csv", "data", "kept"])
def test_a_link_is_never_followed(package: Path, name: str) -> None:
    (package / name).rename(package / "away")
    (package / name).symlink_to(package / "away")
    said = refusal(package)
    assert f"{name}: is a link; expected a plain file; links are never followed" in said


def test_a_descriptor_that_is_a_link_or_a_pipe_is_not_opened(package: Path) -> None:
    (package / DESCRIPTOR).rename(package / "x")
    (package / DESCRIPTOR).symlink_to(package / "x")
    with pytest.raises(FileRefusedError, match="is a link"):
        import_package(package, str(package.parent / "made.db"))
    (package / DESCRIPTOR).unlink()
    os.mkfifo(package / DESCRIPTOR)
    with pytest.raises(FileRefusedError, match="is no plain file"):
        import_package(package, str(package.parent / "made.db"))
    (package / DESCRIPTOR).unlink()
    (package / DESCRIPTOR).mkdir()
    with pytest.raises(FileRefusedError, match="is no plain file"):
        import_package(package, str(package.parent / "made.db"))


@pytest.mark.parametrize(
    "path",
    [
        "../../etc/passwd",
        "/etc/passwd",
        "data/../data/block.csv",
        "https://example.org/block.csv",
        "data\\block.csv",
        "",
        "DATA/block.csv",
    ],
)
@pytest.mark.parametrize("name", ["block", "kept-1"])
def test_a_path_that_leads_elsewhere_is_refused_by_its_place(package: Path, path: str, name: str) -> None:
    at = next(at for at, one in enumerate(told_of(package)["resources"]) if one["name"] == name)
    mend(package, lambda told: resource(told, name).update(path=path))
    assert any(
        words.startswith(f"{DESCRIPTOR}:resources[{at}].path: is {path!r}; expected") for words in refusal(package)
    )


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda told: told.update(resources={}), "resources"),
        (lambda told: told["resources"].append(3), "resources[*]"),
        (lambda told: told["resources"].append(told["resources"][0]), "resources[*].name"),
        (lambda told: told["resources"].append({**told["resources"][-1], "name": "wines"}), "resources[*].name"),
        (lambda told: resource(told, "block").update(hash="md5:x"), "resources[*].hash"),
        (lambda told: resource(told, "block").update(bytes=True), "resources[*].bytes"),
        (lambda told: resource(told, "block").update(bytes=-1), "resources[*].bytes"),
        (lambda told: resource(told, "block").update(encoding="latin-1"), "resources[*].encoding"),
        (lambda told: resource(told, "block").update(format="xlsx"), "resources[*].format"),
        (lambda told: resource(told, "block")["dialect"].update(delimiter=";"), "resources[*].dialect"),
        (lambda told: resource(told, "block").pop("dialect"), "resources[*].dialect"),
        (lambda told: resource(told, "block").pop("schema"), "resources[*].schema"),
        (
            lambda told: resource(told, "block")["schema"].update(missingValues=["-"]),
            "resources[*].schema.missingValues",
        ),
        (lambda told: resource(told, "block")["schema"]["fields"].pop(), "resources[*].schema.fields"),
        (
            lambda told: resource(told, "block")["schema"]["fields"][0].update(type="string"),
            "resources[*].schema.fields[0].type",
        ),
        (
            lambda told: resource(told, "block")["schema"]["fields"][0].update(name="x"),
            "resources[*].schema.fields[0].name",
        ),
        (lambda told: resource(told, "block")["schema"]["fields"].insert(0, 1), "resources[*].schema.fields[0].name"),
        (lambda told: told["vinebook"].pop("seal"), "vinebook.seal"),
    ],
)
def test_a_descriptor_that_says_otherwise_is_refused_by_its_place(
    package: Path, change: Callable[[dict[str, Any]], object], place: str
) -> None:
    mend(package, change)
    found = [words.split(": ")[0].removeprefix(f"{DESCRIPTOR}:") for words in refusal(package)]
    assert place in ["resources[*]" + one.partition("]")[2] if one.startswith("resources[") else one for one in found]


def test_a_descriptor_that_was_touched_is_refused_though_nothing_else_says_so(package: Path) -> None:
    place = package / DESCRIPTOR
    place.write_bytes(place.read_bytes().replace(b"spur or cane", b"spur or Cane", 1))
    assert refusal(package) == [f"{DESCRIPTOR}: was changed: it is not what its own SHA-256 says"]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is no JSON: Expecting value"),
        (b"{", "is no JSON"),
        (b"[]", "is no object of JSON"),
        (b"[" * 200_000, "it is nested too deep"),
        (b'{"a":' * 100_000, "it is nested too deep"),
        (b"\n\n\xff", "byte 0xff is not UTF-8"),
        (b"\xef\xbb\xbf{}", "is no JSON"),
        (b'{"a":1,"a":2}', "stands twice in one object"),
        (b'{"a":NaN}', "NaN is no number of JSON"),
        (b'{"a":' + b"1" * 10_000 + b"}", "is no JSON that can be read"),
    ],
)
def test_what_is_no_descriptor_is_refused(package: Path, data: bytes, words: str) -> None:
    (package / DESCRIPTOR).write_bytes(data)
    (said,) = refusal(package)
    assert said.startswith(DESCRIPTOR)
    assert words in said


def test_a_descriptor_that_is_too_large_is_not_read(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(package_folder, "MOST_DESCRIPTOR_BYTES", 1000)
    assert refusal(package) == [f"{DESCRIPTOR}: is too large; expected at most 1,000 bytes"]


def test_a_huge_file_is_not_looked_into(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(package_reading, "engine_for", None)
    with (package / "data" / "event.csv").open("r+b") as stream:
        stream.truncate(1 << 40)
    (said,) = refusal(package)
    assert said.startswith("data/event.csv: holds 1,099,511,627,776 bytes; expected")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda data: data.replace(b",", b";"), ":1: the headings are"),
        (lambda data: data.replace(b"\r\n", b"\n"), ": was changed"),
        (lambda data: b"\xef\xbb\xbf" + data, ":1: the headings are"),
        (lambda data: data.decode().encode("utf-16"), ":1: byte 0xff is not UTF-8"),
        (lambda data: data[:-1] + b"\xff", " is not UTF-8"),
        (lambda data: data + b"\r\n", "has 0 cells"),
        (lambda data: data + b'"', "cannot be read as CSV"),
        (lambda data: data + b'"a"b', "cannot be read as CSV"),
        (lambda data: data + b"1,2\r\n", "has 2 cells"),
        (lambda data: data.replace(b"A1", b"A\0", 1), "2:code: holds a NUL"),
        (lambda data: data.replace(b"\r\n", b"\rx", 1), ":2:record: 'x"),
        (lambda data: data[:0], ":1: the file is empty"),
    ],
)
@pytest.mark.parametrize("mended", [False, True])
def test_a_table_that_cannot_be_read_is_refused_by_its_line(
    package: Path, change: Callable[[bytes], bytes], words: str, mended: bool
) -> None:
    place = package / "data" / "block.csv"
    place.write_bytes(change(place.read_bytes()))
    if mended:
        mend(package)
        if words == ": was changed":
            # Other line ends alone change no row.
            import_package(package, str(package.parent / "made.db"))
            return
    said = refusal(package)
    assert any(one.startswith("data/block.csv") and words in one for one in said), said


def test_a_package_of_a_newer_program_is_refused_in_words(package: Path) -> None:
    for change in ({"schema": "0999"}, {"format": 2}):
        mend(package, lambda told, change=change: told["vinebook"].update(change))  # type: ignore[misc]
        with pytest.raises(BookVersionError, match="newer than this program knows") as caught:
            import_package(package, str(package.parent / "made.db"))
        assert caught.value.hint == "install a newer vinebook"
        mend(package, lambda told: told["vinebook"].update(schema="0001", format=1))


def test_a_package_of_a_schema_that_never_was_is_refused(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(package_folder, "HEAD", "0990")
    monkeypatch.setattr(package_folder, "EARLIER", ())
    with pytest.raises(FileRefusedError, match="which no book ever had"):
        import_package(package, str(package.parent / "made.db"))


@pytest.mark.parametrize(
    "own", [None, [], {"format": "1"}, {"format": True, "schema": "0001"}, {"format": 1, "schema": 1}]
)
def test_a_package_of_somebody_else_is_refused(package: Path, own: object) -> None:
    told = told_of(package)
    told["vinebook"] = own
    (package / DESCRIPTOR).write_text(json.dumps(told))
    with pytest.raises(FileRefusedError, match=DESCRIPTOR):
        import_package(package, str(package.parent / "made.db"))


def test_what_is_no_package_is_told(package: Path, tmp_path: Path) -> None:
    (package / DESCRIPTOR).unlink()
    for place in (package, package / "data" / "block.csv", tmp_path / "nowhere"):
        with pytest.raises(FileRefusedError):
            import_package(place, str(tmp_path / "made.db"))
    assert not (tmp_path / "made.db").exists()


def test_many_faults_are_counted_and_not_all_told(package: Path) -> None:
    place = package / "data" / "event.csv"
    place.write_bytes(place.read_bytes() + b"x\r\n" * 5000)
    mend(package)
    with pytest.raises(FindingsError) as caught:
        import_package(package, str(package.parent / "made.db"))
    assert len(caught.value.findings) == package_folder.FOUND_PER_FILE
    assert caught.value.beyond == 5000 - package_folder.FOUND_PER_FILE


@pytest.fixture(scope="module")
def damager(packed_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Damager:
    return Damager(packed_once / "out", tmp_path_factory.mktemp("damaged"), random.Random(0))  # noqa: S311 - seeded


@settings(max_examples=25)
@given(data=st.data())
def test_damage_at_random_is_refused_by_place_or_changes_nothing(damager: Damager, data: st.DataObject) -> None:
    damager._chance = data.draw(st.randoms(use_true_random=False))
    assert damager.once(data.draw(st.sampled_from(sorted(damager.ways)))) in ("refused", "equal", "same")
