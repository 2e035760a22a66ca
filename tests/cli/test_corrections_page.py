"""The recipes of the guide's page on corrections run as they stand."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from click.testing import CliRunner

from tests.desk import Desk, cluster_rows, places
from vinebook.cli import vinebook
from vinebook.kinds import LOADED_KINDS
from vinebook.resources import guide_folder

if TYPE_CHECKING:
    from pathlib import Path


def test_every_recipe_runs(sqlite_book: str, tmp_path: Path) -> None:
    desk = Desk(sqlite_book, tmp_path)
    places(desk)
    desk.load_texts(
        counts=cluster_rows([(1, 1, 10), (1, 2, 20)]),
        load="date,issuer,number,basis,net\n2023-03-01,Scale,7,net_as_given,800\n",
        wrong="block,date,what\nA1,2021-11-02,frost\n",
    )
    desk.write("mended.csv", cluster_rows([(1, 1, 10)]).replace("A1,", "A2,"))
    desk.write("right.csv", "block,date,what\nA1,2022-11-02,frost\n")
    page = (guide_folder() / "corrections.md").read_text(encoding="utf-8")
    commands = [line.strip() for line in page.splitlines() if line.startswith("    vinebook ")]
    assert len(commands) == 9
    for command in commands:
        words = [str(tmp_path / word) if word in ("mended.csv", "right.csv") else word for word in shlex.split(command)]
        if words[:3] == ["vinebook", "strike", "sample"]:
            words[3] = f"#{desk.listed('sample')[-1]['record']}"
        done = CliRunner().invoke(vinebook, ["--book", sqlite_book, "--by", "RM", *words[1:]])
        assert done.exit_code == 0, f"{command}\n{done.output}"
    assert desk.listed("load")[0]["net"] == 790
    assert desk.listed("event")[0]["block/date/what"] == "A1/2022-11-02/frost"
    # Of the first file's vines the one that was typed anew is left; the second file's went with their sample.
    assert [next(iter(row.values())).rpartition("KL/")[2] for row in desk.listed("cluster_tally")] == ["2/2"]
    assert desk.verify().differences == []


def test_the_needs_name_kinds_that_are_there() -> None:
    page = (guide_folder() / "needs.md").read_text(encoding="utf-8")
    fields = {field.name for kind in LOADED_KINDS.values() for field in kind.fields}
    named = {word for word in page.split("`")[1::2] if " " not in word}
    assert named <= {*LOADED_KINDS, *fields}
    assert {"vineyard", "block", "planting", "vine_census", "load_part", "harvest_close"} <= named
