"""The setting of the demo: two invented sites, their blocks, and what happened there. Every name is made up."""

from __future__ import annotations

from dataclasses import replace

from demo.ground import (
    BUSH,
    CORDON,
    FIRST_SEASON,
    FOOT_M,
    FOUR_CANES,
    LAST_HARVEST,
    ONE_METRE_CANES,
    STEPS,
    TODAY,
    TWO_CANES,
    TWO_CURTAINS,
    WIDE_CORDON,
    Block,
    Parcel,
    Site,
    System,
)

__all__ = [
    "BLOCKS",
    "BLOCK_OF",
    "CONSIGNEES",
    "FIRST_SEASON",
    "LAST_HARVEST",
    "PARCELS",
    "PREDECESSORS",
    "SITES",
    "TODAY",
    "Block",
    "Parcel",
    "Site",
    "System",
]

SITES = {
    "vellowick": Site(
        "vellowick",
        "Vellowick Terraces",
        "north",
        "Upper Vellow valley, North Mark of Estery",
        "Vellowick & Zennavar Growers",
        "1 Terrace Lane, Vellowick, Estery",
        "EST-004417",
        "Vellow Valley",
        "Vellow Bridge scale",
        ("AK", "JR", "12"),
    ),
    "zennavar": Site(
        "zennavar",
        "Zennavar Flats",
        "south",
        "Zennavar plain, Southmark of Ombrey",
        "Vellowick & Zennavar Growers",
        "Flats Road, Zennavar, Ombrey",
        "OMB-21-0093",
        "",
        "Pimquell weighbridge",
        ("TN", "LO", "7"),
    ),
}
CONSIGNEES = (
    ("Orvasket Cellars", "Wharf Street 9, Orvasket, Estery", "EST-W-118"),
    ("Hollin Press House", "Mill Yard, Vellowick, Estery", "EST-W-204"),
    ("Pimquell Wine Works", "Pimquell, Ombrey", "OMB-W-51"),
)

