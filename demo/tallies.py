"""The writing: rows go into tally files of one kind each, with the headings that the kinds give."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from vinebook.exchange.workbooks import form_workbook
from vinebook.kinds import KINDS
from vinebook.kinds.form import heading, tally_fields
from vinebook.quantities import FOOT_M, POUND_KG

if TYPE_CHECKING:
    from pathlib import Path

Cell = str | int
PERIODS = ((2014, 2019), (2020, 2025), (2026, 2027))
ONE_FILE = frozenset({"pruning_visit", "node_tally", "vine_harvest"})
"""Kinds of which a site keeps one tally for all its seasons."""
US_UNITS = frozenset({"places/planting_zennavar.csv", "zennavar/2016/pruned_vine_contract_crew.csv"})
DECIMAL_COMMA = frozenset({"vellowick/2018/pruned_vine_spreadsheet.csv"})
AS_WORKBOOK = frozenset({"vellowick/2026/maturity_sample.csv"})
"""Tallies that come as the workbook that `vinebook form` wrote, filled in."""
OWN_FILE = {
    ("pruned_vine", "zennavar", 2016): "zennavar/2016/pruned_vine_contract_crew.csv",
    ("pruned_vine", "vellowick", 2018): "vellowick/2018/pruned_vine_spreadsheet.csv",
}
WITHOUT_SEASON = frozenset(
    {
        ("vellowick", "load"),
        ("vellowick", "pruned_vine"),
        ("vellowick", "cluster_lot"),
        ("zennavar", "shoot_tally"),
        ("zennavar", "cluster_tally"),
        ("zennavar", "pruned_vine"),
        ("zennavar", "vine_harvest"),
    }
)
"""Site and kind of the tallies in which the date alone gives the season."""


def path_of(kind: str, site: str, season: int) -> str:
    """Give the file that rows of a kind, site and season are handed in with."""
    if (kind, site, season) in OWN_FILE:
        return OWN_FILE[kind, site, season]
    if kind in ONE_FILE:
        return f"{site}/{kind}.csv"
    first, last = next(period for period in PERIODS if period[0] <= season <= period[1])
    years = f"{first}-{last}" if last <= 2025 else str(first)
    return f"{site}/{years}/{kind}.csv"


@dataclass
class Tallies:
    """Tally files in the making: for each path its kind and rows."""

    files: dict[str, tuple[str, list[dict[str, Cell]]]] = field(default_factory=dict)

    def add(self, path: str, kind: str, /, **cells: Cell | None) -> None:
        """Add a row to a file; cells that are None stay empty.

        Parameters
        ----------
        path : file below the folder of the tallies.
        kind : kind of record, the same for the whole file.
        cells : cells by name of field; measures as decimal text in the metric unit of the heading.
        """
        known, rows = self.files.setdefault(path, (kind, []))
        if known != kind:
            message = f"{path} holds {known}, not {kind}"
            raise ValueError(message)
        rows.append({name: cell for name, cell in cells.items() if cell is not None})

    def add_seasonal(self, kind: str, site: str, season: int, /, **cells: Cell | None) -> None:
        """Add a row to the file of its kind, site and season; the season column stands where the crew writes one."""
        if (site, kind) not in WITHOUT_SEASON:
            cells["season"] = season
        self.add(path_of(kind, site, season), kind, **cells)

    def write(self, folder: Path) -> list[Path]:
        """Write every file below a folder and give their paths, sorted."""
        paths = []
        for path in sorted(self.files):
            kind, rows = self.files[path]
            target = folder / path
            target.parent.mkdir(parents=True, exist_ok=True)
            if path in AS_WORKBOOK:
                target = target.with_suffix(".xlsx")
                target.write_bytes(workbook_of(kind, rows))
            else:
                target.write_bytes(text_of(path, kind, rows).encode())
            paths.append(target)
        return paths


def workbook_of(kind: str, rows: list[dict[str, Cell]]) -> bytes:
    """Give a form of a kind as a workbook, with rows filled in."""
    texts = [{name: str(cell) for name, cell in row.items()} for row in rows]
    return form_workbook([KINDS[kind]], rows={kind: texts})


def text_of(path: str, kind: str, rows: list[dict[str, Cell]]) -> str:
    """Give the text of a tally file: columns in the order of the form, those without a cell left out."""
    units = "us" if path in US_UNITS else "metric"
    has_comma = path in DECIMAL_COMMA
    used = {name for row in rows for name in row}
    fields = [column for column in tally_fields(KINDS[kind]) if column.name in used]
    unknown = used - {column.name for column in fields}
    if unknown:
        message = f"{kind} has no {', '.join(sorted(unknown))}"
        raise ValueError(message)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=";" if has_comma else ",", lineterminator="\r\n" if has_comma else "\n")
    writer.writerow([heading(column, units) for column in fields])
    for row in rows:
        cells = []
        for column in fields:
            cell = str(row.get(column.name, ""))
            if cell and column.type in ("measure", "number", "ticket"):
                cell = in_us_unit(cell, column.us) if units == "us" else cell
                cell = cell.replace(".", ",") if has_comma else cell
            cells.append(cell)
        writer.writerow(cells)
    return ("\ufeff" if has_comma else "") + text.getvalue()


def in_us_unit(cell: str, unit: str) -> str:
    """Give a metric cell as a crew with a US scale or tape would have read it."""
    if unit == "lb":
        return f"{float(cell) / float(POUND_KG):.1f}"
    if unit == "ft":
        return f"{float(cell) / float(FOOT_M):.2f}".rstrip("0").rstrip(".")
    return cell
