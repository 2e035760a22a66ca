"""A press: the same bytes and the same errors as in one's own process, and nothing left behind."""

from __future__ import annotations

import gc
import os
import signal
import subprocess
import sys
import time
import weakref
from dataclasses import replace
from pathlib import Path
from typing import cast

import pytest

from vinebook.errors import ReportError
from vinebook.reports.archive import Enclosure
from vinebook.reports.press import Press, PressEndedError
from vinebook.reports.presses import Presses
from vinebook.reports.render import LaidPage, Page, print_page

TOP = Path(__file__).resolve().parents[2]
PLAIN = Page('<html lang="en"><head><title>Plain</title></head><body><h1>Plain</h1></body></html>')
OUTSIDE = Page(
    '<html lang="en"><head><title>x</title></head><body><img src="file:///etc/hostname" alt="x"></body></html>'
)
NOT_A_PAGE = Page(cast("str", 7))
HOLD_A_PRESS = """
import signal
# A program that a shell runs in the background was told to pass over the key that ends one.
signal.signal(signal.SIGINT, signal.default_int_handler)
from vinebook.reports.press import Press
press = Press()
print(press.number, flush=True)
input()
"""


def test_a_press_gives_the_bytes_that_its_owner_would_make() -> None:
    with Press() as press:
        assert press.print_page(PLAIN) == press.print_page(PLAIN) == print_page(PLAIN)


def test_a_page_that_is_begun_before_its_enclosures_are_there_gives_the_same_bytes() -> None:
    whole = replace(PLAIN, enclosures=(Enclosure("rows.csv", "Rows", b"a,b\n1,2\n", is_source=True),))
    with Press() as press:
        press.begin(PLAIN)
        assert press.print_page(whole) == print_page(whole)
        assert press.print_page(PLAIN) == print_page(PLAIN) != print_page(whole)
        press.begin(PLAIN)
        with pytest.raises(ValueError, match="another page was begun"):
            press.print_page(OUTSIDE)


def test_the_boxes_of_a_page_are_gone_before_the_next_is_laid_out() -> None:
    gc.disable()
    try:
        earlier = weakref.ref(LaidPage(PLAIN).pages[0]._page_box)
        assert earlier() is not None
        LaidPage(PLAIN)
        assert earlier() is None
    finally:
        gc.enable()


def test_a_page_that_cannot_be_laid_out_is_told_when_all_of_it_is_there() -> None:
    with Press() as press:
        press.begin(NOT_A_PAGE)
        with pytest.raises(TypeError):
            press.print_page(NOT_A_PAGE)
        assert press.print_page(PLAIN).pdf.startswith(b"%PDF")


def test_what_stands_in_the_way_is_told_as_in_the_process_itself() -> None:
    with pytest.raises(ReportError) as own:
        print_page(OUTSIDE)
    with Press() as press:
        with pytest.raises(ReportError) as told:
            press.print_page(OUTSIDE)
        assert (told.value.message, told.value.hint) == (own.value.message, own.value.hint)
        assert press.print_page(PLAIN).pdf.startswith(b"%PDF")


def test_a_press_that_was_ended_is_told_and_another_takes_its_place() -> None:
    with Presses(1) as presses:
        [press] = presses._all
        os.kill(press.number, signal.SIGKILL)
        with pytest.raises(PressEndedError, match="ended from outside"):
            presses.submit(PLAIN).result()
        assert presses.submit(PLAIN).result() == print_page(PLAIN)


@pytest.mark.parametrize("by", [signal.SIGKILL, signal.SIGINT])
def test_a_press_ends_with_whoever_started_it(by: signal.Signals) -> None:
    owner = subprocess.Popen(
        [sys.executable, "-c", HOLD_A_PRESS],
        cwd=TOP,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    with owner:
        assert owner.stdout is not None
        number = int(owner.stdout.readline())
        os.kill(number, 0)
        owner.send_signal(by)
        owner.wait(20)
        until = time.monotonic() + 20
        while time.monotonic() < until and _is_there(number):
            time.sleep(0.05)
        assert not _is_there(number)


def test_pages_that_nobody_waits_for_any_more_end_with_their_presses() -> None:
    with Presses(1) as presses:
        waiting = [presses.submit(PLAIN) for _ in range(4)]
        waiting[0].result()
    assert all(one.done() for one in waiting)


def _is_there(number: int) -> bool:
    """Say whether a process is still at work; one that nobody has asked for its end is not."""
    try:
        return Path(f"/proc/{number}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False
