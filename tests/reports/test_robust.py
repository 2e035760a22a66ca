"""Whatever words and sizes a book holds, no report breaks, is cut off, runs what it prints or reads anything else."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
import shutil
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import page as validator
import pytest
from click.testing import CliRunner

from tests.desk import Desk
from tests.reports import histories
from tests.reports.rough import ROUGH, SIXTY, WITHOUT_GLYPH, outside, overlapping, roughened, watched, words_of
from tests.reports.test_history_page import Outline
from tests.reports.test_overview import MIXED, block, overview
from tests.reports.test_statement import PLACES, statement
from tests.reports.trail_pages import story_of
from vinebook.cli import vinebook
from vinebook.reports.bound import bind_pages
from vinebook.reports.history import history_page
from vinebook.reports.overview import overview_page
from vinebook.reports.render import Page, print_page
from vinebook.reports.statement import statement_page
from vinebook.reports.trail import trail_page

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from vinebook.reports.numbers import Units
    from vinebook.reports.paper import Paper
    from vinebook.seasons.model import Figure, Reading

Told = Any
"""A BlockHistory, Statement, Trail or Overview: what each report tells."""

REPORTS = ("history", "statement", "trail", "overview")
ALLOWED = {
    *("html", "head", "meta", "title", "style", "body", "header", "section", "p", "h1", "h2", "h3", "div", "table"),
    *("tbody", "thead", "tr", "th", "td", "b", "br", "span", "img", "colgroup", "col", "caption"),
}
DRAWN = {"svg", "g", "path", "line", "rect", "circle", "text", "tspan", "polyline", "polygon", "title"}
NOTHING = Page('<html lang="en"><title>x</title><body>x</body></html>')
"""Set first, so that the libraries of the system are found and loaded before anybody watches."""
VAST = 9.87654321e11
TINY = 1.2e-9


@pytest.fixture(scope="session")
def told(story_desk: Desk, sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Told]:
    """Give what each report tells of a plain book."""
    folder = tmp_path_factory.mktemp("statement")
    desk = Desk(str(shutil.copyfile(sqlite_template, folder / "book.db")), folder)
    desk.load_texts(**PLACES)
    story = story_of(story_desk)
    return {
        "history": histories.five_seasons(),
        "statement": statement(desk, "A1", "A2", shows=("yield", "balance"), share=60.0),
        "trail": dataclasses.replace(story, decisions=story.decisions[::2]),
        "overview": MIXED,
    }


class Drawn(HTMLParser):
    """What a chart is made of."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: set[str] = set()
        self.attributes: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.add(tag)
        self.attributes += [(name, value or "") for name, value in attrs]


def page_of(report: str, thing: Told, text: str = "", *, units: Units = "metric", paper: Paper = "a4") -> Page:
    """Make the page of a report; a trail's head takes its names apart."""
    makers: dict[str, Callable[..., Page]] = {
        "history": history_page,
        "statement": statement_page,
        "overview": overview_page,
        "trail": lambda trail, **options: trail_page(trail, text or "Long Bank", text or "Low Terrace", **options),
    }
    return makers[report](thing, units=units, paper=paper)


@pytest.mark.parametrize("text", list(ROUGH))
@pytest.mark.parametrize("report", REPORTS)
def test_rough_words_stay_words_and_what_has_no_glyph_is_named(told: dict[str, Told], report: str, text: str) -> None:
    page = page_of(report, roughened(told[report], [ROUGH[text]]), ROUGH[text])
    outline = Outline(page.html)
    assert outline.elements <= ALLOWED
    assert all((image["src"] or "").startswith("vb:") for image in outline.images)
    for svg in page.images.values():
        drawn = Drawn()
        drawn.feed(svg)
        assert drawn.elements <= DRAWN
        assert not [(name, value) for name, value in drawn.attributes if "href" in name or "url(" in value]
    plain = " ".join(outline.text.split())
    if text in WITHOUT_GLYPH:
        assert any(WITHOUT_GLYPH[text] in warning for warning in page.warnings)
        assert not set(ROUGH[text]) & set(re.sub(r"<[^>]*>", "", page.html)) - set(map(chr, range(0x500)))
    else:
        assert page.warnings == ()
        assert ROUGH[text] in plain


