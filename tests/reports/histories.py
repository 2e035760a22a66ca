"""Invented block histories for the tests of reports: seeded, and none of a real place."""

from __future__ import annotations

import datetime as dt
import math
import random
from dataclasses import replace

from tests.reports import beside
from vinebook.seasons.catalogue import FIGURES
from vinebook.seasons.model import (
    Band,
    BlockHistory,
    CensusFacts,
    EventFacts,
    Figure,
    PlantingFacts,
    RelatedBlock,
    TrainingFacts,
    VineyardFacts,
    VisitFacts,
)

SEAL = "3f9a0c17d2b84e6655aa01c9e7f3b2d8c4056b7a9e1f20318d4c6b5a79e0f1d2"
RATIO_BAND = Band(
    4.0,
    10.0,
    "Kliewer & Dokoozlian 2005, single canopy; Thompson Seedless, Tokay, Chenin blanc, Cabernet Sauvignon, California",
    "Kliewer & Dokoozlian 2005",
)
WOOD_BAND = Band(
    0.5,
    1.0,
    "Kliewer & Dokoozlian 2005, single canopy, per metre of canopy; California",
    "Kliewer & Dokoozlian 2005",
)
OWN_BAND = Band(9.0, 12.0, "the block's own target, set in 2019 by the grower", "own target")
FEWER = "fewer vines than shown to suffice"
YOUNG = "fruit of young vines is in it (7 % of the vines)"