PARCELS = {
    "V1": Parcel(
        site="vellowick", cultivar="Riesling", clone="RG-3, RG-8", rootstock="5 BB", year_planted=1996,
        row_spacing_m=2.0, vine_spacing_m=1.2, first_row=1, last_row=18, positions=78, vines_per_panel=6,
        systems=((1996, TWO_CANES),),
        clusters_per_shoot=1.62, cluster_g=118, prunings_kg_per_m=0.42,
        frost_exposure=0.15, deaths=0.006, deaths_growth=1.17, replant_every=0,
    ),
    "V2": Parcel(
        site="vellowick", cultivar="Cabernet Franc", clone="CF-2", rootstock="SO 4", year_planted=1999,
        row_spacing_m=2.2, vine_spacing_m=1.5, first_row=1, last_row=16, positions=64, vines_per_panel=4,
        systems=((1999, CORDON), (2020, replace(TWO_CANES, cordon_length_m=1.4, nodes_to_keep=18, nodes_per_cane=7))),
        clusters_per_shoot=1.75, cluster_g=112, prunings_kg_per_m=0.41, spur_fruitfulness=0.72,
        frost_exposure=0.45,
    ),
    "V3": Parcel(
        site="vellowick", cultivar="Pinot noir", clone="PN-7", rootstock="3309 C", year_planted=2004,
        row_spacing_m=2.0, vine_spacing_m=1.0, first_row=1, last_row=14, positions=90, vines_per_panel=6,
        systems=((2004, ONE_METRE_CANES),),
        clusters_per_shoot=1.55, cluster_g=88, prunings_kg_per_m=0.31,
        frost_exposure=0.3,
    ),
    "V4": Parcel(
        site="vellowick", cultivar="Cabernet Sauvignon", clone="CS-1", rootstock="SO 4", year_planted=2001,
        row_spacing_m=3.4, vine_spacing_m=1.8, first_row=1, last_row=12, positions=60, vines_per_panel=4,
        systems=((2001, TWO_CURTAINS),),
        clusters_per_shoot=1.55, cluster_g=112, prunings_kg_per_m=0.35,
        frost_exposure=0.1,
    ),
    "V5 old": Parcel(
        site="vellowick", cultivar="Merlot", clone="", rootstock="SO 4", year_planted=1984,
        row_spacing_m=2.2, vine_spacing_m=1.4, first_row=1, last_row=15, positions=66, vines_per_panel=5,
        systems=((1984, CORDON),),
        clusters_per_shoot=1.5, cluster_g=108, prunings_kg_per_m=0.29,
        frost_exposure=0.75, deaths=0.03, replant_every=0, to_season=2018,
    ),
    "V5 new": Parcel(
        site="vellowick", cultivar="Chardonnay", clone="CH-4", rootstock="3309 C", year_planted=2019,
        row_spacing_m=2.2, vine_spacing_m=1.1, first_row=1, last_row=15, positions=84, vines_per_panel=6,
        systems=((2019, replace(TWO_CANES, cordon_length_m=1.0)),),
        clusters_per_shoot=1.5, cluster_g=122, prunings_kg_per_m=0.38,
        frost_exposure=0.75, deaths=0.006,
    ),
    "V6 upper": Parcel(
        site="vellowick", cultivar="Sauvignon blanc", clone="SB-1", rootstock="SO 4", year_planted=2003,
        row_spacing_m=2.2, vine_spacing_m=1.4, first_row=1, last_row=13, positions=72, vines_per_panel=6,
        systems=((2003, CORDON),),
        clusters_per_shoot=1.5, cluster_g=108, prunings_kg_per_m=0.36,
        frost_exposure=0.3,
    ),
    "V6 lower": Parcel(
        site="vellowick", cultivar="Sauvignon blanc", clone="SB-1", rootstock="SO 4", year_planted=2003,
        row_spacing_m=2.2, vine_spacing_m=1.4, first_row=14, last_row=24, positions=72, vines_per_panel=6,
        systems=((2003, CORDON), (2020, replace(CORDON, nodes_to_keep=22))),
        clusters_per_shoot=1.5, cluster_g=116, prunings_kg_per_m=0.60,
        frost_exposure=0.8,
    ),
    "Z1": Parcel(
        site="zennavar", cultivar="Syrah", clone="SY-12", rootstock="1103 P", year_planted=1998,
        row_spacing_m=9 * FOOT_M, vine_spacing_m=6 * FOOT_M, first_row=1, last_row=16, positions=75,
        vines_per_panel=5,
        systems=((1998, WIDE_CORDON),),
        clusters_per_shoot=1.55, cluster_g=132, prunings_kg_per_m=0.45,
    ),
    "Z2": Parcel(
        site="zennavar", cultivar="Cabernet Sauvignon", clone="CS-9", rootstock="1103 P", year_planted=2000,
        row_spacing_m=9 * FOOT_M, vine_spacing_m=5 * FOOT_M, first_row=1, last_row=20, positions=80,
        vines_per_panel=5,
        systems=((2000, replace(WIDE_CORDON, cordon_length_m=1.45, nodes_to_keep=20)),),
        clusters_per_shoot=1.6, cluster_g=104, prunings_kg_per_m=0.33,
    ),
    "Z3": Parcel(
        site="zennavar", cultivar="Sauvignon blanc", clone="SB-6", rootstock="Schwarzmann", year_planted=2006,
        row_spacing_m=8 * FOOT_M, vine_spacing_m=6 * FOOT_M, first_row=1, last_row=18, positions=70,
        vines_per_panel=5,
        systems=((2006, FOUR_CANES),),
        clusters_per_shoot=1.5, cluster_g=115, prunings_kg_per_m=0.56,
    ),
    "Z4": Parcel(
        site="zennavar", cultivar="Grenache", clone="", rootstock="", year_planted=1961,
        row_spacing_m=8 * FOOT_M, vine_spacing_m=5 * FOOT_M, first_row=1, last_row=11, positions=60,
        vines_per_panel=6,
        systems=((1961, BUSH),),
        clusters_per_shoot=1.3, cluster_g=185, prunings_kg_per_m=0.30,
        deaths=0.008, replant_every=5,
    ),
    "Z5": Parcel(
        site="zennavar", cultivar="Chardonnay", clone="CH-1", rootstock="Schwarzmann", year_planted=2008,
        row_spacing_m=8 * FOOT_M, vine_spacing_m=5 * FOOT_M, first_row=1, last_row=14, positions=72,
        vines_per_panel=6,
        systems=((2008, replace(TWO_CANES, cordon_length_m=1.4, nodes_to_keep=20, nodes_per_cane=8)),),
        clusters_per_shoot=1.5, cluster_g=126, prunings_kg_per_m=0.42,
    ),
    "V7": Parcel(
        site="vellowick", cultivar="Pinot gris", clone="PG-2", rootstock="SO 4", year_planted=2002,
        row_spacing_m=2.2, vine_spacing_m=1.2, first_row=1, last_row=8, positions=60, vines_per_panel=5,
        systems=((2002, replace(STEPS, nodes_to_keep=16)), (2021, STEPS)),
        clusters_per_shoot=1.5, cluster_g=98, prunings_kg_per_m=0.33,
        frost_exposure=0.25,
    ),
    "V8": Parcel(
        site="vellowick", cultivar="Pinot gris", clone="PG-2", rootstock="SO 4", year_planted=2002,
        row_spacing_m=2.2, vine_spacing_m=1.2, first_row=9, last_row=12, positions=60, vines_per_panel=5,
        systems=((2002, replace(STEPS, nodes_to_keep=20)), (2021, STEPS)),
        clusters_per_shoot=1.5, cluster_g=106, prunings_kg_per_m=0.52,
        frost_exposure=0.4,
    ),
    "P1": Parcel(
        site="vellowick", cultivar="Riesling", clone="RG-3", rootstock="5 BB", year_planted=2007,
        row_spacing_m=2.0, vine_spacing_m=1.1, first_row=1, last_row=7, positions=64, vines_per_panel=4,
        systems=((2007, replace(TWO_CANES, cordon_length_m=1.0)),),
        clusters_per_shoot=1.6, cluster_g=112, prunings_kg_per_m=0.4,
        frost_exposure=0.1,
    ),
}  # fmt: skip

