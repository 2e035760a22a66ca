"""The tables of a history beside its season figures: planting, training, census, visits, events, positions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.reports.marks import Notes, marks_of_column
from vinebook.reports.numbers import EN_DASH, Units, quantity, shown
from vinebook.reports.story import CURTAINS, PRUNED, SHOOTS, TRAINED
from vinebook.reports.strip import by_bearer, position_order, position_shown
from vinebook.reports.tables import (
    CROP_AND_WOOD,
    FRUIT_AND_MUST,
    VINES_AND_SHOOTS,
    Cell,
    Column,
    Ink,
    SeasonFigures,
    Table,
    align,
    season_table,
)
from vinebook.reports.words import begin_sentence, write_day, write_days

if TYPE_CHECKING:
    from vinebook.seasons.model import BlockHistory, Figure

MOST_POSITIONS = 16
COUNTED = {"full": "in full", "sampled_rows": "sampled rows"}


def season_tables(history: BlockHistory, figures: SeasonFigures, units: Units) -> list[Table]:
    """Give the tables with a row a season.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    """
    wanted = (
        ("Crop and wood", CROP_AND_WOOD),
        ("Vines, wood kept and shoots", VINES_AND_SHOOTS),
        ("Fruit and must", FRUIT_AND_MUST),
    )
    made = (
        season_table(title, wishes, figures, history.seasons, units, begun=history.from_season)
        for title, wishes in wanted
    )
    return [table for table in made if table is not None]


def planting_table(history: BlockHistory, units: Units) -> Table | None:
    """Give the plantings, oldest first; None without any.

    Parameters
    ----------
    history : the block's history.
    units : "metric" or "us".
    """
    if not history.plantings:
        return None
    columns = (
        Column("Seasons", width=1.2),
        Column("Cultivar", width=2.2),
        Column("Clone", width=1.4),
        Column("Rootstock", width=1.5),
        Column("Planted", width=1.5),
        Column("Row × vine", width=1.9),
        Column("Places", width=0.9, is_number=True),
    )
    rows = tuple(
        (
            Cell(_span(p.from_season, p.to_season)),
            Cell(p.cultivar),
            Cell(p.clone or EN_DASH),
            Cell(p.rootstock or EN_DASH),
            Cell(
                (str(p.year_planted) if p.year_planted else EN_DASH)
                + (f", grafted {p.grafted_over_in}" if p.grafted_over_in else "")
            ),
            Cell(f"{quantity(p.row_spacing_m, 'm', units)} × {quantity(p.vine_spacing_m, 'm', units)}"),
            Cell(str(p.positions)),
        )
        for p in history.plantings
    )
    return Table("Planting", columns, rows)


def training_table(history: BlockHistory, units: Units) -> Table | None:
    """Give the trainings, oldest first; None without any.

    Parameters
    ----------
    history : the block's history.
    units : "metric" or "us".
    """
    if not history.trainings:
        return None
    columns = (
        Column("From", width=0.7),
        Column("Trained", width=2.1),
        Column("Pruned", width=1.3),
        Column("Canopy", width=2.4),
        Column("Cordon", width=0.8),
        Column("Wire at", width=0.8),
        Column("Trade name", width=2.6),
    )
    rows = tuple(
        (
            Cell(str(t.from_season)),
            Cell(TRAINED.get(t.trained, t.trained) + (f", {t.arms} arms" if t.arms else "")),
            Cell(PRUNED.get(t.pruned, t.pruned)),
            Cell(
                ", ".join(
                    filter(
                        None,
                        (
                            CURTAINS.get(t.curtains, f"{t.curtains} curtains"),
                            SHOOTS.get(t.shoot_position, t.shoot_position),
                        ),
                    )
                )
            ),
            Cell(quantity(t.cordon_length_m, "m", units) if t.cordon_length_m else EN_DASH),
            Cell(quantity(t.wire_height_m, "m", units) if t.wire_height_m else EN_DASH),
            Cell(t.trade_name or EN_DASH),
        )
        for t in history.trainings
    )
    return Table("Training", columns, rows)


def census_table(history: BlockHistory) -> Table | None:
    """Give the vine censuses, oldest first; None without any.

    Parameters
    ----------
    history : the block's history.
    """
    if not history.censuses:
        return None
    columns = (
        Column("Counted on", width=2),
        Column("Bearing", is_number=True),
        Column("Young", is_number=True),
        Column("Missing", is_number=True),
        Column("Places", is_number=True),
        Column("Missing", "%", is_number=True),
        Column("How", width=2.4),
    )
    rows = tuple(
        (
            Cell(write_day(c.date)),
            Cell(str(c.bearing)),
            Cell(str(c.young)),
            Cell(str(c.missing)),
            Cell(str(c.positions)),
            Cell(f"{100 * c.missing / c.positions:.1f}" if c.positions else EN_DASH),
            Cell(COUNTED.get(c.counted, c.counted)),
        )
        for c in history.censuses
    )
    return Table("Vine census", columns, rows)


def visit_table(history: BlockHistory, figures: SeasonFigures, units: Units) -> Table | None:
    """Give the pruning visits: what was ordered beside what was kept; None without any.

    Parameters
    ----------
    history : the block's history.
    figures : its figures.
    units : "metric" or "us".
    """
    if not history.visits:
        return None
    notes = Notes()
    kept = [(f, notes.mark(f, v.season)) for v in history.visits for f in [figures.one("nodes_per_vine", v.season)]]
    left, shared = marks_of_column(kept)
    cells, reserve = align([(shown(f, units) if f else None, mark) for (f, _), mark in zip(kept, left, strict=True)])
    columns = (
        Column("Sets", width=0.8),
        Column("Days", width=2.7),
        Column("Pruned", width=1.5),
        Column("Nodes ordered", "per vine", 1.3, is_number=True),
        Column("Nodes kept", "per vine", 1.2, is_number=True, pad_pt=reserve, mark=shared),
        Column("Wood weighed", width=1.2),
        Column("Note", width=2.6),
    )
    rows = tuple(
        (
            Cell(str(v.season)),
            Cell(write_days(v.started_on, v.finished_on)),
            Cell(PRUNED.get(v.pruned, v.pruned)),
            Cell(_order(v.nodes_to_keep, v.tolerance)),
            cell,
            Cell(v.wood_weighed or EN_DASH),
            Cell(v.note),
        )
        for v, cell in zip(history.visits, cells, strict=True)
    )
    return Table("Pruning visits", columns, rows, notes=tuple(notes.lines))


def event_table(history: BlockHistory) -> Table | None:
    """Give what the seasons did to the block, oldest first; None where nothing was recorded.

    Parameters
    ----------
    history : the block's history.
    """
    if not history.events:
        return None
    columns = (
        Column("Season", width=0.8),
        Column("Date", width=1.8),
        Column("What", width=1.1),
        Column("Share hit", "%", 0.8, is_number=True),
        Column("Words", width=5.5),
    )
    rows = tuple(
        (
            Cell(str(e.season)),
            Cell(write_day(e.date)),
            Cell(begin_sentence(e.what)),
            Cell(f"{e.share_hit_percent:.0f}" if e.share_hit_percent is not None else EN_DASH),
            Cell(e.words),
        )
        for e in sorted(history.events, key=lambda e: (e.date, e.what))
    )
    return Table("Events", columns, rows)


def position_tables(history: BlockHistory, units: Units) -> list[Table]:
    """Give clusters per node by node position: a row a season, a table a kind of bearer.

    Parameters
    ----------
    history : the block's history.
    units : "metric" or "us".
    """
    return [
        _position_table(bearer, rows, units)
        for bearer, rows in by_bearer(history.figures, "clusters_per_node_at_k").items()
        if any(f.value is not None for f in rows)
    ]


def _position_table(bearer: str, figures: list[Figure], units: Units) -> Table:
    positions = sorted({f.position or "" for f in figures}, key=position_order)[:MOST_POSITIONS]
    seasons = sorted({f.season for f in figures})
    found = {(f.season, f.position): f for f in figures}
    notes = Notes()
    columns = [Column("Season")]
    cells: dict[int, list[Cell]] = {season: [Cell(str(season))] for season in seasons}
    for position in positions:
        rows_of = [
            (found.get((season, position)), notes.mark(found.get((season, position)), season)) for season in seasons
        ]
        left, shared = marks_of_column(rows_of)
        column, reserve = align(
            [(shown(figure, units) if figure else None, mark) for (figure, _), mark in zip(rows_of, left, strict=True)]
        )
        columns.append(Column(position_shown(position), is_number=True, ink="crop", pad_pt=reserve, mark=shared))
        for season, cell in zip(seasons, column, strict=True):
            cells[season].append(cell)
    rows = tuple(tuple(cells[season]) for season in seasons)
    groups: tuple[tuple[str, int, Ink], ...] = (
        ("", 1, ""),
        ("at node", len(positions), "crop"),
    )
    return Table(f"Clusters per node, {bearer}", tuple(columns), rows, groups, tuple(notes.lines))


def _span(first: int, last: int | None) -> str:
    if last is None:
        return f"from {first}"
    return str(first) if first == last else f"{first}{EN_DASH}{last}"


def _order(nodes: float | None, tolerance: float | None) -> str:
    if nodes is None:
        return EN_DASH
    return f"{nodes:g}" + (f" ± {tolerance:g}" if tolerance else "")