class Builder:
    """Makes the figures of one block, season by season, from a seeded model of a vine."""

    def __init__(self, code: str, seed: int) -> None:
        self.code = code
        self.random = random.Random(seed)  # noqa: S311 - a seeded generator of invented figures
        self.figures: list[Figure] = []

    def add(self, name: str, season: int, value: float | None, cv: float | None = None, **more: object) -> None:
        kind = FIGURES[name]
        low = high = level = None
        if value is not None and cv is not None:
            low, high, level = value * math.exp(-2.1 * cv), value * math.exp(2.1 * cv), 95.0
        base = Figure(self.code, season, name, value, kind.unit, kind.per, low, high, level)
        self.figures.append(replace(base, **more))  # type: ignore[arg-type]

    def season(  # noqa: PLR0915 - a statement for each figure
        self,
        season: int,
        *,
        frost: bool = False,
        no_wood: bool = False,
        is_last: bool = False,
        few: bool = False,
        by_hand: bool = False,
        young: bool = False,
    ) -> None:
        rnd = self.random
        chosen = "hand_picked" if by_hand else "panels"
        cv = None if by_hand else (0.09 if few else 0.045)
        note = FEWER if few else ""
        n = 6 if few else 23
        nodes = rnd.gauss(24, 1.6)
        shoots = nodes * rnd.gauss(1.06, 0.04)
        clusters = shoots * (0.7 if frost else rnd.gauss(1.55, 0.08))
        weight = rnd.gauss(128, 10)
        per_vine = clusters * weight / 1000
        bearing = 4310 - 12 * (season % 100)
        crop = per_vine * bearing / 1000
        wood = rnd.gauss(0.66, 0.05) + (0.12 if frost else 0)
        sample = {"n": n, "chosen": chosen, "note": note}
        self.add("vines_bearing", season, bearing, chosen="all", basis=f"census of {season}-06-12, all rows")
        self.add(
            "vines_missing_share",
            season,
            100 * (4480 - bearing) / 4480,
            chosen="all",
            basis=f"census of {season}-06-12",
        )
        self.add("planted_area", season, 1.0752, chosen="all", basis="4480 positions × 2.0 m × 1.2 m")
        self.add("nodes_per_vine", season, nodes, cv, basis=f"pruned vines of {season}, pruned by the crew", **sample)
        self.add("nodes_per_m", season, nodes / 1.2, cv, basis="nodes per vine; canopy 1.2 m per vine", **sample)
        self.add("spurs_per_vine", season, nodes / 2, cv, basis=f"pruned vines of {season}", **sample)
        self.add("budbreak", season, rnd.gauss(91, 2), 0.012, basis="shoot tally before thinning", **sample)
        self.add("shoots_per_node", season, shoots / nodes, 0.02, basis="shoot tally before thinning", **sample)
        self.add("shoots_per_vine", season, shoots, cv, basis="shoot tally before thinning", **sample)
        self.add("noncount_shoot_share", season, rnd.gauss(9, 2), 0.15, basis="shoot tally before thinning", **sample)
        self.add("shoots_per_m", season, shoots * 0.88 / 1.2, cv, basis="shoot tally after thinning", **sample)
        self.add("clusters_per_vine", season, clusters, cv, basis="cluster tally", **sample)
        self.add("clusters_per_shoot", season, clusters / shoots, 0.03, basis="node tally", **sample)
        self.add(
            "cluster_weight", season, weight, 0.04, n=8, chosen="random", basis="8 lots at harvest", stage="harvest"
        )
        self.add(
            "berry_weight",
            season,
            rnd.gauss(1.32, 0.06),
            0.02,
            n=8,
            chosen="random",
            basis="8 lots at harvest",
            stage="harvest",
        )
        picked: dict[str, object] = {
            "chosen": "all",
            "basis": f"harvest closed {season}-09-28; loads weighed",
            "note": YOUNG if young else "",
        }
        if is_last:
            picked |= {"status": "partial", "note": "partial: the harvest is not closed"}
        self.add("crop", season, crop, None, **picked)
        self.add("delivered", season, crop * 0.985, None, **picked)
        self.add("yield_per_vine", season, per_vine, None, **picked)
        self.add("yield_per_ha", season, crop / 1.0752, None, **picked)
        self.add("soluble_solids", season, rnd.gauss(22.8, 0.5), chosen="all", basis="must of 3 loads, still wine")
        self.add("ph", season, rnd.gauss(3.42, 0.05), chosen="all", basis="must of 3 loads")
        self.add("titratable_acidity", season, rnd.gauss(6.4, 0.3), chosen="all", basis="must of 3 loads")
        self.add(
            "component_check",
            season,
            rnd.gauss(-3, 5),
            chosen="all",
            basis="shoots × clusters per shoot × cluster weight",
        )
        if is_last:
            status, why = "pending", f"pending: the wood of {season} is weighed at the pruning that sets {season + 1}"
        else:
            status, why = "unknown", f"unknown: the pruning that set {season + 1} weighed no wood"
        if is_last or no_wood:
            for name in ("prunings_per_vine", "prunings_per_m", "cane_weight", "yield_to_prunings"):
                self.add(name, season, None, status=status, note=why)
            return
        wood_basis = {**sample, "basis": f"pruned vines of {season + 1}; canopy of {season}, 1.2 m per vine"}
        self.add("prunings_per_vine", season, wood * 1.2, cv, **wood_basis)
        reading = "within" if cv and wood * math.exp(-2.1 * cv) > 0.5 else "not clear" if cv else "not judged"
        self.add("prunings_per_m", season, wood, cv, band=WOOD_BAND, reading=reading, **wood_basis)
        self.add("cane_weight", season, wood * 1200 / nodes, cv, **wood_basis)
        ratio = per_vine / (wood * 1.2)
        reading = (
            "not judged"
            if cv is None
            else "not clear"
            if ratio * math.exp(-2.1 * cv) < 4 < ratio
            else "below"
            if ratio < 4
            else "within"
        )
        self.add("yield_to_prunings", season, ratio, cv, band=RATIO_BAND, reading=reading, **wood_basis)

    def fruitfulness(self, season: int, bearer: str, shares: tuple[float, ...]) -> None:
        for position, mean in enumerate(shares):
            name = "basal" if position == 0 else str(position)
            value = max(0.02, self.random.gauss(mean, 0.06))
            more = {"n": 18, "chosen": "random", "basis": "node tally", "bearer": bearer, "position": name}
            self.add("clusters_per_node_at_k", season, value, 0.08, **more)
            self.add("fruitful_share_at_k", season, min(99, 60 * value), 0.06, **more)


