"""What is said and decided: certification, estimates given to somebody, decisions with their reasons."""

from vinebook.kinds.field import (
    Kind,
    NotAbove,
    Together,
    choice,
    code,
    count,
    date,
    number,
    ref,
    season,
    text,
    ticket,
)
from vinebook.kinds.places import BANDED_FIGURES

CERTIFICATION = Kind(
    name="certification",
    one_row="the standing of a block under a scheme, from a date on",
    key=("block", "scheme", "valid_from"),
    fields=(
        ref("block", "Block.", required=True),
        code("scheme", "Name of the scheme.", required=True),
        choice("status", "certified in_conversion none", "Standing of the block.", required=True),
        code("certificate", "Number of the certificate."),
        date("valid_from", "First day.", required=True),
        date("valid_to", "Last day; empty while it stands."),
    ),
    rules=(NotAbove("valid_from", "valid_to", "a certificate ends on or after its first day"),),
)

CROP_ESTIMATE = Kind(
    name="crop_estimate",
    one_row="an estimate of the crop to come that was given to somebody",
    key=("block", "season", "date", "given_to"),
    part="growing",
    dated_by=("date",),
    superseded=True,
    fields=(
        ref("block", "Block.", required=True),
        season("season", "Harvest year; empty follows from the date."),
        date("date", "Date on which it was given.", required=True),
        code("given_to", "To whom it was given.", required=True),
        choice("stage", "bud_break set lag_phase veraison near_harvest", "Stage at which it was made.", required=True),
        text("method", "How it was worked out.", required=True),
        ticket("estimate", "Crop expected.", required=True, metric="t", us="ton"),
        ticket("low", "Lower end of its interval.", metric="t", us="ton"),
        ticket("high", "Upper end of its interval.", metric="t", us="ton"),
        number("level", "Coverage of that interval in percent.", low=0, high=100, usual=(50, 99)),
        text("inputs", "Counts and factors that it rests on."),
    ),
    rules=(
        NotAbove("low", "estimate", "the estimate lies within its interval"),
        NotAbove("estimate", "high", "the estimate lies within its interval"),
        Together(("low", "high", "level"), "an interval has two ends and a level"),
    ),
)

DECISION = Kind(
    name="decision",
    one_row="a choice for a block and season, with its reason",
    key=("block", "season", "number"),
    part="dormant",
    dated_by=("decided_on",),
    superseded=True,
    fields=(
        ref("block", "Block.", required=True),
        season("season", "Season that the decision is for; empty follows from the date."),
        count("number", "Number of the decision in that block and season.", required=True, low=1),
        date("decided_on", "Day on which it was made.", required=True),
        choice(
            "decides",
            "nodes_to_keep pruning_form spur_spacing shoot_thinning leaf_removal cluster_thinning replanting other",
            "What is decided.",
            required=True,
        ),
        number("value", "The value decided, where it is a number."),
        text("words", "The decision in words.", required=True),
        text("reason", "Why.", required=True),
        code("decided_by", "By whom; initials or a number will do.", required=True),
        choice("expected_figure", BANDED_FIGURES, "Figure by which the outcome will be judged."),
        number("expected_low", "Lower end of what is expected, in the figure's metric unit."),
        number("expected_high", "Upper end of what is expected, in the figure's metric unit."),
        date("review_on", "Day on which the outcome will be looked at."),
    ),
    rules=(
        NotAbove("expected_low", "expected_high", "an expectation runs from low to high"),
        NotAbove("decided_on", "review_on", "a decision is reviewed after it was made"),
    ),
)

SILENCE = Kind(
    name="silence",
    one_row="a rule of `check` that is silenced for a block, with the reason",
    key=("block", "rule"),
    fields=(
        ref("block", "Block.", required=True),
        code("rule", "Name of the rule, as `vinebook check --list` prints it.", required=True),
        text("reason", "Why the rule does not apply here.", required=True),
    ),
)

EVIDENCE = Kind(
    name="evidence",
    one_row="a figure as it stood when a decision was made",
    key=("decision", "item"),
    made=True,
    fields=(
        ref("decision", "Decision that it was frozen for.", required=True),
        count("item", "Number of the figure in that evidence: 1, 2, …", required=True, low=1),
        season("of_season", "Season of the figure.", required=True),
        code("figure", "Name of the figure.", required=True),
        code("bearer", "Bearer, where it applies."),
        code("position", "Node position, where it applies."),
        code("stage", "Stage, where it applies."),
        count("pick", "Pick, where it applies."),
        number("value", "Its value, in the figure's metric unit; empty where there was none."),
        number("low", "Lower end of its interval."),
        number("high", "Upper end of its interval."),
        number("level", "Coverage of that interval in percent."),
        text("unit", "Its metric unit."),
        text("per", "What one is counted on."),
        count("n", "Vines, panels, lots or picks that it rests on."),
        text("chosen", "How the vines were chosen."),
        text("basis", "What it was worked out from, in words."),
        choice("status", "known partial pending unknown", "What could be said of it.", required=True),
        text("note", "What was said with it."),
        number("band_low", "Lower limit of the band it was read against."),
        number("band_high", "Upper limit of that band."),
        text("band_name", "Short name of that band's source."),
        text("band_source", "Source of that band."),
        text("reading", "How it was read against the band.", required=True),
        text("carried_from", "Block whose rows it rests on, where it was carried over."),
        text("rows", "Kinds and permanent numbers of the rows that it rests on.", longest=50_000),
    ),
)
"""Frozen beside a decision in one step by `vinebook decide`; `rows` reads as "pruned_vine 31-45, 47; load 92"."""

GIVEN_KINDS = (CERTIFICATION, CROP_ESTIMATE, DECISION, EVIDENCE, SILENCE)
