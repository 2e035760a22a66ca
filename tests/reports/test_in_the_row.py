"""Sheets and cards: thirty vines a page, one page a card, the drawing from the record, in two languages."""

from __future__ import annotations

import csv
import io
import re
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import page as validator
import pikepdf
import pytest

from tests.desk import Desk
from tests.reports.test_history_page import compare
from vinebook.advice.nodes_model import Wishes
from vinebook.api import draw_vines, figures
from vinebook.audit.check import check
from vinebook.audit.deciding import Choice, decide
from vinebook.audit.trail import trail_of
from vinebook.errors import AdviceError, ReportError, WordsError
from vinebook.pages import ordered_blocks, page_of
from vinebook.printing import make_bound, make_report
from vinebook.reports import frame
from vinebook.reports.bound import bind_pages
from vinebook.reports.in_the_row import cut, lines_of
from vinebook.reports.languages import speech_of
from vinebook.reports.sheet import COUNTED
from vinebook.reports.wanted import Wanted

if TYPE_CHECKING:
    from vinebook.reports.paper import Paper
    from vinebook.reports.render import Page

GOLDEN = Path(__file__).parent / "golden"
PROFILES = (validator.ValidationProfile.PDF_A_3A, validator.ValidationProfile.PDF_UA_1)
PAPERS: tuple[Paper, ...] = ("a4", "letter")
LANGUAGES = ("en", "es")
LONG = "a name of many words that somebody wrote down in full because nobody had told them to be short about it"
TRAININGS = {
    "C1": "cordon,2,1,up,1.4,0.9,spur",
    "C2": "cordon,4,2,down,3.6,1.5,spur",
    "C3": "head,2,1,up,,0.8,cane",
    "C4": "head,4,1,up,,1.0,cane",
    "C5": "head,4,1,free,,0.5,spur",
    "C6": "cordon,8,4,down,,,spur",
    "C7": "cordon,1,1,up,1.2,,spur",
}
NODES = {"C1": 18, "C2": 38, "C3": 20, "C4": 28, "C5": 14, "C6": 64, "C7": 11}


def places(name: str = "Long Bank", cultivar: str = "Grey Hen") -> dict[str, str]:
    """Give tallies of a vineyard with a block of each training."""
    codes = list(TRAININGS)
    plantings = "".join(f"{code},2010,{cultivar},2.2,1.5,1000\n" for code in codes)
    return {
        "vineyard": "name,hemisphere,units\nLow Terrace,north,metric\n",
        "block": "vineyard,code,name,from_season\n" + "".join(f"Low Terrace,{c},{name},2010\n" for c in codes),
        "row": "block,from_season,first_row,last_row,positions,numbered_from,vines_per_panel\n"
        + "".join(f"{code},2010,1,20,50,the track,5\n" for code in codes),
        "planting": "block,from_season,cultivar,row_spacing,vine_spacing,positions\n" + plantings,
        "training": "block,from_season,trained,arms,curtains,shoot_position,cordon_length,wire_height,pruned\n"
        + "".join(f"{code},2010,{training}\n" for code, training in TRAININGS.items()),
    }


def settle(desk: Desk, **texts: str) -> None:
    """Load the places and decide how many nodes each block keeps for 2027."""
    desk.load_texts(**(places() | texts))
    for code, nodes in NODES.items():
        choice = Choice("nodes_to_keep", value=str(nodes), words=f"{nodes} nodes", reason="as before", decided_by="HM")
        decide(desk.book, code, 2027, choice, by="HM", evidence=("none",))


@pytest.fixture
def desk(sqlite_book: str, tmp_path: Path) -> Desk:
    desk = Desk(sqlite_book, tmp_path)
    settle(desk)
    return desk


def card(desk: Desk, code: str = "C1", language: str = "en", paper: Paper = "a4") -> bytes:
    return make_report(desk.book, Wanted("card", (code,), paper=paper, season=2027, language=language)).pdf


def drawn(desk: Desk, vines: int = 45, figure: str = "shoots_per_m", code: str = "C1") -> str:
    draw = draw_vines(desk.book, code, season=2027, figure=figure, vines=vines, seed=7, by="KL")
    return draw.key


def html(desk: Desk, wanted: Wanted) -> Page:
    with desk.book.reading() as connection:
        return page_of(connection, wanted)


def pages_in(pdf: bytes) -> int:
    with pikepdf.open(io.BytesIO(pdf)) as file:
        return len(file.pages)