def _block(code: str, name: str, seasons: tuple[int, ...], figures: list[Figure], **more: object) -> BlockHistory:
    first = seasons[0] if seasons else 2013
    base = BlockHistory(
        vineyard=VineyardFacts(
            name="Hollow Lane",
            hemisphere="north",
            units="metric",
            place="Alder Valley, slope to the south-west",
            grower="The Hollow Lane Growers",
            address="1 Hollow Lane, Alder Valley",
            register_numbers="reg. 0000-17",
            geographical_indication="Alder Valley",
            band_set="kliewer-dokoozlian-2005",
        ),
        code=code,
        name=name,
        row_direction_degrees=20.0,
        surveyed_area_ha=1.12,
        from_season=first,
        to_season=None,
        field_blend="",
        predecessors=(),
        successors=(),
        plantings=(PlantingFacts(first, None, "Pinot noir", "115, 777", "101-14", 2004, None, 2.0, 1.2, 4480),),
        trainings=(TrainingFacts(first, "cordon", "spur", 2, 1, "up", 1.1, 0.8, "vertical shoot positioning"),),
        censuses=(CensusFacts(dt.date(first, 6, 12), 4300, 40, 140, 4480, "full"),),
        visits=(),
        events=(),
        seasons=seasons,
        figures=tuple(figures),
        seal=SEAL,
        entries=418,
        as_of="2025-02-03T16:20:00Z",
    )
    return replace(base, **more)  # type: ignore[arg-type]


def twelve_seasons() -> BlockHistory:
    """Twelve seasons: a frost year, a year without wood, small samples, a hand-picked one, a pending last ratio."""
    build = Builder("B7", 7)
    seasons = tuple(range(2013, 2025))
    for season in seasons:
        if season == 2019:
            continue
        build.season(
            season,
            frost=season == 2017,
            no_wood=season == 2021,
            is_last=season == 2024,
            few=season in (2014, 2017),
            by_hand=season == 2015,
            young=season in (2022, 2023),
        )
    for season in (2020, 2022, 2023):
        build.fruitfulness(season, "cordon spur", (0.42, 1.32, 1.58))
    for season in (2014, 2016):
        build.fruitfulness(season, "cane", (0.12, 0.7, 1.0, 1.3, 1.45, 1.5, 1.55, 1.4, 1.42, 1.3))
    beside.add_canopy(build, (2020, 2022, 2023))
    visits = tuple(
        VisitFacts(
            season,
            dt.date(season, 1, 14),
            dt.date(season, 1, 23),
            "cane" if season < 2018 else "spur",
            24.0,
            2.0,
            "no" if season == 2022 else "yes",
            "pre-pruned by machine" if season == 2022 else "",
        )
        for season in seasons
        if season != 2019
    )
    return _block(
        "B7",
        "Long Bench",
        seasons,
        build.figures,
        trainings=(
            TrainingFacts(2013, "head", "cane", 2, 1, "up", None, 0.8, "vertical shoot positioning, two canes"),
            TrainingFacts(2018, "cordon", "spur", 2, 1, "up", 1.1, 0.8, "vertical shoot positioning"),
        ),
        censuses=(
            CensusFacts(dt.date(2013, 6, 12), 4330, 20, 130, 4480, "full"),
            CensusFacts(dt.date(2018, 6, 20), 4296, 24, 160, 4480, "sampled_rows"),
            CensusFacts(dt.date(2023, 6, 9), 4190, 110, 180, 4480, "full"),
        ),
        visits=visits,
        events=(
            EventFacts(2017, dt.date(2017, 4, 27), "frost", 60.0, "shoots of 5 cm black on the lower third"),
            EventFacts(
                2020, dt.date(2020, 8, 2), "heat", None, "five days above 38 °C; berries shrivelled on the west side"
            ),
            EventFacts(2022, dt.date(2022, 7, 11), "hail", 15.0, ""),
        ),
        predecessors=(RelatedBlock("B2", "Bench", "split"),),
        **beside.facts((2020, 2022, 2023, 2024)),
    )


def one_season() -> BlockHistory:
    """A single season whose ratio is still pending."""
    build = Builder("N1", 3)
    build.season(2024, is_last=True)
    return _block("N1", "New Piece", (2024,), build.figures)


def five_seasons() -> BlockHistory:
    """Five seasons, all complete, with a target of the block's own from the third on."""
    build = Builder("C3", 11)
    seasons = tuple(range(2020, 2025))
    for season in seasons:
        build.season(season)
    figures = [
        replace(f, band=OWN_BAND, reading="below") if f.figure == "yield_to_prunings" and f.season >= 2022 else f
        for f in build.figures
    ]
    return _block("C3", "Chapel Piece", seasons, figures)


