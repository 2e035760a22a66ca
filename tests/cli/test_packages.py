"""`export` and `import` from the command line: what they say, what they refuse, and what they leave."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING

from click.testing import CliRunner

from vinebook.cli import vinebook
from vinebook.exchange.package import DESCRIPTOR

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result


def run(*words: object) -> Result:
    return CliRunner().invoke(vinebook, [str(word) for word in words], catch_exceptions=False)


def test_a_book_goes_out_and_comes_back(sqlite_book: str, tmp_path: Path) -> None:
    out = run("--book", sqlite_book, "export", tmp_path / "out")
    assert (out.exit_code, out.stdout) == (0, "")
    assert "1 entry, 0 kept files, 0 rows" in " ".join(out.stderr.split())
    back = run("--book", tmp_path / "again.db", "import", tmp_path / "out")
    assert back.exit_code == 0
    assert out.stderr.splitlines()[-1] == back.stderr.splitlines()[-1]
    assert out.stderr.splitlines()[-1].startswith("seal ")
    assert "seal" in run("--book", tmp_path / "again.db", "verify").stdout


def test_what_was_done_is_told_as_json(sqlite_book: str, tmp_path: Path) -> None:
    out = run("--book", sqlite_book, "--format", "json", "export", tmp_path / "out")
    back = run("--book", tmp_path / "again.db", "--format", "json", "import", tmp_path / "out")
    assert json.loads(out.stdout) == json.loads(back.stdout)
    assert json.loads(out.stdout)["entries"] == 1


def test_quiet_says_nothing(sqlite_book: str, tmp_path: Path) -> None:
    assert run("--book", sqlite_book, "--quiet", "export", tmp_path / "out").output == ""
    assert run("--book", tmp_path / "again.db", "--quiet", "import", tmp_path / "out").output == ""


def test_a_package_that_was_changed_is_refused_in_words(sqlite_book: str, tmp_path: Path) -> None:
    run("--book", sqlite_book, "export", tmp_path / "out")
    with (tmp_path / "out" / "data" / "book.csv").open("ab") as stream:
        stream.write(b"x")
    refused = run("--book", tmp_path / "again.db", "import", tmp_path / "out")
    assert refused.exit_code == 1
    assert f"{tmp_path}/out/data/book.csv:3: has 1 cell; expected 4 cells" in refused.stderr
    assert "nothing was stored" in refused.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book.db", "out"]


def test_what_is_in_the_way_is_told_and_stays(sqlite_book: str, tmp_path: Path) -> None:
    run("--book", sqlite_book, "export", tmp_path / "out")
    for words in (("export", tmp_path / "out"), ("import", tmp_path / "out")):
        refused = run("--book", sqlite_book, *words)
        assert refused.exit_code == 1
        assert "exists already" in refused.stderr
    shutil.rmtree(tmp_path / "out")
    refused = run("--book", tmp_path / "again.db", "import", tmp_path / "out")
    assert (refused.exit_code, "there is no folder" in refused.stderr) == (1, True)
    assert not (tmp_path / "out" / DESCRIPTOR).exists()
