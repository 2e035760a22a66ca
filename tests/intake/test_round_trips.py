"""Whatever goes in comes out the same, and no bytes at all bring a traceback."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
import itertools
import shutil
import sqlite3
import unicodedata
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from tests.desk import CLUSTERS, SAMPLE, Desk, cluster_rows, places
from vinebook.errors import Finding, FindingsError
from vinebook.exchange.forms import form_csv
from vinebook.intake.cells import CellReader, DecimalSigns, Fault
from vinebook.kinds import LOADED_KINDS
from vinebook.kinds.field import Bars, Field, Kind, Needs, code, count, date, length, sample_mass, season, text, ticket
from vinebook.kinds.form import tally_fields
from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records.keys import join_key

if TYPE_CHECKING:
    from collections.abc import Callable

_numbers = itertools.count()
WORDS = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)
CODES = (
    st.text("abcXYZ0189é/'\" ;,%", min_size=1, max_size=12)
    .map(str.strip)
    .filter(lambda words: words and words[0] != "/" and words[-1] != "/")
)


@pytest.fixture(scope="module")
def filled(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a book with everything that a row may name."""
    folder = tmp_path_factory.mktemp("filled")
    path = Path(shutil.copyfile(sqlite_template, folder / "book.db"))
    desk = Desk(str(path), folder)
    places(desk)
    desk.load_texts(
        consignee="name,address\nThe Cellar,1 Long Road\n",
        load="date,season,issuer,number,basis,net\n2023-03-01,2023,Scale,7,net_as_given,800000000\n",
        draw="block,season,name,figure,chosen,seed,vines,positions,drawn_on,drawn_by\n"
        "A1,2023,1,clusters_per_vine,random,7,5,900,2022-12-01,KL\n",
    )
    raw = sqlite3.connect(path)
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    return path


def fresh(filled: Path) -> Desk:
    """Give a copy of that book in a folder of its own."""
    folder = filled.parent / f"copy{next(_numbers)}"
    folder.mkdir()
    return Desk(str(shutil.copyfile(filled, folder / "book.db")), folder)


def decimals(low: float, high: float, places_: int) -> st.SearchStrategy[str]:
    scale = 10**places_
    whole = st.integers(int(low * scale) + 1, max(int(high * scale) - 1, int(low * scale) + 1))
    return whole.map(lambda number: str(Decimal(number).scaleb(-places_)))


NAMED = {"vineyard": "Low Terrace", "block": "A1", "consignee": "The Cellar"}
PLAIN = {
    "code": CODES,
    "text": WORDS,
    "ticket": decimals(0, 5000, 3),
    "date": st.dates(min_value=dt.date(2022, 12, 1), max_value=dt.date(2023, 4, 30)).map(str),
    "season": st.just("2023"),
    "contacts": st.sampled_from(["LLC", "G", "", "C", "LSL"]),
    "position": st.sampled_from(["0", "1", "7", "old wood", "basal"]),
    "counts": st.lists(st.integers(0, 4), min_size=1, max_size=3).map(lambda found: "+".join(map(str, found))),
}


def cell(field: Field) -> st.SearchStrategy[str]:
    """Give texts that a field takes."""
    if field.type in PLAIN:
        return PLAIN[field.type]
    if field.type == "ref":
        return st.just(NAMED.get(field.refers, ""))
    if field.type == "choice":
        return st.sampled_from(field.choices)
    low, high = field.low or 0, field.high
    if field.stored == "mg":
        return decimals(0, 5, 6)
    if field.type == "count":
        return st.integers(int(low), int(min(high or 900, 900))).map(str)
    return decimals(low, min(high or 50, 50), 3 if field.type == "measure" else 2)


@st.composite
def rows_of(draw: st.DrawFn, kind: Kind) -> list[dict[str, str]]:
    """Draw rows of a kind that keep its rules."""
    rows = []
    for number in range(draw(st.integers(1, 5))):
        row = {
            field.name: draw(cell(field)) if field.required or draw(st.booleans()) else ""
            for field in tally_fields(kind)
        }
        rows.append(mended(kind, row, number))
    return rows


SAMPLED = {
    "block": "A1",
    "date": "2023-02-01",
    "season": "2023",
    "part": "",
    "thinning": "before",
    "chosen": "random",
    "panel_size": "",
    "draw": "",
    "seed": "",
    "counted_by": "KL",
}
BUDS = {"first_position": "", "last_position": "", "buds": "900", "primaries_dead": "3", "secondaries_alive": ""}
SPUR = {"bearer": "spur", "nodes": "", "count_shoots": ""}
ESTIMATE = {"estimate": "5", "low": "", "high": "", "level": ""}
EXPECTED = {"expected_low": "", "expected_high": "", "review_on": ""}
BAND = {"vineyard": "", "block": "A1", "low": "1", "high": "2"}
PART = {"issuer": "Scale", "season": "2023", "number": "7"}
TICKET = {"basis": "net_as_given", "gross": "", "tare": "", "deductions": "", "refused": ""}


