"""Published bands by author, each with who gave it, where, and on what. They disagree: none is a constant of the trade.

Plain data, as Python: a file of another format would take longer to read than the figures it judges.
"""

from vinebook.advice.published_balance import BALANCE
from vinebook.advice.published_band import BandSet, PublishedBand
from vinebook.advice.published_canopy import CANOPY

DEFAULT = "Kliewer & Dokoozlian 2005"
"""The set that judges where neither block nor vineyard says otherwise."""
_ABOUT = {
    "Kliewer & Dokoozlian 2005": (
        "single or divided canopy; Thompson Seedless, Tokay, Chenin blanc and Cabernet Sauvignon, California"
    ),
    "White 2012": "Iowa State University, canopy management concepts; cold-climate cultivars",
    "WineSkills": "training site of Plumpton College, United Kingdom; cool climate",
    "Bordelon et al. 2008": "Traminette, Indiana",
    "Bravdo et al. 1984": "Carignane, Israel",
    "Bravdo et al. 1985": "Cabernet Sauvignon, Israel",
    "Dry et al. 2004": "review, Australia",
    "Kurtural et al. 2006": "17 eastern European cultivars, western Kentucky",
    "Bates et al. 2021": "Concord, New York",
    "Mawdsley et al. 2018": "Pinot noir, central coast of California",
    "Smart & Robinson 1991": "Sunlight into Wine; cool to warm climate, single canopy",
    "Fiola": "University of Maryland; vertically shoot-positioned and high cordon",
    "Reynolds et al. 1994": "Riesling of low to moderate vigour",
}
SETS: dict[str, BandSet] = {
    name: BandSet(name, about, (*BALANCE.get(name, ()), *CANOPY.get(name, ()))) for name, about in _ABOUT.items()
}
"""Every set of published bands by name."""

__all__ = ["DEFAULT", "SETS", "BandSet", "PublishedBand"]