def failures(pdf: bytes) -> list[str]:
    return [
        f"{failure.rule_id}: {failure.message}"
        for profile in PROFILES
        for failure in validator.validate_pdf_bytes(pdf, profile=profile).failures
    ]


@pytest.mark.parametrize(("language", "paper"), [("en", "a4"), ("es", "letter")])
def test_a_card_is_one_page_whatever_the_training(desk: Desk, paper: Paper, language: str) -> None:
    assert {code: pages_in(card(desk, code, language, paper)) for code in TRAININGS} == dict.fromkeys(TRAININGS, 1)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_card_is_one_page_whatever_was_written(sqlite_book: str, tmp_path: Path, paper: Paper) -> None:
    desk = Desk(sqlite_book, tmp_path)
    desk.load_texts(**places(LONG, LONG))
    choice = Choice("nodes_to_keep", value="38", words=f"{LONG} {LONG} {LONG}", reason=LONG, decided_by=LONG[:40])
    visit = "block,season,started_on,pruned,nodes_to_keep\nC2,2027,2027-01-10,spur,30\nC3,2027,2027-01-10,cane,30\n"
    for code in ("C2", "C3"):
        decide(desk.book, code, 2027, choice, by="HM", evidence=("none",))
    desk.load_texts(visit=visit)
    for code in ("C2", "C3"):
        pdf = make_report(
            desk.book,
            Wanted("card", (code,), paper=paper, season=2027, language="es", wishes=Wishes(formula="20+20/lb")),
        ).pdf
        assert pages_in(pdf) == 1


@pytest.mark.parametrize(("language", "paper"), [("en", "a4"), ("es", "letter")])
def test_a_sheet_has_thirty_vines_a_page(desk: Desk, paper: Paper, language: str) -> None:
    key = drawn(desk)
    for kind in COUNTED:
        pdf = make_report(desk.book, Wanted("sheet", paper=paper, draw=key, count=kind, language=language)).pdf
        assert pages_in(pdf) == (9 if kind in ("node_tally", "bearer") else 2), kind


@pytest.mark.parametrize("language", LANGUAGES)
def test_sheets_and_cards_last_and_are_read_by_everybody(desk: Desk, language: str) -> None:
    sheet = make_report(desk.book, Wanted("sheet", draw=drawn(desk), language=language)).pdf
    for pdf in (sheet, card(desk, "C2", language)):
        assert failures(pdf) == []
        with pikepdf.open(io.BytesIO(pdf)) as file:
            assert str(file.Root.Lang) == language


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_pages_are_as_they_were_kept(desk: Desk, language: str) -> None:
    key = drawn(desk, 6)

    def kept(page: Page) -> str:
        text = page.html.replace(frame.PROGRAM, "vinebook 0")
        text = re.sub(r"(created|modified)\" content=\"[^\"]*", r'\1" content="', text)
        text = re.sub(r'<p class="fine">(?:Made|Hecho)[^<]*', '<p class="fine">', text)
        text = re.sub(r"<br>(?:Made|Hecho)[^<]*", "<br>", text)
        return re.sub(r"\((HM), [^)]*\)", r"(\1)", text)

    sheet = html(desk, Wanted("sheet", draw=key, language=language))
    compare(GOLDEN / f"sheet-{language}.html", kept(sheet))
    compare(GOLDEN / f"card-{language}.html", kept(html(desk, Wanted("card", ("C1",), season=2027, language=language))))


def test_the_order_of_the_sheet_is_that_of_the_form(desk: Desk) -> None:
    key = drawn(desk)
    page = html(desk, Wanted("sheet", draw=key))
    [form] = page.enclosures
    rows = list(csv.DictReader(io.StringIO(form.content.decode())))
    shown = re.findall(r'<td class="address">(\d+)</td><td class="address">(\d+)</td>', page.html)
    assert shown == [(row["row"], row["vine"]) for row in rows]
    headings = re.findall(r'<th scope="col">([^<]+)</th>', page.html)[4:9]
    assert headings == ["State", "Count shoots", "Double shoots", "Non-count shoots", "Blind nodes"]
    assert list(rows[0])[-5:] == ["state", "count_shoots", "double_shoots", "noncount_shoots", "blind_nodes"]
    assert f"--draw {key}" in page.html


