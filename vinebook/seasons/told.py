"""What is told of a block beside its figures: standing, work, stages, ripening, estimates, decisions, one vine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from vinebook.quantities import UNITS_OF_DIMENSION
from vinebook.records.tables import TABLES
from vinebook.seasons.model import (
    BearerFacts,
    CertificationFacts,
    DecisionFacts,
    EstimateFacts,
    MeasuredVine,
    PassFacts,
    RipeningFacts,
    StageFacts,
)
from vinebook.seasons.places import live

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy import Connection, RowMapping

SPUR, END_OF_ARM = "spur", "end_of_arm"


def facts_beside_figures(connection: Connection, block: int) -> dict[str, Any]:
    """Give the fields of a block's history that are no figures, by their names in `BlockHistory`.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    block : permanent number of the block.
    """
    return {
        "certifications": tuple(map(_certification, _rows(connection, "certification", block, "valid_from"))),
        "passes": tuple(map(_pass, _rows(connection, "canopy_work", block, "started_on"))),
        "stages": tuple(map(_stage, _rows(connection, "growth_stage", block, "date"))),
        "ripening": tuple(map(_ripening, _rows(connection, "maturity_sample", block, "date"))),
        "estimates": tuple(map(_estimate, _rows(connection, "crop_estimate", block, "date"))),
        "decisions": tuple(map(_decision, _rows(connection, "decision", block, "season"))),
        "cordon": measured_vine(connection, block),
    }


def estimates_given(connection: Connection, block: int, season: int) -> tuple[EstimateFacts, ...]:
    """Give the estimates of a block's season that were given to somebody, oldest first.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    block, season : permanent number of the block, harvest year.
    """
    rows = _rows(connection, "crop_estimate", block, "date")
    return tuple(_estimate(row) for row in rows if row["season"] == season)


def measured_vine(connection: Connection, block: int) -> MeasuredVine | None:
    """Give the vine that stands for the latest sample of bearers: the median by its mean spur spacing.

    Vines whose arms were all measured to their ends come before others; of an even number the one below the middle
    stands, of equal ones the first by row and vine.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    block : permanent number of the block.
    """
    sample, bearer = TABLES["sample"], TABLES["bearer"]
    on_arm = (
        select(bearer.c.record)
        .where(live(bearer), bearer.c.sample == sample.c.record, bearer.c.bearer == SPUR)
        .where(bearer.c.arm.is_not(None), bearer.c.distance_m.is_not(None))
    )
    latest = (
        select(sample.c.record, sample.c.season, sample.c.date)
        .where(live(sample), sample.c.block == block, sample.c.counts == "bearer", on_arm.exists())
        .order_by(sample.c.season.desc(), sample.c.date.desc(), sample.c.record.desc())
    )
    found = connection.execute(latest.limit(1)).first()
    if found is None:
        return None
    number, season, date = found
    vines: dict[tuple[int, int], list[BearerFacts]] = {}
    statement = select(bearer).where(live(bearer), bearer.c.sample == number).order_by(bearer.c.bearer_number)
    for row in connection.execute(statement).mappings():
        vines.setdefault((row["row"], row["vine"]), []).append(_bearer(row))
    spacing = {place: mean for place, bearers in vines.items() if (mean := mean_spacing_m(bearers)) is not None}
    if not spacing:
        return None
    whole = {place: mean for place, mean in spacing.items() if _has_ends(vines[place])}
    ranked = sorted((whole or spacing).items(), key=lambda item: (item[1], item[0]))
    place = ranked[(len(ranked) - 1) // 2][0]
    return MeasuredVine(season, date, *place, len(ranked), tuple(sorted(vines[place], key=_outwards)))


def mean_spacing_m(bearers: Sequence[BearerFacts]) -> float | None:
    """Give the mean gap between the spur positions of a vine, arm by arm; None where no arm has two.

    Parameters
    ----------
    bearers : the bearers of one vine.
    """
    places: dict[int, set[float]] = {}
    for one in bearers:
        if one.what == SPUR and one.arm and one.distance_m is not None:
            places.setdefault(one.arm, set()).add(one.distance_m)
    gaps = sum(len(on_arm) - 1 for on_arm in places.values())
    return sum(max(on_arm) - min(on_arm) for on_arm in places.values()) / gaps if gaps else None


def _has_ends(bearers: list[BearerFacts]) -> bool:
    return {b.arm for b in bearers if b.what == END_OF_ARM} >= {b.arm for b in bearers if b.what == SPUR and b.arm}


def _outwards(bearer: BearerFacts) -> tuple[int, float, bool]:
    return (bearer.arm, bearer.distance_m or 0.0, bearer.what == END_OF_ARM)


def _rows(connection: Connection, kind: str, block: int, order: str) -> Sequence[RowMapping]:
    table = TABLES[kind]
    statement = select(table).where(live(table), table.c.block == block).order_by(table.c[order], table.c.record)
    return connection.execute(statement).mappings().all()


def _certification(row: RowMapping) -> CertificationFacts:
    return CertificationFacts(
        row["scheme"], row["status"], row["certificate"] or "", row["valid_from"], row["valid_to"]
    )


def _pass(row: RowMapping) -> PassFacts:
    return PassFacts(
        season=row["season"],
        work=row["work"],
        started_on=row["started_on"],
        finished_on=row["finished_on"],
        side=row["side"] or "",
        extent=row["extent"] or "",
        done_by=row["done_by"] or "",
    )


def _stage(row: RowMapping) -> StageFacts:
    return StageFacts(row["season"], row["date"], row["scale"], row["code"], row["share_percent"])


def _ripening(row: RowMapping) -> RipeningFacts:
    return RipeningFacts(
        row["season"], row["date"], row["soluble_solids_brix"], row["ph"], row["titratable_acidity_g_per_l"]
    )


def _estimate(row: RowMapping) -> EstimateFacts:
    to_t = float(UNITS_OF_DIMENSION["mass"][row["mass_unit"]] / 1_000_000)

    def tonnes(name: str) -> float | None:
        return None if row[name] is None else row[name] * to_t

    return EstimateFacts(
        season=row["season"],
        date=row["date"],
        given_to=row["given_to"],
        stage=row["stage"],
        method=row["method"],
        estimate_t=row["estimate_milli"] * to_t,
        low_t=tonnes("low_milli"),
        high_t=tonnes("high_milli"),
        level=row["level"],
    )


def _decision(row: RowMapping) -> DecisionFacts:
    return DecisionFacts(
        season=row["season"],
        number=row["number"],
        decided_on=row["decided_on"],
        decides=row["decides"],
        value=row["value"],
        words=row["words"],
        reason=row["reason"],
        decided_by=row["decided_by"],
        expected_figure=row["expected_figure"] or "",
        expected_low=row["expected_low"],
        expected_high=row["expected_high"],
        review_on=row["review_on"],
    )


def _bearer(row: RowMapping) -> BearerFacts:
    return BearerFacts(
        what=row["bearer"],
        arm=row["arm"] or 0,
        distance_m=row["distance_m"],
        nodes=row["nodes"],
        count_shoots=row["count_shoots"],
        double_shoots=row["double_shoots"],
        noncount_shoots=row["noncount_shoots"],
    )
