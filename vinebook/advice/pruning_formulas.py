"""Published formulas of balanced pruning, each with its own units, the vines it is for and its source.

A formula in pounds and one in 500 g are not conversions of each other (1.5 kg: 53 nodes by 30+10 per pound, 55 by 33+11
per 500 g), so each keeps the unit that it was printed with. Plain data, as Python.
"""

from __future__ import annotations

from dataclasses import dataclass

from vinebook.advice.published_band import FROM_MEMORY, VERIFIED
from vinebook.quantities import POUND_KG

POUND, HALF_KG, KG = "lb", "500 g", "kg"
UNIT_KG: dict[str, float] = {POUND: float(POUND_KG), HALF_KG: 0.5, KG: 1.0}
"""Mass of each unit that a formula counts in."""


@dataclass(frozen=True, slots=True)
class PruningFormula:
    """A formula of balanced pruning as it was published: A nodes for the first unit of prunings, B for each after it.

    Attributes
    ----------
    name : short name: "20+10/lb", "55/500g+22/kg".
    first_nodes, first_unit : A and its unit; both empty (0, "") where the formula is linear from nothing.
    later_nodes, later_unit : B and its unit.
    for_vines : type of vine or cultivar that it was given for.
    source, mark : where it was printed, and whether it was read there.
    caution : what the source adds.
    most_nodes : cap on nodes per vine that the source prints with it, None without one.
    """

    name: str
    first_nodes: float
    first_unit: str
    later_nodes: float
    later_unit: str
    for_vines: str
    source: str
    mark: str = VERIFIED
    caution: str = ""
    most_nodes: float | None = None

    @property
    def first_unit_kg(self) -> float:
        """Mass of the first unit in kg; 0 where the formula is linear from nothing."""
        return UNIT_KG.get(self.first_unit, 0.0)

    @property
    def later_unit_kg(self) -> float:
        """Mass of a later unit in kg."""
        return UNIT_KG[self.later_unit]

    @property
    def in_words(self) -> str:
        """The formula as a sentence's part: "30 nodes for the first lb, 10 for each lb after it"."""
        if not self.first_unit:
            return f"{self.later_nodes:g} nodes for each {self.later_unit}"
        return (
            f"{self.first_nodes:g} nodes for the first {self.first_unit}, "
            f"{self.later_nodes:g} for each {self.later_unit} after it"
        )


_OHIO = "Smith, Ohio State University, 2023 Grape Pruning Primer, after the Midwest Grape Production Guide"
_HOWELL = "Howell, Miller, Edson and Striegler 1991, American Journal of Enology and Viticulture 42: 191-198"
_MORRIS = "Morris and Cawthon 1984, Journal of the American Society for Horticultural Science 109: 676-683"
_NORTON = "Morris and Main 2010, American Journal of Enology and Viticulture 61: 445-450"
_BATES = "Bates et al. 2021, American Journal of Enology and Viticulture 72(1), from p. 1"
_LIDER = "Lider, Kasimatis and Kliewer 1975, American Journal of Enology and Viticulture 26: 175-178"
_KELLER = "Wines & Vines, June 2017, p. 58, reporting M. Keller"
_CORNELL = "Jordan, Pool, Zabadal and Tomkins 1981, Cornell Miscellaneous Bulletin 111"


def _per_pound(
    first: float, later: float, for_vines: str, source: str, *, mark: str = VERIFIED, caution: str = ""
) -> PruningFormula:
    name = f"{first:g}+{later:g}/lb"
    return PruningFormula(name, first, POUND, later, POUND, for_vines, source, mark=mark, caution=caution)