def is_sound(pdf: bytes, paper: Paper = "a4") -> None:
    """Check that a PDF's words stand inside its margins and beside each other."""
    assert outside(pdf, paper) == []
    assert overlapping(pdf) == []


@pytest.mark.parametrize(
    ("report", "units", "paper"),
    [
        ("history", "us", "a4"),
        ("statement", "metric", "letter"),
        ("trail", "us", "letter"),
        ("overview", "metric", "a4"),
    ],
)
def test_rough_words_are_set_inside_the_page_and_nothing_else_is_read(
    told: dict[str, Told], report: str, units: Units, paper: Paper, tmp_path: Path
) -> None:
    bait = tmp_path / "bait.svg"
    bait.write_text("<svg xmlns='http://www.w3.org/2000/svg'/>", encoding="utf-8")
    luring = f"<img src='file://{bait}'> url({bait}) http://127.0.0.1:9/x"
    texts = [luring, *ROUGH.values()]
    page = page_of(report, roughened(told[report], texts), SIXTY, units=units, paper=paper)
    print_page(NOTHING)
    with watched() as seen:
        printed = print_page(page)
    assert printed.complaints == ()
    is_sound(printed.pdf, paper)
    assert not [what for what in seen if "bait" in what or "passwd" in what or not what.startswith("open ")]
    assert "alert(1)" in " ".join(word.text for word in words_of(printed.pdf)) or report == "overview"


def test_the_watch_sees_what_is_opened(tmp_path: Path) -> None:
    bait = tmp_path / "bait"
    bait.write_text("x", encoding="utf-8")
    with watched() as seen:
        bait.read_text(encoding="utf-8")
    assert any("bait" in what for what in seen)


def at_extremes(figures: Sequence[Figure]) -> tuple[Figure, ...]:
    """Give figures whose values are vast, tiny and nought by turns, and whose intervals are wider still."""
    values = ((VAST, 1.0, VAST * 90), (TINY, TINY / 9, VAST), (0.0, 0.0, 0.0), (-VAST, -VAST * 9, TINY))
    return tuple(
        figure if figure.value is None else dataclasses.replace(figure, value=value, low=low, high=high, n=10**6)
        for figure, (value, low, high) in zip(figures, values * len(figures), strict=False)
    )


def all_pending(figures: Sequence[Figure]) -> tuple[Figure, ...]:
    """Give figures that all wait."""
    why = "the harvest of that season is not closed yet"
    return tuple(
        dataclasses.replace(figure, value=None, low=None, high=None, n=None, status="pending", reading="not judged")
        if figure.status != "pending"
        else dataclasses.replace(figure, note=why)
        for figure in figures
    )


def with_figures(thing: Told, change: Callable[[Sequence[Figure]], tuple[Figure, ...]]) -> Told:
    """Give what was told with its figures changed."""
    if hasattr(thing, "figures"):
        return dataclasses.replace(thing, figures=change(thing.figures))
    if hasattr(thing, "decisions"):
        decisions = tuple(
            dataclasses.replace(
                decision,
                evidence=tuple(
                    dataclasses.replace(one, then=change([one.then])[0], now=one.now and change([one.now])[0])
                    for one in decision.evidence
                ),
            )
            for decision in thing.decisions
        )
        return dataclasses.replace(thing, decisions=decisions)
    return dataclasses.replace(thing, blocks=tuple(with_figures(one, change) for one in thing.blocks))