def twentyfive_seasons() -> BlockHistory:
    """Twenty-five seasons with many events, replanted in the middle."""
    build = Builder("A1", 25)
    seasons = tuple(range(2000, 2025))
    for season in seasons:
        if season in (2010, 2011):
            continue
        build.season(season, frost=season in (2003, 2017), few=season % 5 == 0)
        build.fruitfulness(season, "cordon spur", (0.4, 1.3, 1.6))
    beside.add_canopy(build, range(2000, 2025))
    events = tuple(
        EventFacts(season, dt.date(season, 4, 20), what, 30.0, "seen after the night of the 19th")
        for season, what in (
            (2003, "frost"),
            (2004, "hail"),
            (2005, "disease"),
            (2006, "drought"),
            (2017, "frost"),
            (2018, "smoke"),
        )
    )
    return _block(
        "A1",
        "Old Orchard",
        seasons,
        build.figures,
        plantings=(
            PlantingFacts(2000, 2010, "Riesling", "", "5C", 1984, None, 2.5, 1.4, 3600),
            PlantingFacts(2011, None, "Riesling", "239", "SO4", 2011, 2019, 2.2, 1.1, 4900),
        ),
        events=events,
        **beside.facts(seasons) | {"cordon": beside.cordon(2024, arms=4, spurs=14, step_cm=6.5)},
    )


def no_seasons() -> BlockHistory:
    """A block that has been entered and nothing more."""
    return _block(
        "Z9",
        "",
        (),
        [],
        plantings=(),
        trainings=(),
        censuses=(),
        surveyed_area_ha=None,
        row_direction_degrees=None,
        vineyard=VineyardFacts("Hollow Lane", "north", "metric"),
    )


def all_pending() -> BlockHistory:
    """Three seasons of which no figure is known."""
    seasons = (2022, 2023, 2024)
    build = Builder("P4", 1)
    for season in seasons:
        for name in FIGURES:
            why = f"pending: nothing of {season} has been counted yet"
            build.add(name, season, None, status="pending", note=why)
    return _block("P4", "Waiting", seasons, build.figures)


def hostile() -> BlockHistory:
    """Names that carry markup, are sixty characters long, or hold characters the faces lack; extreme values."""
    mark = "<b>Bench</b> & <img src='file:///etc/passwd'> \"x\" {{7*7}}"
    build = Builder(mark[:24], 5)
    seasons = tuple(range(2018, 2025))
    for season in seasons:
        build.season(season, few=True, young=True)
    figures = [
        replace(f, value=55.2, low=21.0, high=144.0, reading="above")
        if f.figure == "yield_to_prunings" and f.season == 2020
        else f
        for f in build.figures
    ]
    figures = [replace(f, value=61234567.0) if f.figure == "crop" and f.season == 2021 else f for f in figures]
    figures = [replace(f, value=0.0) if f.figure == "yield_per_ha" and f.season == 2022 else f for f in figures]
    long_name = "The Uppermost Terrace behind the Chapel of the Three Poplars"
    return _block(
        mark[:24],
        long_name,
        seasons,
        figures,
        vineyard=VineyardFacts(
            mark,
            "south",
            "us",
            mark + " 漢字",
            long_name + " & Daughters",
            long_name,
            mark,
            mark,
            "kliewer-dokoozlian-2005",
        ),
        field_blend="Chenin blanc 60 %, " + mark,
        plantings=(PlantingFacts(2018, None, mark, mark, mark, 2004, 2011, 2.743, 1.829, 4480),),
        trainings=(TrainingFacts(2018, "cordon", "mixed", 4, 2, "both", 3.6, 1.5, mark + " \x07"),),
        events=(
            EventFacts(2020, dt.date(2020, 1, 5), "other", 100.0, mark * 4),
            EventFacts(2020, dt.date(2020, 2, 5), "smoke", 100.0, "W" * 120),
        ),
        visits=(VisitFacts(2018, dt.date(2017, 7, 3), None, "mixed", None, None, "", mark * 3),),
        predecessors=(RelatedBlock(mark, long_name, "merger"), RelatedBlock("B1", "", "renaming")),
        successors=(RelatedBlock("B9", mark, "split"),),
        **beside.facts((2019, 2020), mark, mark),
    )


ALL = {
    "twelve": twelve_seasons,
    "one": one_season,
    "five": five_seasons,
    "twentyfive": twentyfive_seasons,
    "none": no_seasons,
    "pending": all_pending,
    "hostile": hostile,
}
