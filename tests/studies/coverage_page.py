"""The guide's page on coverage, written from the results of the long run."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from tests.studies.coverage import ENOUGH_PERCENT, METHODS, Result, least_size, read_results
from tests.studies.forecasts import LEVELS, SAMPLING_SD, WORLDS, read_forecasts
from tests.studies.populations import LIKE_VINES
from tests.studies.precision import Bias, Realised, read_biases, read_realised
from vinebook.resources import guide_folder
from vinebook.seasons.sufficing import EVEN_CV, LEAST, METHODS_OF

if TYPE_CHECKING:
    from collections.abc import Iterable

    from tests.studies.coverage import Method
    from tests.studies.forecasts import Forecast

WIDTH = 78
CELL = 5
NAME_WIDTH = 27
SMALL = 10
SHOWN = (3, 5, 8, 10, 15, 20, 30, 50, 100)


def coverage_page() -> str:
    """Give the page as Markdown."""
    results = read_results()
    spreads = sorted(one.cv for one in LIKE_VINES)
    skews = sorted(one.skew for one in LIKE_VINES)
    used = {name for names in METHODS_OF.values() for name in names}
    worst = min(one.covers_percent for one in results if one.method in used and one.n <= SMALL)
    least = LEAST["mean"], LEAST["ratio"], LEAST["share"]
    parts = [
        "# How well the intervals hold\n",
        _text(
            "A 95 % interval should hold the truth 95 times in a hundred. Each way to an interval was tried on "
            f"{results[0].draws:,} samples for each cell below, drawn from vines whose true mean is known; the "
            "numbers are how often, in percent, the interval held it. The error of a number is about 0.2."
        ),
        _text(
            "The interval covers the drawing of vines. It does not cover miscounting, a scale that is off, or vines "
            "that were picked by hand."
        ),
        "## What follows for the figures\n",
        _text(
            f"`fewer vines than shown to suffice` stands beside an interval where n is below the least number from "
            f"which on every case tried held {ENOUGH_PERCENT:.0f} % or more. Two numbers count: one for vines that "
            f"differ as those of a block do, one for uneven vines."
        ),
        f"    {'':<26}{'like a block':>14}{'uneven':>10}",
        *(
            f"    {words:<26}{one.even:>14}{one.uneven:>10}"
            for words, one in zip(("means", "ratios on the same vines", "shares"), least, strict=True)
        ),
        "",
        _text(
            f"Like a block: spread {100 * spreads[0]:.0f} to {100 * spreads[-1]:.0f} %, skew {skews[0]:.1f} to "
            f"{skews[-1]:.1f}, which takes in the 125 vines of the grid of 1932 (Strickland). A sample counts as "
            f"uneven where its own vines differ by more than {100 * EVEN_CV:.0f} %; a share, where it lies below 5 or "
            f"above 95 %."
        ),
        _text(
            "What that leaves: a block in which a few vines stand far out (skew 2 at a spread of 40 %, say) can look "
            "even in a small sample. The rows `uneven` show what a small sample of such vines is worth: "
            f"{worst:.0f} to 93 in a hundred, not 95. Shares near 90 % whose nodes are much alike on a vine (likeness "
            "0.2) lie at 92.5 to 93."
        ),
        _text(
            "Below three seasons there is no interval over seasons. Three do: their interval is wide, and it holds. "
            "Plain t is not used for figures that cannot be negative; it stands here to show why."
        ),
    ]
    for method in METHODS:
        parts += _of_method(method, results)
    parts += _of_biases(read_biases())
    parts += _of_sizes(read_realised())
    parts += _of_forecasts(read_forecasts())
    parts += [
        "## Run it again\n",
        _text(
            "In a checkout, `python -m tests.studies.coverage` runs everything and writes this page; `tests/long.sh` "
            "does so too. The quick tests run the same cells with fewer draws and hold them to these numbers."
        ),
    ]
    return "\n".join(parts)


def _text(words: str) -> str:
    return textwrap.fill(words, WIDTH, break_on_hyphens=False, break_long_words=False) + "\n"


def _of_method(method: Method, results: Iterable[Result]) -> list[str]:
    mine = {(one.drawn_from, one.n): one for one in results if one.method == method.name}
    sizes = [n for n in method.sizes if n in SHOWN or len(method.sizes) <= 5]
    words = f"{method.words[0].upper()}{method.words[1:]}"
    used = "" if method.is_used else " (not used)"
    lines = [f"## {words}{used}\n", f"    {f'n {method.unit}':<{NAME_WIDTH}}" + "".join(f"{n:>{CELL}}" for n in sizes)]
    for group, title in ((method.like, "like a block"), (method.wild, "uneven")):
        if group:
            lines.append(f"    {title}")
        lines += [
            f"      {name:<{NAME_WIDTH - 2}}" + "".join(f"{mine[name, n].covers_percent:>{CELL}.1f}" for n in sizes)
            for name in group
        ]
    lines.append("")
    without = max(one.without_percent for one in mine.values())
    if method.is_used:
        even, uneven = (least_size(mine.values(), method.name, is_like=is_like) for is_like in (True, False))
        told = f"{ENOUGH_PERCENT:.0f} % or more from {even} on like a block, from {uneven} on where they are uneven."
        if without >= 1:
            told += f" At the smallest n up to {without:.0f} % of the samples give no interval."
        lines.append(_text(told))
    else:
        lines.append(_text("Never enough, however many: the units are alike, and that is left out."))
    return lines


def _of_biases(biases: list[Bias]) -> list[str]:
    sizes = sorted({one.n for one in biases})
    lines = [
        "## How far ratios and products lie off on average\n",
        _text(
            "In percent of the truth, for two numbers of the same vines that are lognormal with the spread named. "
            "`alike` is their correlation on the log scale."
        ),
        f"    {'n vines':<40}" + "".join(f"{n:>7}" for n in sizes),
    ]
    for name in dict.fromkeys(one.estimate for one in biases):
        for cv, likeness in dict.fromkeys((one.cv, one.likeness) for one in biases):
            of = {one.n: one for one in biases if (one.estimate, one.cv, one.likeness) == (name, cv, likeness)}
            label = f"{name}, CV {100 * cv:.0f} %, alike {likeness:g}"
            lines.append(f"    {label:<40}" + "".join(f"{round(of[n].bias_percent, 1) + 0.0:>7.1f}" for n in sizes))
    lines += [
        "",
        _text(
            "The bias of a ratio of sums goes with 1 ÷ n and is small beside its interval; that of a mean of ratios "
            "does not go away, which is why none is used. A product of two means is off only where both come from "
            "the same vines; the book multiplies means of the same vines nowhere, it divides the sums."
        ),
    ]
    return lines


def _of_sizes(sizes: list[Realised]) -> list[str]:
    lines = [
        "## Does a draw become as narrow as wanted?\n",
        _text(
            "Vines drawn by the rule of `vinebook draw --within`, from 400 positions. `wider` are samples whose "
            "interval came out wider than wanted, `by 1/4` those wider by more than a quarter; `near` are those whose "
            "mean lies within the wanted distance of the truth. The spread was known, or came from ten vines counted "
            "before."
        ),
        f"    {'spread':<8}{'wanted':>8}{'spread from':>14}{'vines':>8}{'wider':>9}{'by 1/4':>9}{'near':>9}",
        *(
            f"    {f'{100 * one.cv:.0f} %':<8}{f'±{100 * one.within:.0f} %':>8}{one.cv_from:>14}{one.vines:>8}"
            f"{f'{one.wider_percent:.0f} %':>9}{f'{one.much_wider_percent:.0f} %':>9}{f'{one.near_percent:.0f} %':>9}"
            for one in sizes
        ),
        "",
    ]
    known = [one.wider_percent for one in sizes if one.cv_from == "known"]
    lines.append(
        _text(
            f"With a known spread {min(known):.0f} to {max(known):.0f} % of the samples come out wider, most of them "
            "by a little. With a spread from ten vines some come out much wider: draw a few more than it says."
        )
    )
    return lines


def _of_forecasts(forecasts: list[Forecast]) -> list[str]:
    """Give how often the predictive interval of the growth factor held the factor that came."""
    histories = min(one.histories for one in forecasts)
    lines = [
        "## Does the forecast of the growth factor hold?\n",
        _text(
            f"{histories:,} simulated histories for each cell: blocks weighed at lag phase and harvest in so many "
            "seasons, then the factor of one of them in a new season. The interval of `vinebook crop` takes seasons "
            "as the repeats; `pooled` takes each block and season for a repeat of its own, which it is not. Numbers "
            "are how often the interval held the factor that came, in percent; `half` is its half width, the median, "
            "in percent."
        ),
    ]
    for world in WORLDS:
        lines += [
            _text(
                f"{world.name[0].upper()}{world.name[1:]}: centre {world.centre:g}, spread between seasons "
                f"{100 * world.season_sd:.0f} %, between blocks {100 * world.block_sd:.0f} %, of the rest "
                f"{100 * world.rest_sd:.0f} %; weighing {100 * SAMPLING_SD:.0f} %."
            ),
            f"    {'':<20}{'80 %':>8}{'half':>8}{'pooled':>8}{'95 %':>12}{'half':>8}{'pooled':>8}",
        ]
        mine = {(one.way, one.seasons, one.blocks, one.level): one for one in forecasts if one.world == world.name}
        for seasons, blocks in dict.fromkeys((one.seasons, one.blocks) for one in mine.values()):
            cells = []
            for level, width in ((80.0, 8), (95.0, 12)):
                own = mine["seasons as repeats", seasons, blocks, level]
                pooled = mine.get(("block-seasons pooled", seasons, blocks, level))
                told = "–" if pooled is None else f"{pooled.covers_percent:.1f}"
                half = f"±{own.half_width_percent:.0f}"
                cells.append(f"{own.covers_percent:>{width}.1f}{half:>8}{told:>8}")
            name = f"{_many(seasons, 'season')}, {_many(blocks, 'block')}"
            lines.append(f"    {name:<20}" + "".join(cells))
        lines.append("")
    lines.append(_text(_where_it_falls_short([one for one in forecasts if one.way == "seasons as repeats"])))
    return lines


def _where_it_falls_short(own: list[Forecast]) -> str:
    """Say in words what seasons that differ more than was believed do to the forecast of few of them."""
    usual, harder = (
        {
            level: [one.covers_percent for one in own if one.world == world.name and one.level == level]
            for level in LEVELS
        }
        for world in WORLDS
    )
    few = [
        one.covers_percent for one in own if one.world == WORLDS[1].name and one.level == LEVELS[0] and one.seasons < 8
    ]
    return (
        f"Where factors are as the prior has them the forecast holds what it says, with one season as with eight: "
        f"the 80 % interval at least {min(usual[80.0]):.0f}, that of 95 % at least {min(usual[95.0]):.0f} in a "
        f"hundred. Where seasons differ much "
        f"more than that, a book of one to three seasons cannot know it yet: its 80 % interval holds {min(few):.0f} to "
        f"{max(few):.0f}, its 95 % interval at least {min(harder[95.0]):.0f} in a hundred; eight seasons mend it."
    )


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def write_page() -> None:
    """Write the page into the guide."""
    (guide_folder() / "coverage.md").write_text(coverage_page(), encoding="utf-8")
