"""The guide's page on `check`, written from the rules."""

from __future__ import annotations

from vinebook.audit.check import RULES
from vinebook.audit.check_rule import SEVERITIES, Rule

ABOUT = {
    "fault": "two records contradict one another, or a sum does not add up: one of them is wrong.",
    "doubt": "unusual, or weaker than it looks: it may be true; look at it.",
    "information": "no fault: what a reader of the figures should know.",
}

HEAD = """\
# What looks wrong

`vinebook check` reads the whole book and says what looks wrong, worst first: each finding with its row, the rule that
found it and why that matters. It changes nothing and refuses nothing: what is impossible was refused when it was
loaded, and what is unusual may still be true. It exits with 0; with `--strict` with 1 when it found something.

```
vinebook check                      the whole book
vinebook check A1 --season 2024     one block and season
vinebook check --list               the rules
vinebook check --explain old_census
```

A rule that does not apply to a block is silenced there, with the reason. The silence is a record like any other: it
stands in the journal with its reason, `vinebook list silence` shows it, and `vinebook strike silence A1/old_census
--reason ...` lifts it. Silenced findings are counted. A finding about several blocks, such as a load that is not
split, is silent only where the rule is silenced for all of them.

```
vinebook check --silence hand_picked --block A1 --reason "trial vines, chosen by the institute"
```

# The rules

"""


def explained(rule: Rule) -> list[tuple[str, str]]:
    """Give what there is to say of a rule, each with its heading."""
    told = [("looks for", rule.looks_for), ("why it matters", rule.why)]
    if rule.limits:
        told.append(("limits", rule.limits))
    if rule.source:
        told.append(("source", rule.source))
    return told


def check_page() -> str:
    """Give the guide's page on `check`, Markdown."""
    parts = [HEAD]
    for severity in SEVERITIES:
        parts.append(f"## {severity.capitalize()}\n\n{severity.capitalize()}: {ABOUT[severity]}\n\n")
        for rule in RULES.values():
            if rule.severity == severity:
                lines = "\n".join(f"- {heading}: {words}" for heading, words in explained(rule)[1:])
                parts.append(f"**{rule.name}**: {rule.looks_for}\n\n{lines}\n\n")
    return "".join(parts).rstrip() + "\n"