FIXED: dict[str, Callable[[Kind, dict[str, str], int], dict[str, str]]] = {
    "vineyard": lambda _, row, number: {"name": f"{row['name']} {number}"},
    "consignee": lambda _, row, number: {"name": f"{row['name']} {number}"},
    "block": lambda _kind, _row, number: {"code": str(number + 1), "to_season": ""},
    "planting": lambda _kind, _row, _number: {"to_season": ""},
    "row": lambda _kind, _row, number: {"first_row": str(number + 1), "last_row": ""},
    "predecessor": lambda _kind, _row, _number: {"predecessor": "A2"},
    "vine_census": lambda _kind, _row, number: {"row": str(number), "positions": ""},
    "target_band": lambda kind, _, number: {**BAND, "figure": kind.field("figure").choices[number]},
    "pruning_visit": lambda _kind, _row, _number: {"finished_on": ""},
    "load": lambda _kind, _row, number: {**TICKET, "number": str(number + 1)},
    "load_part": lambda _kind, _row, number: {**PART, "pick": str(number + 1)},
    "event": lambda kind, _, number: {"what": kind.field("what").choices[number]},
    "node_tally": lambda _, row, _number: {"shoots": str(len([one for one in row["clusters"].split("+") if one]))},
    "certification": lambda _kind, _row, number: {"scheme": f"Scheme {number}", "valid_to": ""},
    "silence": lambda _kind, _row, number: {"rule": f"rule {number}"},
    "draw": lambda _kind, _row, number: {"name": f"D{number}", "start": "1"},
    "drawn_vine": lambda _kind, _row, _number: {"season": "2023", "name": "1"},
    "bud_sample": lambda _kind, _row, number: {**BUDS, "cane": str(number + 1)},
    "decision": lambda _kind, _row, number: {**EXPECTED, "number": str(number + 1)},
    "bearer": lambda _kind, _row, number: {**SPUR, "bearer_number": str(number + 1)},
    "growth_stage": lambda _kind, _row, number: {"scale": "Another", "code": f"0{number}"},
    "canopy_work": lambda kind, _, number: {"work": kind.field("work").choices[number], "finished_on": ""},
    "canopy_probe": lambda _kind, _row, number: {"probe": str(number + 1)},
    "maturity_sample": lambda _kind, _row, number: {"number": str(number + 1), "berry_mass": ""},
    "crop_estimate": lambda _kind, _row, number: {**ESTIMATE, "given_to": f"Cellar {number}"},
    "cluster_lot": lambda _kind, _row, number: {"lot": str(number + 1), "berry_mass": ""},
}
"""By kind, the cells that keep a drawn row within the rules between its cells, and its key its own."""


def mended(kind: Kind, row: dict[str, str], number: int) -> dict[str, str]:
    """Make a drawn row keep the rules of its kind."""
    whole = {**row, **(FIXED[kind.name](kind, row, number) if kind.name in FIXED else {})}
    if kind.sampled:
        whole |= {name: text for name, text in SAMPLED.items() if name in row}
    if "vine" in row:
        whole["vine"] = str(number + 1)
    for rule in kind.rules:
        if isinstance(rule, Bars) and whole[rule.when] in rule.values:
            whole[rule.field] = ""
    for rule in kind.rules:
        if isinstance(rule, Needs) and (whole[rule.when] or kind.field(rule.when).default) in rule.values:
            whole[rule.field] = whole[rule.field] or "1"
    return whole


ONE_ROW = {"predecessor", "pruning_visit", "planting", "training", "harvest_close"}


def as_listed(field: Field, words: str) -> object:
    """Give what `list` and `show` must say of a text."""
    if not words:
        words = field.default or ""
        if not words:
            return None
    if field.type in ("count", "season"):
        return int(words)
    if field.type in ("number", "measure", "ticket"):
        return float(words)
    if field.type == "position":
        return words if words == "old wood" else 0 if words == "basal" else int(words)
    return dt.date.fromisoformat(words) if field.type == "date" else unicodedata.normalize("NFC", words)


