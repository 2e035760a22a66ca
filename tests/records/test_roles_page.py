"""The guide's page of roles says what the grants say; `python -m tests.records.test_roles_page` writes it anew."""

from __future__ import annotations

from textwrap import fill

from vinebook.kinds import KINDS
from vinebook.records.grants import BOOK_TABLES, DUTIES, table_rights
from vinebook.resources import guide_folder

HEADING = "\n## Rights, table by table\n"
RENEW = "run `python -m tests.records.test_roles_page` to write it anew"


def told(table: str, duty: str) -> str:
    """Give the rights of a duty to a table in words."""
    words = []
    for verb, columns in table_rights(table, duty).items():
        words.append(f"{verb} of {', '.join(f'`{column}`' for column in columns)}" if columns else verb)
    return ", ".join(words)


def section() -> str:
    """Give the section as the grants have it: tables with the same rights together, kinds by their columns."""
    lines = [HEADING, "| tables | reader | recorder |", "|---|---|---|"]
    alike: dict[tuple[str, ...], list[str]] = {}
    for table in BOOK_TABLES:
        if table not in KINDS:
            alike.setdefault(tuple(told(table, duty) for duty in reversed(DUTIES)), []).append(table)
    for rights, tables in alike.items():
        lines.append(f"| {' '.join(f'`{name}`' for name in tables)} | {' | '.join(rights)} |")
    lines += ["| every kind of record | SELECT | SELECT, INSERT, UPDATE of the columns below |", ""]
    lines += ["Nobody has a right that is not here. A correction changes these columns, and a strike the last:", ""]
    for kind in KINDS:
        columns = ", ".join(table_rights(kind, "recorder")["UPDATE"])
        lines.append(fill(f"- **{kind}**: {columns}", 100, subsequent_indent="  ", break_long_words=False))
    return "\n".join(lines) + "\n"


def test_the_page_says_what_the_grants_say() -> None:
    page = (guide_folder() / "roles.md").read_text(encoding="utf-8")
    assert page[page.index(HEADING) :] == section(), RENEW


if __name__ == "__main__":
    place = guide_folder() / "roles.md"
    text = place.read_text(encoding="utf-8")
    place.write_text(text.partition(HEADING)[0] + section(), encoding="utf-8")
