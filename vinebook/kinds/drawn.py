"""Draws of vines: what was drawn, for which figure and how, and every vine of it in walking order."""

from vinebook.kinds.field import Kind, Needs, NotAbove, choice, code, count, date, ref, season, share, text

DRAW = Kind(
    name="draw",
    one_row="a draw of vines for one figure of a block and season",
    key=("block", "season", "name"),
    fields=(
        ref("block", "Block.", required=True),
        season("season", "Season that the vines are counted in.", required=True),
        code("name", "Short name of the draw, such as 1; tallies name it in their column draw.", required=True),
        code("figure", "Figure that the vines were drawn for, as `vinebook figures` prints it.", required=True),
        choice(
            "chosen",
            "random every_kth panels",
            "How the vines were chosen: drawn at random; every k-th from a random start; panels at random.",
            required=True,
        ),
        text("parts", "Parts of the block that were drawn for themselves, each with its rows."),
        count("panel_size", "Vine positions in a panel, where panels were drawn.", low=1, usual=(2, 12)),
        count("step", "Positions from one drawn vine to the next, where every k-th was drawn.", low=1),
        count("start", "First position drawn, where every k-th was drawn.", low=1),
        count("seed", "Seed of the draw; the same seed draws the same vines again.", required=True),
        count("vines", "Vines drawn.", required=True, low=1),
        count("positions", "Vine positions in the rows that were drawn from.", required=True, low=1),
        share("within", "Half width of a 95 % interval that was wanted.", high=1000),
        share("half_width", "Half width of a 95 % interval that was expected.", high=10_000),
        share("cv", "Spread between vines that the expectation rests on, as a share of the mean.", high=10_000),
        text("cv_from", "Where that spread comes from."),
        date("drawn_on", "Day of the draw.", required=True),
        code("drawn_by", "Who drew; initials or a number will do.", required=True),
        text("note", "Anything else."),
    ),
    rules=(
        Needs("panel_size", "chosen", ("panels",), "the panel is the unit where panels were drawn"),
        Needs("step", "chosen", ("every_kth",), "every k-th was drawn"),
        Needs("start", "chosen", ("every_kth",), "every k-th was drawn"),
        NotAbove("start", "step", "the first position is one of the first k"),
    ),
)

DRAWN_VINE = Kind(
    name="drawn_vine",
    one_row="a vine position of a draw",
    key=("draw", "row", "vine"),
    fields=(
        ref("draw", "Draw.", required=True),
        count("number", "Number in walking order, from 1.", required=True, low=1),
        count("row", "Number of the row.", required=True, low=1),
        count("vine", "Position of the vine from the numbered end of its row.", required=True, low=1),
        code("part", "Part of the block (stratum); empty for the whole block.", default="all"),
        count("panel", "Number of the panel in its row, where panels were drawn.", low=1),
    ),
)
