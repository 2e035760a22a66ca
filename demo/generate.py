"""Make the tallies of the demo, as a crew would hand them in.

The setting is invented: Vellowick Terraces in the north and Zennavar Flats in the south, thirteen blocks, harvests 2014
to 2026; today is 24 November 2026. In the north Kiln Field (V2) turned from spurs to canes for 2020, Dry Ford (V5) was
replanted for 2019, Hollow Piece (V6) was split in two for 2020, Long Bank (V1) loses vines, Beacon Curtains (V4) has
two curtains, and a frost came in April 2017. In the south no wood was weighed at the visit that set 2021. The wood of
2026 is weighed in the south; in the north only V4 was pruned before the winter. V1 was counted this summer on vines
that `vinebook draw` drew; draws for the pruning to come are in the book for V1 and V2.

    python -m demo.generate FOLDER [--seed S]

The same seed gives the same bytes. numpy is the only source of chance.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from demo.blocks import BLOCKS, PARCELS, SITES
from demo.canopy import write_canopy
from demo.dormant import write_winter
from demo.draws import write_draws
from demo.growing import write_events, write_summer
from demo.harvest import write_harvest
from demo.places import write_places
from demo.seasons import weather_of, weather_on
from demo.tallies import Tallies
from demo.vine import follow

SEED = 20261124


def generate(folder: Path, seed: int = SEED) -> list[Path]:
    """Write every tally below a folder and give their paths.

    Parameters
    ----------
    folder : made where it does not exist.
    seed : of all chance in the demo.
    """
    weather = {site: weather_of(site, seed) for site in SITES}
    local = {name: weather_on(name, weather[parcel.site], seed) for name, parcel in PARCELS.items()}
    years = {name: follow(parcel, name, local[name], seed) for name, parcel in PARCELS.items()}
    tallies = Tallies()
    write_places(tallies, years)
    write_winter(tallies, years, seed)
    write_events(tallies)
    write_summer(tallies, years, weather, local, seed)
    write_harvest(tallies, years, weather, seed)
    write_canopy(tallies, years, seed)
    write_draws(tallies, BLOCKS)
    return tallies.write(folder)


def main() -> None:
    """Read the words on the command line and write the tallies."""
    parser = argparse.ArgumentParser(description="Make the tallies of the demo.")
    parser.add_argument("folder", type=Path, help="folder for the tallies")
    parser.add_argument("--seed", type=int, default=SEED, help="seed of all chance (default %(default)s)")
    given = parser.parse_args()
    paths = generate(given.folder, given.seed)
    print(f"{len(paths)} tallies in {given.folder}")


if __name__ == "__main__":
    main()
