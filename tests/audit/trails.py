"""A small estate with two pruned and picked seasons behind it, for tests of decisions and trails."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.audit.deciding import Choice, decide
from vinebook.audit.trail import trail_of
from vinebook.audit.trail_ticket import trail_of_ticket

if TYPE_CHECKING:
    from tests.desk import Desk
    from vinebook.audit.deciding import Decided
    from vinebook.seasons.trail_model import DecisionTold, TicketTrail, Trail

PLACES = {
    "vineyard": "name,hemisphere,units,place,grower,address,register_numbers,geographical_indication,keep_years\n"
    "Low Terrace,north,metric,Upper Fen,R. Quill,1 Fen Lane,Q-7,Fen Hills,10\n",
    "block": "vineyard,code,name,from_season\nLow Terrace,A1,Long Bank,2015\nLow Terrace,A2,Hollow,2015\n",
    "row": "block,from_season,first_row,last_row,positions\nA1,2015,1,10,50\n",
    "planting": "block,from_season,cultivar,clone,rootstock,year_planted,row_spacing,vine_spacing,positions\n"
    "A1,2015,Grey Hen,GH-2,5 BB,2012,2.5,1.5,500\nA2,2015,Red Wing,,,2013,2.5,1.5,400\n",
    "training": "block,from_season,trained,arms,curtains,pruned\nA1,2015,cordon,2,1,spur\n",
    "census": "block,date,bearing,young,missing\nA1,2021-06-01,480,5,15\nA2,2021-06-01,390,0,10\n",
    "certification": "block,scheme,status,certificate,valid_from,valid_to\n"
    "A1,Green Leaf,in_conversion,GL-1,2021-01-01,2023-12-31\nA1,Green Leaf,certified,GL-2,2024-01-01,\n",
    "consignee": "name,address,register_numbers\nBell Lane Cellar,2 Bell Lane,R-77\nMill House,3 Mill Lane,R-78\n",
}
PRUNED = "block,date,chosen,counted_by,row,vine,nodes_on_spurs,canes_weighed,prunings [kg]\n"
LOADS = "date,issuer,number,basis,gross,tare,net,refused,refused_reason,deductions,consignee,soluble_solids,ph\n"
PARTS = "issuer,season,number,block,pick,mass,split,picked\n"


def wood(date: str, nodes: int = 20, step: float = 0.02) -> str:
    """Give ten vines as the crew pruned them on a day."""
    return PRUNED + "".join(
        f"A1,{date},random,KL,{vine},{vine},{nodes + vine % 3 - 1},14,{0.6 + step * vine:.2f}\n"
        for vine in range(1, 11)
    )


def visit(season: int, date: str, nodes: str = "20", tolerance: str = "2") -> str:
    """Give the visit that sets a season."""
    return (
        "block,season,started_on,pruned,nodes_to_keep,tolerance,wood_weighed\n"
        f"A1,{season},{date},spur,{nodes},{tolerance},yes\n"
    )


def harvest(season: int, kilograms: int) -> dict[str, str]:
    """Give two loads of a season, the second shared with A2, their parts and the close."""
    half = kilograms // 2
    return {
        f"load{season}": LOADS
        + f"{season}-09-20,Bridge,{season}-1,gross_and_tare,{half + 900},900,{half},0,,0,Bell Lane Cellar,22.5,3.4\n"
        + f"{season}-09-22,Bridge,{season}-2,gross_and_tare,{half + 1400},900,{half + 500},50,rot,10,Mill House,"
        + "23,3.5\n",
        f"part{season}": PARTS
        + f"Bridge,{season},{season}-1,A1,1,,whole,hand\n"
        + f"Bridge,{season},{season}-2,A1,2,{half},weighed,hand\nBridge,{season},{season}-2,A2,1,500,weighed,machine\n",
        f"close{season}": f"block,finished_on,fruit_left,fruit_left_by\nA1,{season}-09-25,40,weighed\n",
    }


def settle(desk: Desk) -> Desk:
    """Load the estate up to the visit that sets 2024, which weighs the wood of 2023."""
    texts = dict(PLACES)
    for season in (2022, 2023, 2024):
        texts |= {f"wood{season}": wood(f"{season}-01-12"), f"visit{season}": visit(season, f"{season}-01-11")}
    for season in (2022, 2023):
        texts |= harvest(season, 2000)
    desk.load_texts(**texts)
    return desk


def choice(**given: object) -> Choice:
    """Give a decision on nodes for 2024, with what a test says otherwise."""
    said = {
        "decides": "nodes_to_keep",
        "value": "20",
        "words": "20 nodes on spurs of two",
        "reason": "ratio within its band",
        "decided_by": "HM",
        "decided_on": "2024-01-10",
        "expect": ("yield_to_prunings", "4", "8"),
        "review_on": "2025-02-01",
        **given,
    }
    return Choice(**said)  # type: ignore[arg-type]


def decided(desk: Desk, season: int = 2024, evidence: tuple[str, ...] = (), **given: object) -> Decided:
    """Record a decision for A1."""
    return decide(desk.book, "A1", season, choice(**given), by="RQ", evidence=evidence)


def trail(desk: Desk, *codes: str, first: int | None = None, last: int | None = None) -> Trail:
    """Give the trail of blocks."""
    with desk.book.reading() as connection:
        return trail_of(connection, codes, first=first, last=last)


def only(desk: Desk) -> DecisionTold:
    """Give the only decision of the book, told."""
    [told] = trail(desk).decisions
    return told


def ticket(desk: Desk, words: str) -> TicketTrail:
    """Give the trail of a ticket."""
    with desk.book.reading() as connection:
        return trail_of_ticket(connection, words)
