"""A statement tells a winery of its own loads, as they were weighed, and of nothing else."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import page as validator
import pikepdf
import pytest

from tests.desk import Desk
from tests.reports.test_history_page import compare
from vinebook.errors import ReportError, WordsError
from vinebook.pages import concerned_blocks, history_of
from vinebook.printing import make_bound, make_report
from vinebook.reports.statement import statement_page
from vinebook.reports.wanted import Wanted
from vinebook.seasons.statement import statement_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.seasons.statement_model import Statement

GOLDEN = Path(__file__).parent / "golden"
OURS, THEIRS = "Mill Cellar", "Quarry Winery"
PLACES = {
    "vineyard": "name,hemisphere,units,grower,place\nLow Terrace,north,metric,R. Quill,Far Reach\n",
    "block": "vineyard,code,name,from_season\nLow Terrace,A1,Upper,2015\nLow Terrace,A2,Lower,2015\n"
    "Low Terrace,A3,Secret,2015\n",
    "planting": "block,from_season,cultivar,clone,row_spacing,vine_spacing,positions\n"
    "A1,2015,Riesling,RQ-1,2,1.2,1000\nA2,2015,Syrah,,2,1.2,1000\nA3,2015,Gamay,,2,1.2,500\n",
    "consignee": f"name,address,register_numbers\n{OURS},1 Mill Lane,X-1\n{THEIRS},2 Pit Road,X-2\n",
    "certification": "block,scheme,status,certificate,valid_from,valid_to\n"
    "A1,Careful Ground,in_conversion,C-1,2018-01-01,2021-12-31\nA1,Careful Ground,certified,C-2,2022-01-01,\n",
    "load": "issuer,number,date,basis,gross,tare,net,refused,refused_reason,deductions,consignee,soluble_solids,ph,"
    "titratable_acidity,note\n"
    f"Bridge,11,2022-09-20,gross_and_tare,1500,500,1000,100,rot,50,{OURS},20,3.1,8,a word for ourselves\n"
    f"Bridge,12,2022-09-21,gross_and_tare,3500,500,3000,0,,0,{OURS},24,3.3,6,\n"
    f"Bridge,13,2022-09-22,net_as_given,,,777,0,,0,{THEIRS},19,3.0,9,\n"
    f"Bridge,14,2022-09-23,net_as_given,,,2000,0,,0,{OURS},,,,\n"
    f"Bridge,15,2022-09-24,net_as_given,,,500,0,,0,{OURS},,,,\n"
    f"Bridge,16,2022-09-24,net_as_given,,,555,0,,0,{THEIRS},,,,\n",
    "load_part": "issuer,season,number,block,pick,mass,split,picked,purpose\n"
    "Bridge,2022,11,A1,1,,,hand,sparkling\nBridge,2022,12,A1,2,,,hand,still\nBridge,2022,13,A1,2,,,hand,still\n"
    "Bridge,2022,14,A1,2,1200,weighed,machine,still\nBridge,2022,14,A2,1,800,weighed,machine,still\n"
    "Bridge,2022,15,A1,2,,,hand,still\nBridge,2022,15,A2,1,,,hand,still\nBridge,2022,16,A3,1,,,hand,still\n",
    "harvest_close": "block,finished_on\nA2,2022-09-30\n",
    "crop_estimate": "block,date,given_to,stage,method,estimate,low,high,level\n"
    f"A1,2022-08-01,{OURS},lag_phase,clusters × weight × 2,6,5,7,80\n"
    f"A1,2022-08-01,{THEIRS},lag_phase,clusters,9.87,,,\n",
    "canopy_work": "block,work,started_on,finished_on,side,done_by,crew\n"
    "A1,cluster_zone_leaf_removal,2022-06-20,2022-06-21,morning side,hand,Z.Z.\n",
}  # fmt: skip


@pytest.fixture
def desk(book_url: str, tmp_path: Path) -> Desk:
    desk = Desk(book_url, tmp_path)
    desk.load_texts(**PLACES)
    return desk


def statement(desk: Desk, *codes: str, shows: Sequence = (), share: float | None = None) -> Statement:
    """Gather a statement for our consignee."""
    from vinebook.kinds import KINDS
    from vinebook.records.keys import find_record

    with desk.book.reading() as connection:
        return statement_of(
            connection,
            find_record(connection, KINDS["consignee"], OURS),
            2022,
            [history_of(connection, code) for code in codes],
            shows=shows,
            share_percent=share,
        )


def text_of(pdf: bytes) -> str:
    """Text of a PDF, in reading order."""
    done = subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf, check=True, capture_output=True)
    return done.stdout.decode()


def inside(pdf: bytes) -> dict[str, str]:
    """Files inside a PDF, by name."""
    with pikepdf.open(io.BytesIO(pdf)) as file:
        return {name: found.get_file().read_bytes().decode() for name, found in file.attachments.items()}


def wanted(*codes: str, **more: object) -> Wanted:
    """Give a statement as it is asked for."""
    return Wanted("statement", codes, to=OURS, season=2022, **more)  # type: ignore[arg-type]


SECRETS = (THEIRS, "777", "555", "9.87", "A3", "Secret", "Gamay", "a word for ourselves", "Z.Z.", "Pit Road")


@pytest.mark.parametrize("make", ["one", "block", "bound", "with"])
def test_a_statement_tells_nothing_of_another_consignee(desk: Desk, make: str) -> None:
    pdf = {
        "one": lambda: make_report(desk.book, wanted()),
        "block": lambda: make_report(desk.book, wanted("A1")),
        "bound": lambda: make_bound(desk.book, [wanted("A1"), wanted("A2")], "Statements"),
        "with": lambda: make_report(desk.book, wanted(shows=("yield", "balance"))),
    }[make]().pdf
    # The digits of a seal are chance: they may hold any number.
    everything = re.sub("Seal of that entry:.*?How to check", "", text_of(pdf), flags=re.DOTALL)
    everything += "".join(f"{name} {text}" for name, text in inside(pdf).items())
    assert "Bridge" in everything
    for secret in SECRETS:
        assert secret not in everything
    if make == "block":
        assert "A2" not in "".join(inside(pdf).values())


def test_a_bound_book_of_statements_names_the_block_of_each(desk: Desk) -> None:
    pdf = make_bound(desk.book, [wanted("A1"), wanted("A2")], "Statements").pdf
    with pikepdf.open(io.BytesIO(pdf)) as file, file.open_outline() as outline:
        assert [item.title for item in outline.root] == ["Statements", "A1 Upper", "A2 Lower"]
    contents, *pages = text_of(pdf).split("\f")
    assert re.search(r"A1 Upper +Fruit of season 2022 +2\n", contents)
    assert re.search(r"A2 Lower +Fruit of season 2022 +\d\n", contents)
    assert f"{OURS}, A1 Upper, season 2022" in pages[0]
    of_both = text_of(make_report(desk.book, wanted()).pdf)
    assert f"{OURS}, season 2022" in of_both
    assert f"{OURS}, A1" not in of_both


def test_the_line_that_adds_up_is_ruled_off(desk: Desk) -> None:
    html = statement_page(statement(desk, "A1", "A2")).html
    rows = re.findall(r"<tr[^>]*>.*?</tr>", html)
    (total,) = [row for row in rows if "total" in row.partition(">")[0]]
    assert '<th scope="row">All</th>' in total
    assert 'class="total"' not in statement_page(statement(desk, "A1")).html


def test_yield_and_balance_are_told_only_where_they_were_asked_for(desk: Desk) -> None:
    plain = make_report(desk.book, wanted()).pdf
    assert json.loads(inside(plain)["figures.json"])["figures"] == []
    assert "Yield" not in text_of(plain)
    told = make_report(desk.book, wanted(shows=("yield",))).pdf
    names = {figure["figure"] for figure in json.loads(inside(told)["figures.json"])["figures"]}
    assert names == {"crop", "yield_per_vine", "yield_per_ha", "yield_per_m"}


def test_masses_and_must_figures_are_those_of_its_own_loads(desk: Desk) -> None:
    first, second = statement(desk, "A1", "A2").blocks
    assert [
        (load.number, load.picked_kg, load.refused_kg, load.deducted_kg, load.accepted_kg) for load in first.loads
    ] == [
        ("11", 1000, 100, 50, 850),
        ("12", 3000, 0, 0, 3000),
        ("14", 1200, 0, 0, 1200),
    ]
    assert [(load.number, load.picked_kg) for load in second.loads] == [("14", 800)]
    assert (first.closed_on, second.closed_on is None) == (None, False)
    text = text_of(make_report(desk.book, wanted()).pdf)
    # 1000 + 3000 + 1200 kg of A1 and 800 kg of A2; 20 °Brix of 1 t and 24 °Brix of 3 t weigh to 23.
    assert "6.000\u00a0t net" in text.replace(" ", " ") or "6.000 t net" in text
    assert "23.0" in text
    assert "3.20" in text
    assert "The harvest of A1 is not closed" in text


def test_a_load_that_is_not_split_is_named_and_counted_nowhere(desk: Desk) -> None:
    told = statement(desk, "A1", "A2")
    assert [(load.number, load.net, load.blocks) for load in told.unsplit] == [("15", 500, ("A1", "A2"))]
    assert "15" not in {load.number for block in told.blocks for load in block.loads}


def test_a_load_that_names_no_block_is_named_too(desk: Desk) -> None:
    desk.load_texts(
        load="issuer,number,date,basis,net,consignee\n"
        f"Bridge,21,2022-09-25,net_as_given,345,{OURS}\nBridge,22,2022-09-25,net_as_given,678,{THEIRS}\n"
        f"Bridge,23,2021-09-25,net_as_given,678,{OURS}\n"
    )
    told = statement(desk, "A1", "A2")
    assert [(load.number, load.blocks) for load in told.unsplit] == [("15", ("A1", "A2")), ("21", ())]
    text = " ".join(text_of(make_report(desk.book, wanted()).pdf).split())
    assert "2 loads more are not given to blocks yet and in none of these sums" in text
    assert "345 kg not named yet" in text.replace("\u00a0", " ")
    with pytest.raises(ReportError, match="the loads of 2021 to Mill Cellar name no block yet"):
        make_report(desk.book, Wanted("statement", to=OURS, season=2021))


def test_a_ticket_that_named_somebody_else_before_does_not_say_so(desk: Desk) -> None:
    from vinebook.intake.typed import add_record

    add_record(
        desk.book,
        "load",
        {"number": "13C", "consignee": OURS},
        by="KL",
        supersedes="Bridge/2022/13",
        reason=f"{THEIRS} sent it back",
    )
    made = make_report(desk.book, wanted("A1"))
    everything = text_of(made.pdf) + "".join(inside(made.pdf).values())
    assert "13C" in everything
    assert THEIRS not in everything
    assert not made.warnings


def test_words_that_name_another_consignee_are_warned_of(desk: Desk) -> None:
    from vinebook.intake.typed import add_record

    add_record(
        desk.book,
        "load",
        {"number": "12C"},
        by="KL",
        supersedes="Bridge/2022/12",
        reason=f"weighed with that of {THEIRS.upper()}",
    )
    (warning,) = make_report(desk.book, wanted("A1")).warnings
    assert f"names {THEIRS}: look whether {OURS} may read it" in warning
    assert not make_report(desk.book, wanted("A2")).warnings


def test_a_yield_that_waits_for_a_load_to_another_does_not_name_its_ticket(desk: Desk) -> None:
    desk.load_texts(
        load=f"issuer,number,date,basis,net,consignee\nBridge,SECRET9,2022-09-26,net_as_given,678,{THEIRS}\n",
        load_part="issuer,season,number,block,pick,picked\n"
        "Bridge,2022,SECRET9,A1,2,hand\nBridge,2022,SECRET9,A2,1,hand\n",
    )
    with desk.book.reading() as connection:
        notes = {figure.note for figure in history_of(connection, "A1").figures}
    assert any("SECRET9" in note for note in notes)
    pdf = make_report(desk.book, wanted(shows=("yield", "balance"))).pdf
    assert "is not split" in inside(pdf)["figures.json"]
    assert "SECRET9" not in text_of(pdf) + "".join(inside(pdf).values())


def test_certification_is_told_as_it_stood_when_the_fruit_was_weighed(desk: Desk) -> None:
    text = " ".join(text_of(make_report(desk.book, wanted("A1")).pdf).split())
    assert "Careful Ground: certified, certificate C-2" in text
    assert "C-1" not in text


def test_the_share_promised_stands_beside_the_estimate(desk: Desk) -> None:
    text = text_of(make_report(desk.book, wanted("A1", share_percent=60.0)).pdf)
    assert "60% of the crop" in text
    assert "3.60" in text


def test_a_corrected_ticket_names_the_one_that_it_supersedes(desk: Desk) -> None:
    from vinebook.intake.typed import add_record

    add_record(
        desk.book,
        "load",
        {"number": "11C", "gross": "1600", "net": "1100"},
        by="KL",
        supersedes="Bridge/2022/11",
        reason="gross misread",
    )
    pdf = make_report(desk.book, wanted("A1")).pdf
    assert "upersedes ticket 11: gross misread" in text_of(pdf)
    rows = list(csv.DictReader(io.StringIO(inside(pdf)["loads.csv"])))
    assert [row["number"] for row in rows] == ["11C", "12", "14"]


def test_what_cannot_be_told_says_why(desk: Desk) -> None:
    with pytest.raises(ReportError, match="nothing of block A3 went to Mill Cellar in 2022"):
        make_report(desk.book, wanted("A3"))
    with pytest.raises(ReportError, match="nothing of 2019 went to Mill Cellar"):
        make_report(desk.book, Wanted("statement", to=OURS, season=2019))
    with pytest.raises(WordsError, match="Nobody"):
        make_report(desk.book, Wanted("statement", to="Nobody"))
    assert concerned_blocks(desk.book, OURS, None) == ("A1", "A2")


def test_a_statement_is_archival_and_accessible(desk: Desk) -> None:
    pdf = make_report(desk.book, wanted(shows=("yield", "balance"), share_percent=50.0)).pdf
    for profile in (validator.ValidationProfile.PDF_A_3A, validator.ValidationProfile.PDF_UA_1):
        assert not validator.validate_pdf_bytes(pdf, profile=profile).failures


@pytest.mark.parametrize(("name", "units", "paper"), [("metric", "metric", "a4"), ("us", "us", "letter")])
def test_the_page_is_as_it_was_kept(sqlite_book: str, tmp_path: Path, name: str, units: str, paper: str) -> None:
    import dataclasses

    desk = Desk(sqlite_book, tmp_path)
    desk.load_texts(**PLACES)
    told = dataclasses.replace(
        statement(desk, "A1", "A2", shows=("yield", "balance"), share=60.0),
        seal="0123456789abcdef" * 4,
        entries=15,
        as_of="2022-10-01T12:00:00Z",
    )
    page = statement_page(told, units=units, paper=paper, program="vinebook 0")  # type: ignore[arg-type]
    compare(GOLDEN / f"statement-{name}.html", page.html)


def test_loads_without_a_share_are_in_the_files_too(desk: Desk) -> None:
    files = inside(make_report(desk.book, wanted("A1", "A2")).pdf)
    [row] = csv.DictReader(io.StringIO(files["loads_without_a_share.csv"]))
    assert (row["number"], row["net"], row["blocks"]) == ("15", "500.0", "A1; A2")


def test_an_estimate_is_found_whatever_the_case_of_letters(desk: Desk) -> None:
    desk.load_texts(
        cellar="name\nÉclat\n",
        told="block,date,given_to,stage,method,estimate\nA3,2022-08-01,ÉCLAT,lag_phase,clusters,4\n",
    )
    assert concerned_blocks(desk.book, "Éclat", None) == ("A3",)