BLOCKS = (
    Block(
        code="V1", site="vellowick", name="Long Bank", row_direction=12, surveyed_area_ha=0.34,
        from_season=1996, parcels=((1996, 9999, "V1"),),
        chosen="random", picked="hand", consignee="Orvasket Cellars", harvest_day=18, brix=20.5,
    ),
    Block(
        code="V2", site="vellowick", name="Kiln Field", row_direction=90, surveyed_area_ha=0.35,
        from_season=1999, parcels=((1999, 9999, "V2"),),
        chosen="panels", picked="hand", consignee="Hollin Press House", harvest_day=14, brix=22.6,
    ),
    Block(
        code="V3", site="vellowick", name="Upper Kiln", row_direction=90, surveyed_area_ha=None,
        from_season=2004, parcels=((2004, 9999, "V3"),),
        chosen="random", picked="hand", consignee="Hollin Press House", harvest_day=0, brix=22.1,
    ),
    Block(
        code="V4", site="vellowick", name="Beacon Curtains", row_direction=5, surveyed_area_ha=0.46,
        from_season=2001, parcels=((2001, 9999, "V4"),),
        chosen="panels", picked="hand", consignee="Orvasket Cellars", harvest_day=24, brix=22.8,
    ),
    Block(
        code="V5", site="vellowick", name="Dry Ford", row_direction=350, surveyed_area_ha=0.31,
        from_season=1984, parcels=((1984, 2018, "V5 old"), (2019, 9999, "V5 new")),
        chosen="random", picked="hand", consignee="Orvasket Cellars", harvest_day=5, brix=21.8,
    ),
    Block(
        code="V6", site="vellowick", name="Hollow Piece", row_direction=40, surveyed_area_ha=0.55,
        from_season=2003, to_season=2019, parcels=((2003, 2019, "V6 upper"), (2003, 2019, "V6 lower")),
        chosen="random", picked="machine", consignee="Orvasket Cellars", harvest_day=3, brix=20.8,
    ),
    Block(
        code="V6A", site="vellowick", name="Hollow Piece, upper", row_direction=40, surveyed_area_ha=0.29,
        from_season=2020, parcels=((2020, 9999, "V6 upper"),),
        chosen="random", picked="machine", consignee="Orvasket Cellars", harvest_day=3, brix=21.1,
    ),
    Block(
        code="V6B", site="vellowick", name="Hollow Piece, lower", row_direction=40, surveyed_area_ha=0.26,
        from_season=2020, parcels=((2020, 9999, "V6 lower"),),
        chosen="random", picked="machine", consignee="Orvasket Cellars", harvest_day=4, brix=20.4,
    ),
    Block(
        code="Z1", site="zennavar", name="Bore Paddock", row_direction=0, surveyed_area_ha=0.62,
        from_season=1998, parcels=((1998, 9999, "Z1"),),
        chosen="panels", picked="machine", consignee="Pimquell Wine Works", harvest_day=20, brix=23.6,
    ),
    Block(
        code="Z2", site="zennavar", name="Stone Line", row_direction=0, surveyed_area_ha=0.67,
        from_season=2000, parcels=((2000, 9999, "Z2"),),
        chosen="every_kth", picked="machine", consignee="Pimquell Wine Works", harvest_day=30, brix=23.9,
    ),
    Block(
        code="Z3", site="zennavar", name="Windmill", row_direction=100, surveyed_area_ha=0.57,
        from_season=2006, parcels=((2006, 9999, "Z3"),),
        chosen="random", picked="machine", consignee="Pimquell Wine Works", harvest_day=8, brix=21.5,
    ),
    Block(
        code="Z4", site="zennavar", name="Old Bushes", row_direction=0, surveyed_area_ha=None,
        from_season=1961, parcels=((1961, 9999, "Z4"),),
        chosen="random", picked="hand", consignee="Pimquell Wine Works", harvest_day=26, brix=24.8,
    ),
    Block(
        code="Z5", site="zennavar", name="Near Channel", row_direction=100, surveyed_area_ha=0.38,
        from_season=2008, parcels=((2008, 9999, "Z5"),),
        chosen="panels", picked="hand", consignee="Pimquell Wine Works", harvest_day=0, brix=20.2,
    ),
    Block(
        code="V7", site="vellowick", name="Steps, east", row_direction=75, surveyed_area_ha=0.13,
        from_season=2002, to_season=2020, parcels=((2002, 2020, "V7"),), own_trailers=True,
        chosen="random", picked="hand", consignee="Hollin Press House", harvest_day=7, brix=22.0,
    ),
    Block(
        code="V8", site="vellowick", name="Steps, west", row_direction=75, surveyed_area_ha=0.07,
        from_season=2002, to_season=2020, parcels=((2002, 2020, "V8"),), own_trailers=True,
        chosen="random", picked="hand", consignee="Hollin Press House", harvest_day=9, brix=21.6,
    ),
    Block(
        code="V78", site="vellowick", name="The Steps", row_direction=75, surveyed_area_ha=0.2,
        from_season=2021, parcels=((2021, 9999, "V7"), (2021, 9999, "V8")), own_trailers=True, machine_from=2024,
        chosen="random", picked="hand", consignee="Hollin Press House", harvest_day=8, brix=21.9,
    ),
    Block(
        code="P1", site="vellowick", name="Pond Piece", row_direction=12, surveyed_area_ha=0.1,
        from_season=2007, to_season=2018, parcels=((2007, 2018, "P1"),), own_trailers=True,
        chosen="random", picked="hand", consignee="Orvasket Cellars", harvest_day=16, brix=20.8,
    ),
    Block(
        code="V9", site="vellowick", name="Pond Piece", row_direction=12, surveyed_area_ha=0.1,
        from_season=2019, parcels=((2019, 9999, "P1"),), own_trailers=True,
        chosen="random", picked="hand", consignee="Orvasket Cellars", harvest_day=16, brix=20.8,
    ),
)  # fmt: skip
BLOCK_OF = {block.code: block for block in BLOCKS}
PREDECESSORS = (
    ("V6A", "V6", "split"),
    ("V6B", "V6", "split"),
    ("V78", "V7", "merger"),
    ("V78", "V8", "merger"),
    ("V9", "P1", "renaming"),
)