@pytest.mark.parametrize("report", REPORTS)
def test_extreme_values_are_set_inside_the_page(told: dict[str, Told], report: str) -> None:
    thing = with_figures(told[report], at_extremes)
    if report == "statement":
        thing = dataclasses.replace(
            thing,
            blocks=tuple(
                dataclasses.replace(
                    one,
                    loads=tuple(dataclasses.replace(load, net=VAST, picked_kg=VAST) for load in one.loads),
                )
                for one in thing.blocks
            ),
        )
    printed = print_page(page_of(report, thing))
    assert printed.complaints == ()
    is_sound(printed.pdf)


@pytest.mark.parametrize("report", REPORTS)
def test_a_book_in_which_every_figure_waits_gives_no_number(told: dict[str, Told], report: str) -> None:
    page = page_of(report, with_figures(told[report], all_pending))
    assert "pending" in page.html.lower() or report == "statement"
    assert not re.search(r"\b(nan|None|inf)\b", Outline(page.html).text)


MANY_LOADS, MANY_BLOCKS, MANY_DECISIONS, MANY_SEASONS = 300, 60, 30, 25


def many(report: str, thing: Told) -> Told:
    """Give much of what a report tells."""
    if report == "overview":
        readings: tuple[Reading, ...] = ("within", "above", "below", "not clear")
        return overview(
            *(
                block(
                    f"B{at}", None if at % 7 == 6 else 3.0 + at % 9, "not judged" if at % 7 == 6 else readings[at % 4]
                )
                for at in range(MANY_BLOCKS)
            )
        )
    if report == "statement":
        first = thing.blocks[0]
        day = dt.timedelta(days=1)
        loads = tuple(
            dataclasses.replace(first.loads[at % 3], number=f"{1000 + at}", date=first.loads[0].date + day * (at // 9))
            for at in range(MANY_LOADS)
        )
        return dataclasses.replace(thing, blocks=(dataclasses.replace(first, loads=loads), *thing.blocks[1:]))
    if report == "trail":
        bare = {"evidence": (), "corrections": ()}
        decisions = tuple(
            dataclasses.replace(thing.decisions[at % len(thing.decisions)], number=at + 1, **({} if at < 4 else bare))
            for at in range(MANY_DECISIONS)
        )
        balances = tuple(dataclasses.replace(thing.balances[0], season=2000 + at) for at in range(MANY_SEASONS))
        return dataclasses.replace(thing, decisions=decisions, balances=balances)
    return histories.twentyfive_seasons()


@pytest.mark.parametrize("report", REPORTS)
def test_much_of_everything_is_told_whole(told: dict[str, Told], report: str) -> None:
    pdf = print_page(
        page_of(report, many(report, told[report]), paper="letter"),
    ).pdf
    is_sound(pdf, "letter")
    text = " ".join(word.text for word in words_of(pdf))
    wanted = {
        "overview": [f"B{at} " for at in range(MANY_BLOCKS)],
        "statement": [f" {1000 + at} " for at in range(MANY_LOADS)],
        "trail": [f"decision {at + 1}:" for at in range(MANY_DECISIONS)]
        + [f" {2000 + at} " for at in range(MANY_SEASONS)],
        "history": [f" {season} " for season in range(2000, 2025)],
    }[report]
    assert [words for words in wanted if words not in text] == []


def test_nothing_at_all_is_said_in_words(told: dict[str, Told]) -> None:
    bare = dataclasses.replace(told["statement"], blocks=(), unsplit=())
    told_trail = dataclasses.replace(told["trail"], decisions=(), balances=(), corrections=(), seasons=())
    for report, thing in (("statement", bare), ("trail", told_trail), ("history", histories.no_seasons())):
        printed = print_page(page_of(report, thing))
        assert printed.complaints == ()
        is_sound(printed.pdf)


def test_a_bound_book_carries_rough_words_too(told: dict[str, Told]) -> None:
    titles = [SIXTY, ROUGH["markup"], ROUGH["Chinese"]]
    pages = [page_of("trail", told["trail"], text) for text in titles]
    page = bind_pages(pages, titles, f"For {ROUGH['markup']} {ROUGH['Chinese']}", "a4")
    assert any("U+5317" in warning for warning in page.warnings)
    assert "<script>" not in page.html
    assert not set(ROUGH["Chinese"]) & set(page.html)
    printed = print_page(page)
    assert printed.complaints == ()
    is_sound(printed.pdf)


NAMES = {
    "vineyard": f'name,hemisphere,units,grower,place\n"Ter<b>ra</b> ""Q"" 北",north,metric,{SIXTY},שדה\n',
    "block": 'vineyard,code,name,from_season\n"Ter<b>ra</b> ""Q"" 北",N/S.1 <i>,"' + "W" * 60 + '",2015\n',
    "load": "issuer,number,date,basis,net,consignee,note\n"
    "Bridge,\"1/2 '<u>'\",2022-09-20,net_as_given,900,北 <b>Cellar</b>,{{7*7}} url(file:///etc/passwd)\n",
    "load_part": "issuer,season,number,block,picked\nBridge,2022,\"1/2 '<u>'\",N/S.1 <i>,hand\n",
    "consignee": 'name,address\n北 <b>Cellar</b>,"1 ""Bell"" Lane"\n',
    "harvest_close": "block,finished_on,fruit_left,fruit_left_by\nN/S.1 <i>,2022-09-30,0,weighed\n",
    "decision": "block,season,number,decided_on,decides,value,words,reason,decided_by\n"
    'N/S.1 <i>,2022,1,2022-01-05,nodes_to_keep,20,{{7*7}} 坡,"<script>x</script> """,HM\n',
}  # fmt: skip


@pytest.fixture(scope="session")
def rough_book(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """Give a book whose very names and codes are rough."""
    folder = tmp_path_factory.mktemp("rough")
    desk = Desk(str(shutil.copyfile(sqlite_template, folder / "book.db")), folder)
    order = ("vineyard", "block", "consignee", "load", "load_part", "harvest_close", "decision")
    desk.load_texts(**{name: NAMES[name] for name in order})
    return desk


@pytest.mark.parametrize(
    ("words", "missing"),
    [
        (("history", "N/S.1 <i>"), "U+5317"),
        (("statement", "--to", "北 <b>Cellar</b>"), "U+5317"),
        (("trail", "N/S.1 <i>"), "U+5761"),
        (("overview",), "U+5317"),
        (("history", "--all", "--bound"), "U+5317"),
        (("statement", "--bound", "--to", "北 <b>Cellar</b>"), "U+5317"),
    ],
)
def test_a_book_of_rough_names_prints_and_what_has_no_glyph_is_named_on_stderr(
    rough_book: Desk, words: tuple[str, ...], missing: str, tmp_path: Path
) -> None:
    done = CliRunner(env={"COLUMNS": "80"}).invoke(
        vinebook, ["--book", rough_book.url, "--by", "KL", "report", *words, "-o", str(tmp_path / "x.pdf")]
    )
    assert done.exit_code == 0, done.output
    assert f"no glyph for {missing}" in done.stderr
    pdf = (tmp_path / "x.pdf").read_bytes()
    is_sound(pdf)
    for profile in (validator.ValidationProfile.PDF_A_3A, validator.ValidationProfile.PDF_UA_1):
        assert not validator.validate_pdf_bytes(pdf, profile=profile).failures


def test_a_folder_of_reports_has_plain_names_whatever_the_codes_are(rough_book: Desk, tmp_path: Path) -> None:
    done = CliRunner().invoke(
        vinebook, ["--book", rough_book.url, "--by", "KL", "report", "trail", "--all", "-o", str(tmp_path / "all")]
    )
    assert done.exit_code == 0, done.output
    assert [path.name for path in (tmp_path / "all").iterdir()] == ["N_S_1_i.pdf"]