def test_what_is_typed_by_the_sheet_s_number_is_led_to_its_draw(desk: Desk) -> None:
    page = html(desk, Wanted("sheet", draw=drawn(desk, 6)))
    rows = list(csv.DictReader(io.StringIO(page.enclosures[0].content.decode())))
    filled = io.StringIO()
    writer = csv.DictWriter(filled, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    for row in rows[:5]:
        writer.writerow(row | {"date": "2027-05-20", "counted_by": "KL", "count_shoots": "17"})
    report = desk.load_texts(shoots=filled.getvalue())
    assert any("draw C1/2027/1" in note and "5 of 6 drawn vines" in note for note in report.notes)


def test_panels_and_rows_are_marked(desk: Desk) -> None:
    draw = draw_vines(desk.book, "C1", season=2027, figure="shoots_per_m", vines=20, how="panels", seed=3, by="KL")
    page = html(desk, Wanted("sheet", draw=draw.key))
    assert page.html.count('<tr class="row">') + page.html.count('<tr class="panel">') == 3
    first = draw.vines[0]
    assert f'<td class="panel">{(first.vine - 1) // 5 + 1} · {(first.vine - 1) % 5 + 1}</td>' in page.html


def test_a_sheet_without_a_draw_has_thirty_empty_lines(desk: Desk) -> None:
    page = html(desk, Wanted("sheet", ("C1",), season=2027, count="cluster_tally"))
    assert page.html.count('<td class="address"></td><td class="address"></td>') == 30
    assert "--draw" not in page.html


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        (Wanted("sheet", ("C1",), season=2027), "what is counted"),
        (Wanted("sheet", ("C1",), season=2027, count="load"), "no counting sheet of 'load'"),
        (Wanted("sheet", ("C1",), count="shoot_tally"), "no season was named"),
        (Wanted("sheet", draw="C1/2027/9"), "C1/2027/9"),
        (Wanted("card", ("C1",)), "no season was named"),
        (Wanted("card", ("C1",), season=2027, language="xx"), "'xx'"),
    ],
)
def test_what_cannot_be_printed_says_why(desk: Desk, wanted: Wanted, words: str) -> None:
    with pytest.raises(WordsError, match=re.escape(words)) as caught:
        html(desk, wanted)
    assert caught.value.hint


def test_a_card_needs_a_decision_and_says_how_one_is_made(desk: Desk) -> None:
    with pytest.raises(ReportError, match="nothing is decided") as caught:
        html(desk, Wanted("card", ("C1",), season=2026))
    assert "vinebook decide C1 --season 2026" in (caught.value.hint or "")
    choice = Choice("nodes_to_keep", words="a few more", reason="see", decided_by="HM")
    decide(desk.book, "C1", 2028, choice, by="HM", evidence=("none",))
    with pytest.raises(ReportError, match="names no number"):
        html(desk, Wanted("card", ("C1",), season=2028))
    assert ordered_blocks(desk.book, 2027) == tuple(TRAININGS)
    with pytest.raises(ReportError, match="no nodes are decided for 2031"):
        ordered_blocks(desk.book, 2031)


def test_a_season_that_is_over_has_no_card(desk: Desk) -> None:
    desk.load_texts(close="block,season,finished_on\nC1,2027,2027-10-01\n")
    with pytest.raises(AdviceError, match="over"):
        html(desk, Wanted("card", ("C1",), season=2027))


def test_the_drawing_has_every_spur_cane_and_node_that_the_card_orders(desk: Desk) -> None:
    def nodes_drawn(code: str) -> int:
        picture = html(desk, Wanted("card", (code,), season=2027)).images["vine.svg"]
        return picture.count('r="1.5"')

    assert {code: nodes_drawn(code) for code in ("C1", "C2", "C3", "C4", "C5", "C7")} == {
        code: NODES[code] for code in ("C1", "C2", "C3", "C4", "C5", "C7")
    }


def test_lengths_in_the_drawing_are_to_its_scale(desk: Desk) -> None:
    picture = html(desk, Wanted("card", ("C1",), season=2027)).images["vine.svg"]
    scale = int(re.findall(r"scale 1 : (\d+)", picture)[0])
    [(left, right)] = re.findall(r'd="M([\d.]+) [\d.]+H([\d.]+)a4\.2 ', picture)
    assert (float(right) - float(left)) / 72 * 0.0254 * scale == pytest.approx(1.4, abs=0.002)


