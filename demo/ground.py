"""What the ground of the demo is told by: systems of training, parcels, blocks and sites as plain data."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

FIRST_SEASON = 2014
LAST_HARVEST = 2026
TODAY = dt.date(2026, 11, 24)
FOOT_M = 0.3048


@dataclass(frozen=True, slots=True)
class System:
    """How vines are trained and pruned, and what the crew is told to keep.

    Attributes
    ----------
    pruned : spur or cane.
    nodes_to_keep : count nodes ordered per vine of usual size.
    tolerance_nodes : nodes more or fewer that pass.
    nodes_per_spur, canes_per_vine, nodes_per_cane, renewal_spurs : the rest of the order; 0 where it does not apply.
    """

    trained: str
    arms: int
    curtains: int
    shoot_position: str
    cordon_length_m: float
    wire_height_m: float
    pruned: str
    words: str
    nodes_to_keep: int
    tolerance_nodes: int = 2
    nodes_per_spur: int = 0
    canes_per_vine: int = 0
    nodes_per_cane: int = 0
    renewal_spurs: int = 0


@dataclass(frozen=True, slots=True)
class Parcel:
    """Ground planted to one cultivar at one time; a block is one parcel or several.

    Attributes
    ----------
    clusters_per_shoot : mean of a count shoot in a usual season, cane-pruned where the cultivar cares.
    spur_fruitfulness : factor on the former where the vines are spur-pruned.
    cluster_g : cluster weight in a usual season at the usual load.
    prunings_kg_per_m : one-year-old wood per metre of canopy in a usual season.
    deaths : share of living vines that die in a year at the start; it grows by `deaths_growth` a year.
    replant_every : seasons between rounds of filling gaps, 0 for never.
    frost_exposure : 0 on the upper bank, 1 in the hollow.
    """

    site: str
    cultivar: str
    clone: str
    rootstock: str
    year_planted: int
    row_spacing_m: float
    vine_spacing_m: float
    first_row: int
    last_row: int
    positions: int
    vines_per_panel: int
    systems: tuple[tuple[int, System], ...]
    clusters_per_shoot: float
    cluster_g: float
    prunings_kg_per_m: float
    spur_fruitfulness: float = 1.0
    deaths: float = 0.004
    deaths_growth: float = 1.0
    replant_every: int = 4
    frost_exposure: float = 0.0
    to_season: int | None = None

    @property
    def rows(self) -> int:
        """Give the number of rows."""
        return self.last_row - self.first_row + 1

    def system(self, season: int) -> System:
        """Give the system in force in a season."""
        return [system for start, system in self.systems if start <= season or start == self.systems[0][0]][-1]

    def canopy_m(self, season: int) -> float:
        """Give metres of canopy of one vine."""
        return self.vine_spacing_m * self.system(season).curtains


@dataclass(frozen=True, slots=True)
class Block:
    """A block: which parcels it held in which seasons, and how the crew works it.

    Attributes
    ----------
    parcels : (first season, last season, name of the parcel in `PARCELS`).
    chosen : how its vines are usually chosen.
    picked : hand or machine, in the first seasons.
    consignee : who usually takes its fruit.
    harvest_day : days after the site's first harvest day on which it is usually picked.
    brix : soluble solids of a usual season.
    to_season : last season of the block under this code.
    machine_from : season from which a machine picks what hands picked before.
    own_trailers : whether its fruit never shares a trailer or a draw of chance with the other blocks' harvest.
    """

    code: str
    site: str
    name: str
    from_season: int
    parcels: tuple[tuple[int, int, str], ...]
    row_direction: int
    surveyed_area_ha: float | None
    chosen: str
    picked: str
    consignee: str
    harvest_day: int
    brix: float
    to_season: int | None = None
    machine_from: int = 9999
    own_trailers: bool = False

    def picked_in(self, season: int) -> str:
        """Give how the block is picked in a season."""
        return "machine" if season >= self.machine_from else self.picked

    def parcel_names(self, season: int) -> tuple[str, ...]:
        """Give the parcels that the block holds in a season."""
        return tuple(name for first, last, name in self.parcels if first <= season <= last)

    def is_standing(self, season: int) -> bool:
        """Whether the block exists under this code in a season."""
        return bool(self.parcel_names(season))


@dataclass(frozen=True, slots=True)
class Site:
    """A site of the vineyard: hemisphere, words for its papers, and its calendar."""

    key: str
    name: str
    hemisphere: str
    place: str
    grower: str
    address: str
    register_numbers: str
    geographical_indication: str
    issuer: str
    counters: tuple[str, ...]


TWO_CANES = System("head", 2, 1, "up", 1.1, 0.8, "cane", "two canes laid flat, shoots up", 16, 2, 0, 2, 6, 2)
ONE_METRE_CANES = System("head", 2, 1, "up", 0.95, 0.7, "cane", "two short canes, shoots up", 14, 2, 0, 2, 5, 2)
FOUR_CANES = System("head", 4, 1, "up", 1.7, 1.0, "cane", "four canes on two wires, shoots up", 28, 4, 0, 4, 6, 2)
CORDON = System("cordon", 2, 1, "up", 1.4, 0.9, "spur", "two-arm cordon, shoots up", 18, 2, 2)
STEPS = System("cordon", 2, 1, "up", 1.2, 0.9, "spur", "two-arm cordon, shoots up", 18, 2, 2)
WIDE_CORDON = System("cordon", 2, 1, "free", 1.75, 1.1, "spur", "two-arm cordon, shoots free", 22, 3, 2)
TWO_CURTAINS = System("cordon", 4, 2, "down", 3.6, 1.5, "spur", "two curtains, shoots down", 38, 4, 2)
BUSH = System("head", 4, 1, "free", 0.6, 0.5, "spur", "low head, no wires", 14, 2, 2)
