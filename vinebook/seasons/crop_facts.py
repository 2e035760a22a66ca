"""From the book to what an estimate of the crop rests on: counts as they stood on a day, seasons that are over."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vinebook.errors import WordsError
from vinebook.records.nearest import one_of
from vinebook.seasons.columns import NO_DATE
from vinebook.seasons.crop_dates import bloom_days, disturbances, stages_read
from vinebook.seasons.crop_measured import measured_at, weight_of_crop
from vinebook.seasons.crop_model import CropCounts, CropFacts, Measured, Moment, PastSeason
from vinebook.seasons.crop_moments import EVER, moments_of_book
from vinebook.seasons.figures import date_of
from vinebook.seasons.gathered import gather
from vinebook.seasons.harvest import read_closes
from vinebook.seasons.measures import (
    STAGES,
    N,
    cluster_tally_measures,
    pruned_vine_measures,
    sum_lots,
    sum_rows,
    vine_harvest_measures,
)
from vinebook.seasons.places import days_of, read_spans, stand_of
from vinebook.seasons.samples import (
    SAME_COUNT_DAYS,
    WHOLE_SEASON_DAYS,
    choose,
    giving,
    lines_of,
    moments_of,
)
from vinebook.seasons.told import estimates_given

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from sqlalchemy import Connection

    from vinebook.seasons.gathered import Gathered
    from vinebook.seasons.measures import Aggregates
    from vinebook.seasons.samples import Samples

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

G_OF_MG = 1e-3
KG_PER_T = 1000.0
SEASONS_SPAN = 10_000
ENDLESS = 10**9
"""Places of a part, so that a forecast takes no finite population correction."""


@dataclass(slots=True)
class _Asked:
    """The moments asked for, as arrays: block index, season, day and cell; the census in force in each."""

    block: Ints
    season: Ints
    day: Ints
    cell: Ints
    census: Ints


class CropBook:
    """A book as estimates of the crop see it.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    """

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.gathered: Gathered = gather(connection, None, None)
        samples = self.gathered.samples
        self.sums: dict[str, Aggregates] = {
            "cluster_tally": sum_rows(connection, "cluster_tally", cluster_tally_measures(), samples),
            "vine_harvest": sum_rows(connection, "vine_harvest", vine_harvest_measures(), samples),
            "pruned_vine": sum_rows(connection, "pruned_vine", pruned_vine_measures(), samples),
            "cluster_lot": sum_lots(connection, samples)[0],
        }
        blocks = self.gathered.blocks
        self.cultivars = read_spans(connection, blocks, "planting", ("cultivar",))
        # A forecast is of vines that nobody counted: no finite population correction, nor within parts.
        parts = {
            at: {name: (bearing, ENDLESS) for name, (bearing, _) in lines.items()}
            for at, lines in self.gathered.censuses.parts.items()
        }
        self.endless = replace(self.gathered.censuses, parts=parts)
        self.disturbances = disturbances(connection, blocks.index_of)
        self.bloom, self.set = stages_read(connection, blocks.index_of)
        self.bloom_days = bloom_days(connection, blocks.index_of)
        closes = read_closes(connection, blocks, None)
        self.closed = dict(
            zip(zip(closes.block.tolist(), closes.season.tolist(), strict=True), closes.day.tolist(), strict=True)
        )

    def index(self, code: str) -> int:
        """Give the index of a block.

        Raises
        ------
        WordsError : there is none of that code.
        """
        codes = self.gathered.blocks.code
        if code not in codes:
            raise WordsError(f"no block {code!r} is in the book", one_of(code, codes))
        return codes.index(code)

    def counts_at(self, block: Ints, season: Ints, day: Ints) -> list[CropCounts]:
        """Give the counts of blocks and seasons as they stood on a day.

        Parameters
        ----------
        block, season, day : indices of blocks, harvest years, days since 1970; seasons that have a cell.
        """
        asked = self._asked(block, season, day)
        after = self._measured("cluster_tally", "clusters", asked, after=True)
        before = self._measured("cluster_tally", "clusters", asked, after=False)
        nodes = self._measured("pruned_vine", "nodes", asked)
        weights = {stage: self._weights(stage, asked) for stage in STAGES}
        vines = self._vines(asked)
        cultivar = self.cultivars.words("cultivar", self.cultivars.in_force(block, season))
        areas = self.gathered.planted_area_ha[asked.cell]
        told = []
        for at, (of, year, until) in enumerate(zip(block.tolist(), season.tolist(), day.tolist(), strict=True)):
            key = (of, year)
            here = {stage: found for stage, each in weights.items() if (found := each[at]) is not None}
            told.append(
                CropCounts(
                    self.gathered.blocks.code[of],
                    year,
                    date_of(until),
                    str(cultivar[at]),
                    self._region(of),
                    vines[at],
                    after[at] or before[at],
                    after[at] is not None,
                    nodes[at],
                    here,
                    {stage: days for stage in here if (days := self._days(key, stage, here[stage])) is not None},
                    _by(self.bloom.get(key), until),
                    _by(self.set.get(key), until),
                    tuple(self.disturbances.get(key, ())),
                    self._picking_on(asked.cell[at]),
                    date_of(self.closed[key]) if key in self.closed else None,
                    _number(areas[at]),
                )
            )
        return told

    def past(self) -> tuple[PastSeason, ...]:
        """Give every season of every block that has a harvest, a weight or a count to tell."""
        cells = self.gathered.cells
        at = np.flatnonzero(~cells.is_beyond)
        block, season = cells.block[at], cells.season[at]
        first = self.gathered.crops.first_day[at]
        counts = self.counts_at(block, season, np.full(len(at), EVER))
        at_harvest = np.where((first == NO_DATE) | (first > EVER), EVER, first)
        stands = self._vines(self._asked(block, season, at_harvest))
        found = (self._past(cell, each, vines) for cell, each, vines in zip(at.tolist(), counts, stands, strict=True))
        return tuple(each for each in found if each is not None)

    def _past(self, cell: int, counts: CropCounts, vines: Measured | None) -> PastSeason | None:
        crops = self.gathered.crops
        whole = bool(crops.is_whole[cell])
        crop_t = float(crops.crop_kg[cell]) / KG_PER_T if whole else None
        by_machine = bool(crops.by_machine[cell])
        weight, from_crop = counts.weights.get("harvest"), False
        if weight is None and crop_t and not by_machine and vines is not None and counts.clusters is not None:
            weight, from_crop = weight_of_crop(counts, vines, crop_t), True
        if crop_t is None and weight is None and counts.clusters is None and counts.nodes is None:
            return None
        early = {stage: weight for stage, weight in counts.weights.items() if stage != "harvest"}
        return PastSeason(
            counts.block,
            counts.season,
            counts.cultivar,
            counts.region,
            crop_t,
            float(crops.picked_kg[cell]) / KG_PER_T if whole else None,
            counts.closed_on,
            counts.picking_on,
            by_machine,
            weight,
            from_crop,
            early,
            counts.days_after_bloom,
            counts.clusters,
            counts.nodes,
        )

    def moments(self, codes: Sequence[str]) -> tuple[list[Moment], list[CropCounts]]:
        """Give the moments of seasons that are over on which an estimate could have been made, and what stood then.

        At bud break the day of the first count of shoots, at set that of the latest count of clusters, both before any
        lot was weighed; at later stages the day of their lots, those of harvest up to the first load.

        Parameters
        ----------
        codes : blocks; none takes all.
        """
        wanted = {self.index(code) for code in codes} if codes else set(range(len(self.gathered.blocks.code)))
        found = moments_of_book(self.gathered, self.sums, wanted)
        arrays = np.array([each[:3] for each in found], dtype=np.int64).reshape(-1, 3).T
        counts = self.counts_at(*arrays)
        told = [Moment(c.block, c.season, c.on, stage) for c, (*_, stage) in zip(counts, found, strict=True)]
        return told, counts

    def _asked(self, block: Ints, season: Ints, day: Ints) -> _Asked:
        gathered = self.gathered
        cell = gathered.cells.at(block, season)
        view = replace(
            gathered,
            cells=replace(gathered.cells, block=block, season=season),
            vines_from=gathered.vines_from[cell],
            vines_to=gathered.vines_to[cell],
        )
        census, is_later = view.census_on(day)
        # A census taken later was not in the book on that day.
        return _Asked(block, season, day, cell, np.where(is_later, -1, census))

    def _seen(self, kind: str, asked: _Asked, records: Ints) -> Samples:
        """Give the samples that each moment can see; a sample that several see is there for each of them."""
        samples = self.gathered.samples
        mine = samples.of(kind)
        mine = mine[np.isin(samples.record[mine], records)]
        key = samples.block[mine] * SEASONS_SPAN + samples.season[mine]
        order = np.argsort(key, kind="stable")
        mine, key = mine[order], key[order]
        wanted = asked.block * SEASONS_SPAN + asked.season
        first, last = np.searchsorted(key, wanted, "left"), np.searchsorted(key, wanted, "right")
        size = last - first
        moment = np.repeat(np.arange(len(wanted)), size)
        within = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
        at = mine[np.repeat(first, size) + within]
        seen = samples.day[at] <= asked.day[moment]
        at, moment = at[seen], moment[seen]
        return replace(
            samples,
            record=samples.record[at],
            block=samples.block[at],
            season=samples.season[at],
            kind=samples.kind[at],
            day=samples.day[at],
            part=samples.part[at],
            is_after=samples.is_after[at],
            chosen=samples.chosen[at],
            panel_size=samples.panel_size[at],
            cell=moment,
        )

    def _measured(
        self,
        kind: str,
        name: str,
        asked: _Asked,
        *,
        after: bool | None = None,
        lines: Ints | None = None,
        scale: float = 1.0,
    ) -> list[Measured | None]:
        sums = self.sums[kind]
        lines = np.arange(len(sums.sample)) if lines is None else lines
        cells = len(asked.block)
        samples = self._seen(kind, asked, sums.sample[lines])
        candidates = np.arange(len(samples.record))
        if after is not None:
            candidates = candidates[samples.is_after == after]
        found, used = lines_of(samples.record[candidates], sums.sample, lines)
        days = WHOLE_SEASON_DAYS if kind == "pruned_vine" else SAME_COUNT_DAYS
        usable = giving(samples, candidates, found, sums.sums[name][used, N], cells)
        choice = choose(samples, usable, cells, days)
        endless = np.full(cells, np.nan)
        moments = moments_of(samples, choice, sums, name, endless, self.endless, asked.census, lines)
        unit = "lot" if kind == "cluster_lot" else "vine"
        return [measured_at(moments, choice, at, unit, scale) for at in range(cells)]

    def _weights(self, stage: str, asked: _Asked) -> list[Measured | None]:
        lots = self.sums["cluster_lot"]
        lines = np.flatnonzero(lots.extra[:, 0] == STAGES.index(stage))
        weighed = self._measured("cluster_lot", "cluster", asked, lines=lines, scale=G_OF_MG)
        if stage != "harvest":
            return weighed
        alone = self._measured("vine_harvest", "cluster", asked, scale=G_OF_MG)
        return [of_lots or of_vines for of_lots, of_vines in zip(weighed, alone, strict=True)]

    def _vines(self, asked: _Asked) -> list[Measured | None]:
        stand = stand_of(self.gathered.censuses, asked.census, self.gathered.positions[asked.cell])
        told: list[Measured | None] = []
        for at, census in enumerate(asked.census.tolist()):
            bearing = float(stand.bearing[at])
            if census < 0 or not np.isfinite(bearing):
                told.append(None)
                continue
            on = date_of(int(self.gathered.censuses.day[census]))
            if not stand.is_sampled[at]:
                told.append(Measured(bearing, 0.0, None, 0, "", on))
                continue
            se = float(stand.bearing_se[at])
            known = bool(np.isfinite(se))
            told.append(
                Measured(
                    bearing,
                    se if known else None,
                    float(stand.bearing_df[at]) if known else None,
                    int(stand.rows[at]),
                    "row",
                    on,
                )
            )
        return told

    def _region(self, block: int) -> str:
        return "south" if self.gathered.blocks.is_south[block] else "north"

    def _picking_on(self, cell: int) -> dt.date | None:
        first, loads = int(self.gathered.crops.first_day[cell]), int(self.gathered.crops.loads[cell])
        return date_of(first) if loads else None

    def _days(self, key: tuple[int, int], stage: str, weight: Measured) -> int | None:
        told = self.bloom_days.get((*key, stage, weight.on))
        if told is not None:
            return told
        bloom = self.bloom.get(key)
        return None if bloom is None else (weight.on - bloom).days


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _by(on: dt.date | None, day: int) -> dt.date | None:
    """Give a date that was known by a day, else None."""
    return on if on is not None and on <= date_of(day) else None


def today() -> dt.date:
    """Give the day on which an estimate is made where none is named."""
    return dt.datetime.now().astimezone().date()


def crop_facts(connection: Connection, code: str, season: int, on: dt.date) -> tuple[CropBook, CropFacts]:
    """Gather what an estimate of a block and season rests on, and the book for what else it may need.

    Parameters
    ----------
    connection : a connection with one read snapshot.
    code : of the block.
    season : harvest year.
    on : day of the estimate; counts of later days are not looked at.

    Raises
    ------
    WordsError : no such block, or nothing of it lies near that season.
    """
    book = CropBook(connection)
    block = book.index(code)
    cells, blocks = book.gathered.cells, book.gathered.blocks
    if season > blocks.to_season[block]:
        raise WordsError(f"{code} ended with {blocks.to_season[block]}", "the blocks that came after it have its vines")
    if cells.at(np.array([block]), np.array([season]))[0] < 0:
        if cells.last[block] < cells.first[block]:
            raise WordsError(f"nothing of {code} was counted or picked yet", "load a vine_census and a cluster_tally")
        near = f"{cells.first[block]} to {cells.last[block] + 1}"
        raise WordsError(
            f"nothing of {code} in the book lies near season {season}", f"seasons that it tells of: {near}"
        )
    counts = book.counts_at(np.array([block]), np.array([season]), days_of([on]))[0]
    past = book.past()
    outcome = next((one for one in past if (one.block, one.season) == (code, season) and one.closed_on), None)
    given = estimates_given(connection, int(blocks.record[block]), season)
    later = min((year for of, year in book.closed if of == block and year > season), default=None)
    return book, CropFacts(counts, past, given, outcome, later)