_ALL = (
    _per_pound(20, 20, "vinifera and newer hybrids", _OHIO),
    _per_pound(20, 10, "French hybrids", _OHIO, caution="with cluster thinning"),
    _per_pound(
        30,
        10,
        "American and seedless table grapes",
        f"{_OHIO}; West Virginia Department of Agriculture, Growing Grapes in West Virginia, p. 14, for most cultivars",
    ),
    _per_pound(15, 15, "Vignoles, Michigan, seven years; the authors proposed it", _HOWELL),
    _per_pound(25, 25, "Vignoles, Michigan, seven years; a treatment of the trial", _HOWELL),
    _per_pound(50, 10, "Concord, Arkansas, on a divided canopy with six-node units", _MORRIS),
    _per_pound(60, 10, "Norton, Arkansas; more nodes and fruit, same must", _NORTON),
    _per_pound(
        70,
        10,
        "Concord, Arkansas; a treatment of the trial",
        _MORRIS,
        caution="quality was not acceptable by the last year",
    ),
    PruningFormula("33+11/500g", 33, HALF_KG, 11, HALF_KG, "Concord, New York", _BATES),
    PruningFormula("66+11/500g", 66, HALF_KG, 11, HALF_KG, "Concord, New York; a treatment of the trial", _BATES),
    PruningFormula("55/500g+22/kg", 55, HALF_KG, 22, KG, "Concord", _KELLER),
    PruningFormula("9/kg", 0, "", 9, KG, "Thompson Seedless, California, five years; a treatment of the trial", _LIDER),
    PruningFormula("15/kg", 0, "", 15, KG, "Thompson Seedless, California, five years", _LIDER),
    PruningFormula(
        "22/kg", 0, "", 22, KG, "Thompson Seedless, California, five years; a treatment of the trial", _LIDER
    ),
    _per_pound(40, 10, "Fredonia", _CORNELL, mark=FROM_MEMORY),
    _per_pound(25, 10, "Niagara, Delaware, Catawba", _CORNELL, mark=FROM_MEMORY),
    _per_pound(10, 10, "Vidal, Aurore, Chelois", _CORNELL, mark=FROM_MEMORY),
)
FORMULAS: dict[str, PruningFormula] = {one.name: one for one in _ALL}
"""Every published formula by name."""
BY_TYPE = ("20+20/lb", "20+10/lb", "30+10/lb")
"""Those that Ohio State gives by type of vine; shown side by side where none was named and none fits by cultivar."""
TYPES = {
    "vinifera": "20+20/lb",
    "newer hybrid": "20+20/lb",
    "French hybrid": "20+10/lb",
    "American": "30+10/lb",
    "seedless table": "30+10/lb",
}
"""The formula that Ohio State gives for each type of vine."""

_CULTIVARS: dict[str, tuple[str, ...]] = {
    "20+20/lb": (
        "Albariño", "Barbera", "Blaufränkisch", "Cabernet Franc", "Cabernet Sauvignon", "Carignan", "Carignane",
        "Chardonnay", "Chenin blanc", "Cinsaut", "Colombard", "Gamay", "Gewürztraminer", "Grenache",
        "Grüner Veltliner", "Malbec", "Marsanne", "Merlot", "Mourvèdre", "Müller-Thurgau", "Muscat blanc", "Nebbiolo",
        "Petit Manseng", "Petit Verdot", "Pinot blanc", "Pinot gris", "Pinot meunier", "Pinot noir", "Pinotage",
        "Riesling", "Roussanne", "Sangiovese", "Sauvignon blanc", "Semillon", "Sémillon", "Shiraz", "Silvaner",
        "Syrah", "Tannat", "Tempranillo", "Touriga Nacional", "Verdejo", "Vermentino", "Viognier", "Zinfandel",
    ),
    "20+10/lb": (
        "Foch", "Maréchal Foch", "Léon Millot", "Seyval", "Seyval blanc", "De Chaunac", "Chancellor", "Chambourcin",
        "Ives", "Elvira", "Dutchess",
    ),
    "30+10/lb": ("Concord",),
    "40+10/lb": ("Fredonia",),
    "25+10/lb": ("Niagara", "Delaware", "Catawba"),
    "10+10/lb": ("Vidal", "Vidal blanc", "Aurore", "Chelois"),
    "15+15/lb": ("Vignoles",),
    "60+10/lb": ("Norton", "Cynthiana"),
}  # fmt: skip
_BY_CULTIVAR = {cultivar.casefold(): name for name, cultivars in _CULTIVARS.items() for cultivar in cultivars}
"""Which formula is looked at first for a cultivar: vinifera by common knowledge, others by Cornell, from memory."""


def formula_for(cultivar: str) -> PruningFormula | None:
    """Give the formula that is looked at first for a cultivar, None where none is known to fit.

    Parameters
    ----------
    cultivar : the cultivar as the planting has it.
    """
    name = _BY_CULTIVAR.get(cultivar.strip().casefold())
    return None if name is None else FORMULAS[name]