@pytest.mark.parametrize("name", LOADED_KINDS)
@settings(max_examples=max(settings().max_examples // 6, 1))
@given(data=st.data())
def test_what_is_loaded_is_what_is_listed(filled: Path, name: str, data: st.DataObject) -> None:
    kind = LOADED_KINDS[name]
    rows = data.draw(rows_of(kind))[: 1 if name in ONE_ROW else None]
    desk = fresh(filled)
    before = len(desk.listed(name))
    page = io.StringIO(form_csv(kind))
    headings = next(csv.reader(page))
    page.seek(0, io.SEEK_END)
    csv.writer(page, lineterminator="\n").writerows([[row[field.name] for field in tally_fields(kind)] for row in rows])
    assert len(headings) == len(tally_fields(kind))
    report = desk.load(desk.write(f"{name}.csv", page.getvalue()), kind=name)
    assert report.tallies[0].rows == len(rows)
    listed = desk.listed(name)[before:]
    assert len(listed) == len(rows)
    for row, told in zip(rows, listed, strict=True):
        names = {heading.split(" [")[0]: heading for heading in told}
        for field in kind.fields:
            if field.name in names and field.type != "ref" and not (field.type == "season" and not row[field.name]):
                said = as_listed(field, row[field.name])
                wanted = join_key([said]) if kind.key == (field.name,) else said
                assert told[names[field.name]] == wanted, (field.name, row)
    assert desk.verify().differences == []
    again = desk.load(desk.write("again.csv", page.getvalue()), kind=name)
    assert again.tallies[0].already
    shutil.rmtree(desk.folder)


@pytest.mark.parametrize("unit", UNITS_OF_DIMENSION["mass"])
@given(number=st.decimals(0, 10, places=6))
def test_a_mass_is_kept_to_the_nearest_milligram(unit: str, number: Decimal) -> None:
    reader = CellReader(sample_mass("mass", ""), DecimalSigns(","))
    found = reader[f"{number} {unit}"]
    exact = Fraction(number) * UNITS_OF_DIMENSION["mass"][unit] * 1_000_000
    if isinstance(found, Fault):
        assert "above what is possible" in found.what
    else:
        assert found == round(exact)


@pytest.mark.parametrize("unit", UNITS_OF_DIMENSION["length"])
@given(number=st.decimals(0, 1000, places=4))
def test_a_length_is_the_nearest_number_to_the_exact_one(unit: str, number: Decimal) -> None:
    found = CellReader(length("spacing", ""), DecimalSigns(","))[f"{number} {unit}"]
    assert found == float(Fraction(number) * UNITS_OF_DIMENSION["length"][unit])


@given(number=st.decimals(0, 10**6, places=3), unit=st.sampled_from(["kg", "t", "lb", "ton"]))
def test_a_ticket_is_kept_as_printed(number: Decimal, unit: str) -> None:
    assert CellReader(ticket("net", ""), DecimalSigns(","))[f"{number} {unit}"] == (int(number * 1000), unit)


FIELDS = [
    code("code", ""),
    text("words", ""),
    count("count", ""),
    date("date", ""),
    season("season", ""),
    sample_mass("mass", ""),
    length("length", ""),
    ticket("ticket", ""),
    Field("number", "number", ""),
    Field("position", "position", ""),
    Field("counts", "counts", ""),
    Field("choice", "choice", "", choices=("yes", "no")),
]
ALMOST = st.text("0123456789.,'+-= eE/kglbtonm%\u00a0\u202f\u0660\u00b2\t\r\n\0", max_size=30)


@pytest.mark.parametrize("field", FIELDS, ids=[field.name for field in FIELDS])
@pytest.mark.parametrize("delimiter", [",", ";"])
@given(words=st.text(max_size=40) | ALMOST | ALMOST.map(lambda words: words * 300))
def test_any_cell_is_read_or_refused_in_one_line(field: Field, delimiter: str, words: str) -> None:
    found = CellReader(field, DecimalSigns(delimiter), field.metric)[words]
    if isinstance(found, Fault):
        assert found.what
        assert found.what.isprintable()
        assert len(found.what) < 250
    else:
        assert found is None or isinstance(found, int | float | str | tuple)


@pytest.fixture(scope="module")
def garbage_desk(filled: Path) -> Desk:
    return fresh(filled)


GARBAGE = (
    st.binary(max_size=300)
    | st.text(max_size=200).map(lambda words: words.encode("utf-8", "surrogatepass"))
    | st.binary(max_size=120).map(lambda more: CLUSTERS.encode() + more)
    | st.text('A1,2022-12-05,random;KL"\n\r\t =x', max_size=150).map(lambda words: (CLUSTERS + words).encode())
    | st.tuples(st.integers(0, 120), st.binary(min_size=1, max_size=3)).map(
        lambda found: (
            (whole := (CLUSTERS + f"{SAMPLE},1,1,5\n{SAMPLE},1,2,5\n").encode())[: found[0]]
            + found[1]
            + whole[found[0] :]
        )
    )
)


@given(content=GARBAGE)
def test_any_bytes_load_or_are_refused_with_findings(garbage_desk: Desk, content: bytes) -> None:
    path = garbage_desk.write("garbage.csv", content)
    findings: list[Finding] = []
    try:
        garbage_desk.load(path, dry_run=True)
    except FindingsError as refused:
        findings = refused.findings
        event("refused")
    for finding in findings:
        assert finding.what
        assert str(finding).isprintable()


@given(vines=st.permutations(range(1, 30)))
def test_the_order_of_rows_does_not_matter_to_what_is_held(filled: Path, vines: list[int]) -> None:
    desk = fresh(filled)
    desk.load_texts(t=cluster_rows([(1, vine, vine * 2) for vine in vines]))
    assert {row["vine"]: row["clusters"] for row in desk.stored("cluster_tally")} == {n: n * 2 for n in range(1, 30)}
    with contextlib.suppress(OSError):
        shutil.rmtree(desk.folder)