def test_the_card_tells_what_passes_and_the_sum_of_ten(desk: Desk) -> None:
    page = html(desk, Wanted("card", ("C3",), season=2027))
    assert "Keep 20 nodes on a vine" in page.html
    assert "18 to 22 pass" in page.html
    assert "from 180 to 220" in page.html
    desk.load_texts(visit="block,season,started_on,pruned,nodes_to_keep,tolerance\nC3,2027,2027-01-10,cane,24,3\n")
    page = html(desk, Wanted("card", ("C3",), season=2027))
    assert "17 to 23 pass" in page.html
    assert "orders 24 nodes: ask before you begin" in page.html


def test_vines_drawn_for_the_check_stand_in_the_boxes(desk: Desk) -> None:
    draw = draw_vines(desk.book, "C1", season=2027, figure="nodes_per_vine", vines=10, seed=5, by="KL")
    page = html(desk, Wanted("card", ("C1",), season=2027))
    assert [f"{vine.row} / {vine.vine}" for vine in draw.vines] == re.findall(r"<td>(\d+ / \d+)</td>", page.html)


def test_cards_are_bound_in_their_language(desk: Desk) -> None:
    wanted = [Wanted("card", (code,), season=2027, language="es") for code in ("C1", "C2")]
    made = make_bound(desk.book, wanted, "Pruning cards")
    assert pages_in(made.pdf) == 3
    with desk.book.reading() as connection:
        bound = bind_pages([page_of(connection, one) for one in wanted], ["C1", "C2"], "Pruning cards", "a4")
        speech = speech_of("es")
        spanish = [page_of(connection, one) for one in wanted]
        whole = bind_pages(spanish, ["C1", "C2"], "Pruning cards", "a4", speech=speech).html
    assert '<html lang="es">' in whole
    assert all(words in whole for words in ("Fichas de poda", "Índice", "Parcela", "Folio", '"folio " counter(leaf)'))
    assert not [words for words in ("Contents", "Pruning cards", "What it is", "Leaf") if words in whole]
    first = subprocess.run(["pdftotext", "-l", "1", "-", "-"], input=made.pdf, capture_output=True, check=True).stdout
    assert "Fichas de poda" in first.decode()
    assert '· página " counter(page) " de " string(last)' in bound.html
    assert bound.html.count('lang="es"') == 2
    assert failures(made.pdf) == []


CHECKED = "block,season,date,chosen,counted_by,row,vine,nodes_on_spurs\n"


@pytest.mark.parametrize(("nodes", "verdict"), [(24, "not kept"), (19, "kept")])
def test_ten_checked_vines_are_set_against_the_order_while_the_crew_is_there(
    desk: Desk, nodes: int, verdict: str
) -> None:
    desk.load_texts(
        checked=CHECKED + "".join(f"C1,2027,2027-01-20,hand_picked,HM,{k},{k},{nodes}\n" for k in range(1, 11))
    )
    with desk.book.reading() as connection:
        hits = [one for one in check(connection).findings if one.rule == "nodes_against_order"]
        [told] = trail_of(connection, ["C1"]).decisions
    [kept] = told.done
    assert kept.verdict == verdict
    assert [one.found for one in hits] == (
        []
        if verdict == "kept"
        else ["decided 18 ± 1.8 nodes a vine, kept 24.0, n 10; the pruning is not finished: tell the crew"]
    )


def test_checked_vines_do_not_end_the_wait_for_the_wood(desk: Desk) -> None:
    grown = "block,date,chosen,counted_by,row,vine,clusters\n" + "".join(
        f"C1,2026-07-01,random,KL,{k},{k},30\n" for k in range(1, 11)
    )
    checked = CHECKED + "".join(f"C1,2027,2027-01-20,hand_picked,HM,{k},{k},18\n" for k in range(1, 11))
    desk.load_texts(grown=grown, checked=checked)

    def wood() -> tuple[str, str]:
        [found] = [one for one in figures(desk.book, ["C1"], seasons=[2026]) if one.figure == "prunings_per_vine"]
        return found.status, found.note

    assert wood() == ("pending", "the weights of the pruning that sets 2027 are not in the book yet")
    visit = "block,season,started_on,pruned,wood_weighed\nC1,2027,2027-01-10,spur,no\n"
    desk.load_texts(visit=visit)
    assert wood() == ("unknown", "no wood was weighed at the pruning that sets 2027")


def test_words_are_cut_to_a_line_and_lines_are_counted() -> None:
    assert cut("short", 10, 100) == "short"
    assert cut(LONG, 10, 100).endswith(" …")
    assert [lines_of(words, 10, 100) for words in ("short", LONG, "x" * 60)] == [1, 5, 3]
