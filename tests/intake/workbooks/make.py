"""Make the workbooks beside this file: forms of vinebook, filled in and saved by LibreOffice Calc.

They were made on Debian 12 by LibreOffice 7.4.7 with the packages libreoffice-calc and python3-uno:

    vinebook --book nowhere.db form vineyard block vine_census cluster_tally event -o forms.xlsx
    /usr/bin/python3 tests/intake/workbooks/make.py forms.xlsx

locked.xlsx is a workbook of one count, locked with the password "counts" by msoffcrypto-tool 6.1.0.

The tests read the files that were kept and need none of this.
"""

from __future__ import annotations

import importlib
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PIPE = "pipe,name=vinebook-workbooks"
XLSX, XLS, ODS = "Calc MS Excel 2007 XML", "MS Excel 97", "calc8"
DATE, TIME, PERCENT = 2, 4, 128
"""Sorts of formats: com.sun.star.util.NumberFormat."""
PLACES = {
    "vineyard": [["Côte à l’Ubac", "north", "metric"]],
    "block": [["Côte à l’Ubac", "Ü1", "Über dem Graben"], ["Côte à l’Ubac", "007", "Seven"]],
}


def office() -> tuple[Any, subprocess.Popen[bytes], Any]:
    """Start LibreOffice without a window and give its desktop."""
    uno = importlib.import_module("uno")
    profile = tempfile.mkdtemp()
    words = ["soffice", "--headless", "--norestore", f"-env:UserInstallation=file://{profile}", f"--accept={PIPE};urp;"]
    process = subprocess.Popen(words)
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    for _ in range(120):
        try:
            context = resolver.resolve(f"uno:{PIPE};urp;StarOffice.ComponentContext")
        except Exception:  # noqa: BLE001 - any answer but a context means: not yet
            time.sleep(0.5)
        else:
            return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context), process, uno
    message = "LibreOffice did not answer"
    raise TimeoutError(message)


class Desk:
    """LibreOffice with a form to fill in."""

    def __init__(self, desktop: Any, uno: Any, form: Path) -> None:  # noqa: ANN401 - LibreOffice's own
        self._desktop = desktop
        self._uno = uno
        self._form = form

    def _property(self, name: str, value: object) -> Any:  # noqa: ANN401
        made = self._uno.createUnoStruct("com.sun.star.beans.PropertyValue")
        made.Name, made.Value = name, value
        return made

    def open(self) -> Any:  # noqa: ANN401
        """Open the empty form anew."""
        return self._desktop.loadComponentFromURL(
            self._form.as_uri(), "_blank", 0, (self._property("Hidden", value=True),)
        )

    def close(self, document: Any, name: str, filter_name: str = XLSX) -> None:  # noqa: ANN401
        """Save under a name and close."""
        given = [self._property("FilterName", filter_name)]
        document.storeToURL((HERE / name).as_uri(), tuple(given))
        document.close(True)  # noqa: FBT003 - LibreOffice's own

    def format(self, document: Any, cell: Any, sort: int) -> None:  # noqa: ANN401
        """Give a cell the program's own format of a sort, as it does where one is typed."""
        locale = self._uno.createUnoStruct("com.sun.star.lang.Locale")
        locale.Language, locale.Country = "en", "US"
        cell.NumberFormat = document.NumberFormats.getStandardFormat(sort, locale)

    def places(self) -> Any:  # noqa: ANN401
        """Open the form and fill in vineyard and blocks, as text."""
        document = self.open()
        for name, rows in PLACES.items():
            for down, row in enumerate(rows, 1):
                for right, words in enumerate(row):
                    document.Sheets.getByName(name).getCellByPosition(right, down).setString(words)
        # Headings of a block: vineyard, code, name, …, from season.
        block = document.Sheets.getByName("block")
        at = column(block, "from season")
        for down in (1, 2):
            block.getCellByPosition(at, down).setFormula("2015")
        return document


def column(sheet: Any, words: str) -> int:  # noqa: ANN401
    """Give where a heading stands."""
    return next(at for at in range(60) if sheet.getCellByPosition(at, 0).getString().startswith(words))


def tally(sheet: Any, rows: list[dict[str, str]], first: int = 1) -> None:  # noqa: ANN401
    """Type rows: each cell as a person would type it, in English."""
    for down, row in enumerate(rows, first):
        for heading, typed in row.items():
            cell = sheet.getCellByPosition(column(sheet, heading), down)
            if typed.startswith("'"):
                cell.setString(typed[1:])
            else:
                cell.setFormula(typed)


