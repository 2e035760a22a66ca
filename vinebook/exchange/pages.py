"""The guide's page of each kind, written from its definition, and the page that lists them by the season."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from typing import TYPE_CHECKING

from vinebook.exchange.forms import ACCEPTED
from vinebook.kinds import KINDS, LOADED_KINDS, SAMPLE
from vinebook.kinds.examples import EXAMPLES
from vinebook.kinds.field import HEAVIEST_MG, Bars, Needs, OneOfWhere
from vinebook.kinds.form import own_fields, parent_columns, sample_fields
from vinebook.records.shown import shown_value

if TYPE_CHECKING:
    from collections.abc import Iterable

    from vinebook.kinds.field import Field, Kind, Rule

PREFIX = "kind-"
INDEX = "kinds.md"
WIDTH = 78
"""Columns of a page, so that it is read as it is on a terminal."""
DATED = {
    "dormant": "A date from August on (north), or from May on (south), belongs to the next year's season.",
    "growing": "A date belongs to the season of its calendar year; in the south, from June on, to the next year's.",
}
BY_SEASON: dict[str, tuple[str, ...]] = {
    "Once, and when it changes": (
        "vineyard",
        "block",
        "predecessor",
        "row",
        "planting",
        "training",
        "certification",
        "consignee",
        "target_band",
    ),
    "Winter": ("vine_census", "bud_sample", "decision", "pruning_visit", "pruned_vine"),
    "Spring": ("growth_stage", "shoot_tally", "bearer", "node_tally"),
    "Summer": (
        "canopy_work",
        "cluster_tally",
        "canopy_probe",
        "leaf_area",
        "cluster_lot",
        "crop_estimate",
        "event",
    ),
    "Harvest": ("maturity_sample", "vine_harvest", "load", "load_part", "harvest_close"),
    "At any time": ("draw", "drawn_vine", "silence"),
}
"""Every kind at the part of the year in which a grower first meets it."""
CUTTING = frozenset({"pruning_visit", "pruned_vine", "bud_sample", "canopy_work", "cluster_lot", "vine_harvest"})
"""Kinds whose rows come of work with shears, blades or powered tools."""
CARE = (
    "Shears, blades and powered tools are for those who have been shown how: cut away from the hand, glove and goggles "
    "on, powered tools off and locked while walking. `vinebook guide tallies` tells what else to mind in the row."
)


def page_of(kind: Kind) -> str:
    """Give the guide's page of a kind, as Markdown.

    Parameters
    ----------
    kind : a kind that has a tally.
    """
    needed = {
        rule.field for rule in kind.rules if isinstance(rule, Needs) and kind.field(rule.when).default in rule.values
    }
    parts = [f"# {kind.name}: {kind.one_row}\n"]
    parts.append(_filled(f"Its key, as `vinebook list {kind.name}` prints it, joined by /: {' / '.join(_key(kind))}."))
    if kind.superseded:
        parts.append("\nA wrong one is superseded by its correction, never amended.")
    if kind.part:
        parts.append(f"\n{_filled(DATED[kind.part])}")
    if kind.sampled:
        parts.append("\n## The sample\n\nRows that share these columns make a sample.\n")
        parts += _columns(sample_fields(kind), set())
        parts.append("\n## Each row\n")
    else:
        parts.append("\n## Columns\n")
    parts += _columns(own_fields(kind), needed)
    rules = (*(SAMPLE.rules if kind.sampled else ()), *kind.rules)
    if rules:
        parts.append("\n## What must hold within a row\n")
        parts += _rules(rules)
    if kind.name in CUTTING:
        parts.append(f"\n## Sharp tools\n\n{_filled(CARE)}")
    parts.append(f"\n## An example\n\n```\n{EXAMPLES[kind.name]}```\n")
    parts.append(
        _filled(
            f"`vinebook form {kind.name} -o FILE` writes the headings; "
            f"`vinebook add {kind.name} --help` tells how one row is typed in."
        )
    )
    return "\n".join(parts) + "\n"


def _key(kind: Kind) -> list[str]:
    """Give what a key is made of, the key of a named record in its place."""
    parts: list[str] = []
    for name in kind.key:
        if name == "sample":
            parts += KINDS["sample"].key
        else:
            field = kind.field(name)
            parts += [each.name for each in parent_columns(field)] if field.type == "ref" else [name]
    return parts


def _columns(fields: Iterable[Field], needed: set[str]) -> list[str]:
    """Give each column as an item: those that must be filled first."""
    held = list(fields)
    must = [field for field in held if field.required or field.name in needed]
    may = [field for field in held if field not in must]
    groups = [
        "\n".join([f"{title}\n", *map(_column, group)])
        for title, group in (("Must be filled:", must), ("May stay empty:", may))
        if group
    ]
    return ["\n\n".join(groups)]


def _column(field: Field) -> str:
    told = [field.help, *([takes] if (takes := _takes(field)) else [])]
    if field.default not in (None, ""):
        told.append(f"Empty means {field.default}.")
    return _item(f"**{field.name}**{_unit(field)}: {' '.join(told)}")


def _unit(field: Field) -> str:
    if not field.metric:
        return ""
    return f" [{field.metric}]" if field.metric == field.us else f" [{field.metric}] or [{field.us}]"


def _takes(field: Field) -> str:
    """Give in words what a column takes, with its range."""
    match field.type:
        case "choice":
            words = f"One of: {', '.join(f'`{word}`' for word in field.choices)}"
        case "measure" | "ticket":
            words = "Number"
        case "ref":
            words = f"Key of a {field.refers.replace('_', ' ')}"
        case "date":
            words = "Date such as 2024-06-12"
        case _:
            words = ACCEPTED.get(field.type, "")
            words = words[:1].upper() + words[1:]
    told = ", ".join(part for part in (words, *_ranges(field)) if part)
    return f"{told}." if told else ""


def _ranges(field: Field) -> list[str]:
    parts = []
    # A mass that no sample has is a limit of the table's, and nobody would write a negative count.
    high = None if field.high == HEAVIEST_MG else field.high
    if field.low is not None and high is not None:
        parts.append(_span(field, field.low, high))
    elif field.low is not None:
        parts.append("" if field.type == "count" and not field.low else f"{_bound(field, field.low)} or more")
    elif high is not None:
        parts.append(f"{_bound(field, high)} or less")
    if field.usual is not None:
        parts.append(f"usually {_span(field, *field.usual)}")
    return parts


def _number(field: Field, bound: float) -> str:
    return f"{shown_value(field, bound, 'metric') if field.type == 'measure' else bound:g}"


def _bound(field: Field, bound: float) -> str:
    return f"{_number(field, bound)} {field.metric if field.type == 'measure' else ''}".strip()


def _span(field: Field, low: float, high: float) -> str:
    return f"{_number(field, low)} to {_bound(field, high)}"


def _rules(rules: Iterable[Rule]) -> list[str]:
    """Give what must hold, one item for each reason with all the columns that it is about."""
    fields: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for rule in rules:
        if isinstance(rule, Needs | Bars | OneOfWhere):
            where = f" where `{rule.when}` is {' or '.join(f'`{value}`' for value in rule.values)}"
            group = (rule.why, _state(rule), where)
            fields[group].append(rule.field)
            continue
        parts = ("when", "field", "total", "part", "rest", "limit", "count")
        names = [name for part in parts if isinstance(name := getattr(rule, part, None), str)]
        fields[rule.why, "", ""] += [*names, *getattr(rule, "fields", ()), *getattr(rule, "parts", ())]
    return [
        _item(f"{why[0].upper()}{why[1:]}: {_listed(names)}{f' {state}' if state else ''}{where}.")
        for (why, state, where), names in sorted(fields.items())
    ]


def _state(rule: Needs | Bars | OneOfWhere) -> str:
    if isinstance(rule, OneOfWhere):
        return f"one of {', '.join(rule.accepted)}"
    return "filled" if isinstance(rule, Needs) else "empty or 0"


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in dict.fromkeys(names))


def _filled(words: str, indent: str = "") -> str:
    return textwrap.fill(words, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def _item(words: str) -> str:
    return _filled(f"- {words}", "  ")


def kinds_page() -> str:
    """Give the page that lists every kind by the season, as Markdown."""
    parts = ["# The kinds of record, by the season\n"]
    parts.append(
        _filled(
            "Every tally holds one kind. `vinebook guide kind-NAME` explains its columns with an example, "
            "`vinebook form NAME` gives its headings. Three kinds are enough to begin with: vineyard, block and "
            "planting; all others may come later, in any order."
        )
    )
    for title, names in BY_SEASON.items():
        parts.append(f"\n## {title}\n")
        parts += [_item(f"**{name}**: {KINDS[name].one_row}") for name in names]
    return "\n".join(parts) + "\n"


def kind_pages() -> dict[str, str]:
    """Give every kind's page by the name of its file."""
    return {f"{PREFIX}{name}.md": page_of(KINDS[name]) for name in LOADED_KINDS}
