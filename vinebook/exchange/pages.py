"""The guide's page of each kind, written from its definition."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.exchange.forms import accepted
from vinebook.kinds import KINDS, LOADED_KINDS
from vinebook.kinds.examples import EXAMPLES
from vinebook.kinds.field import Needs
from vinebook.kinds.form import heading, own_fields, sample_fields

if TYPE_CHECKING:
    from vinebook.kinds.field import Field, Kind, Rule

PREFIX = "kind-"
PER_KG = 1_000_000


def _bound(field: Field, bound: float) -> str:
    return f"{bound / PER_KG:g} kg" if field.stored == "mg" else f"{bound:g} {field.stored}".strip()


def _range(field: Field) -> str:
    parts = []
    if field.low is not None and field.high is not None:
        parts.append(f"{_bound(field, field.low)} to {_bound(field, field.high)}")
    elif field.low is not None:
        parts.append(f"{_bound(field, field.low)} or more")
    elif field.high is not None:
        parts.append(f"{_bound(field, field.high)} or less")
    if field.usual is not None:
        parts.append(f"usually {_bound(field, field.usual[0])} to {_bound(field, field.usual[1])}")
    return "; ".join(parts)


def _row(field: Field, needed: bool) -> str:
    empty = "refused" if needed else f"`{field.default}`" if field.default not in (None, "") else "stays empty"
    words = accepted(field).replace("|", "/")
    name = heading(field) if field.metric == field.us else f"{heading(field)} / [{field.us}]"
    return f"| {name} | {field.help} | {words} | {_range(field)} | {empty} |"


def page_of(kind: Kind) -> str:
    """Give the guide's page of a kind, as Markdown.

    Parameters
    ----------
    kind : a kind that has a tally.
    """
    needed = {
        rule.field for rule in kind.rules if isinstance(rule, Needs) and kind.field(rule.when).default in rule.values
    }
    head = "| heading | is | takes | range | empty |\n|---|---|---|---|---|"
    parts = [f"# {kind.name}: {kind.one_row}\n"]
    parts.append(f"Its key, as `vinebook list {kind.name}` prints it: {', '.join(kind.key)}.")
    if kind.superseded:
        parts.append("A wrong one is superseded by its correction, never amended.")
    if kind.sampled:
        parts.append(f"\n## The sample\n\nRows that share these columns make a sample.\n\n{head}")
        parts += [_row(field, field.required) for field in sample_fields(kind)]
        parts.append("\n## Each row\n")
    else:
        parts.append("\n## Columns\n")
    parts.append(head)
    parts += [_row(field, field.required or field.name in needed) for field in own_fields(kind)]
    why = sorted({f"- {_told(rule)}" for rule in kind.rules})
    if why:
        parts.append("\n## What must hold within a row\n")
        parts += why
    parts.append(f"\n## An example\n\n```\n{EXAMPLES[kind.name]}```")
    return "\n".join(parts) + "\n"


def _told(rule: Rule) -> str:
    names = [
        name for part in ("field", "total", "limit", "count") if isinstance(name := getattr(rule, part, None), str)
    ]
    names += list(getattr(rule, "fields", ())) + list(getattr(rule, "parts", ()))
    return f"{', '.join(dict.fromkeys(names))}: {rule.why}."


def kind_pages() -> dict[str, str]:
    """Give every kind's page by the name of its file."""
    return {f"{PREFIX}{name}.md": page_of(KINDS[name]) for name in LOADED_KINDS}