def counted(vine: int, clusters: str, block: str = "'Ü1") -> dict[str, str]:
    """Give a row of a cluster tally."""
    return {
        "block": block,
        "date": "2024-07-03",
        "thinning": "'before",
        "chosen": "'random",
        "counted by": "'R. Q.",
        "row": "2",
        "vine": str(vine),
        "clusters": clusters,
    }


def main(form: Path) -> None:
    """Make every file."""
    desktop, process, uno = office()
    try:
        fill(Desk(desktop, uno, form), uno)
    finally:
        desktop.terminate()
        process.wait()


def fill(desk: Desk, uno: Any) -> None:  # noqa: ANN401
    """Fill in and save one form after the other."""

    # Filled in as it should be: dates, numbers, a number as text, a formula, percent, a hidden row, an empty row.
    document = desk.places()
    clusters = document.Sheets.getByName("cluster_tally")
    rows = [counted(1, "31"), counted(2, "27"), counted(3, "'36"), counted(4, "=SUM(20;9)"), counted(5, "0")]
    tally(clusters, [*rows, {}, counted(7, "33", "'007")])
    clusters.Rows.getByIndex(2).IsVisible = False
    event = document.Sheets.getByName("event")
    hail = {"block": "'Ü1", "date": "2024-06-18", "what": "'hail", "share hit": "12.5%", "words": "'kurz: „Hagel“ 🌨"}
    tally(event, [hail])
    desk.format(document, event.getCellByPosition(column(event, "share hit"), 1), PERCENT)
    census = document.Sheets.getByName("vine_census")
    tally(census, [{"block": "'007", "date": "2024-05-02", "bearing": "380", "young": "12", "missing": "8"}])
    desk.close(document, "filled.xlsx")

    # Wrong in many ways, each of which must be named.
    document = desk.places()
    clusters = document.Sheets.getByName("cluster_tally")
    rows = [
        counted(1, "=1/0"),
        counted(2, "=NA()"),
        counted(3, "=TRUE()"),
        counted(4, "2024-07-03"),
        counted(5, "14:30"),
        counted(6, "25%"),
        counted(7, "27.5"),
        counted(8, "'1,024"),
        counted(9, "31") | {"date": "'03.07.2024"},
        counted(10, "31") | {"date": "2024-07-03 14:30"},
        counted(11, "31") | {"date": "45476"},
        counted(12, "-3"),
        counted(13, "31"),
    ]
    tally(clusters, rows)
    # As if somebody had cleared the form's formats: the program then makes its own of what is typed.
    at = column(clusters, "clusters")
    for down, sort in ((4, DATE), (5, TIME), (6, PERCENT)):
        desk.format(document, clusters.getCellByPosition(at, down), sort)
    clusters.getCellByPosition(column(clusters, "date"), 11).NumberFormat = 1
    clusters.getCellByPosition(30, 13).setString("beside")
    desk.close(document, "wrong.xlsx")

    fill_oddly(desk, uno)


def fill_oddly(desk: Desk, uno: Any) -> None:  # noqa: ANN401
    """Fill in forms whose shape was changed, and save one in other formats."""
    document = desk.places()
    clusters = document.Sheets.getByName("cluster_tally")
    tally(clusters, [counted(1, "31"), counted(2, "27")])
    clusters.getCellRangeByName("A2:A3").merge(True)  # noqa: FBT003 - LibreOffice's own
    desk.close(document, "merged.xlsx")

    document = desk.places()
    clusters = document.Sheets.getByName("cluster_tally")
    tally(clusters, [counted(1, "31"), counted(2, "27")])
    clusters.Rows.insertByIndex(0, 2)
    clusters.Columns.insertByIndex(0, 1)
    desk.close(document, "moved.xlsx")
    document = desk.places()
    clusters = document.Sheets.getByName("cluster_tally")
    tally(clusters, [counted(1, "31"), counted(2, "27")])
    clusters.Rows.insertByIndex(0, 2)
    clusters.getCellByPosition(0, 0).setString("My counts of July")
    desk.close(document, "titled.xlsx")

    document = desk.places()
    tally(document.Sheets.getByName("cluster_tally"), [counted(1, "31")])
    document.Sheets.getByName("cluster_tally").IsVisible = False
    desk.close(document, "hidden.xlsx")

    document = desk.places()
    null_date = uno.createUnoStruct("com.sun.star.util.Date")
    null_date.Day, null_date.Month, null_date.Year = 1, 1, 1904
    document.NullDate = null_date
    tally(document.Sheets.getByName("cluster_tally"), [counted(1, "31")])
    desk.close(document, "from_1904.xlsx")

    for name, filter_name in (("old.xls", XLS), ("open.ods", ODS)):
        document = desk.places()
        tally(document.Sheets.getByName("cluster_tally"), [counted(1, "31")])
        desk.close(document, name, filter_name)


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
