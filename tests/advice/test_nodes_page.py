"""The guide's page on nodes names every formula and rule with its source."""

from __future__ import annotations

import re

from vinebook.advice.nodes_model import NodesToKeep
from vinebook.advice.pruning_formulas import FORMULAS, TYPES
from vinebook.formulas.buds import INJURY_RULES
from vinebook.resources import guide_folder

PAGE = (guide_folder() / "nodes.md").read_text(encoding="utf-8")


def test_the_page_prints_every_formula_with_its_units_and_source() -> None:
    rows = dict(re.findall(r"^\| (\S+) \| (.* nodes for .*) \|$", PAGE, re.MULTILINE))
    assert rows.keys() == FORMULAS.keys()
    for name, formula in FORMULAS.items():
        assert rows[name].startswith(f"{formula.in_words} | {formula.for_vines}")
        assert formula.source in rows[name]
        assert ("from memory" in rows[name]) == (formula.mark == "FROM MEMORY")


def test_the_page_names_every_rule_and_type_of_vine() -> None:
    assert all(f"| {rule} |" in PAGE for rule in INJURY_RULES)
    assert all(f"`{kind}`" in PAGE for kind in TYPES)


def test_the_page_names_the_keys_of_the_json() -> None:
    named = set(re.findall(r'"(\w+)":', PAGE))
    assert named - {"format"} <= set(NodesToKeep.__dataclass_fields__)
