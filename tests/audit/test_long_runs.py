"""The long runs of tests/long in small."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.long.killing import kill
from tests.long.tampering import tamper
from tests.long.verifying import measure

if TYPE_CHECKING:
    from pathlib import Path


def test_every_change_behind_the_journals_back_is_named(tmp_path: Path) -> None:
    done = tamper(tmp_path, 60, seed=7)
    assert done.unnamed == []
    assert sum(done.named.values()) == 60


def test_a_killed_step_leaves_all_of_it_or_nothing(tmp_path: Path) -> None:
    done = kill(tmp_path, 5, seed=3)
    assert sum(done.values()) == 10


def test_verify_of_many_vines_holds_little_memory(tmp_path: Path) -> None:
    _, _, peak_mib = measure(tmp_path, 20_000, 40, 2)
    # Nothing of a book of this size is worth holding; the program itself takes most of it.
    assert peak_mib < 120
