"""Several presses side by side, one a core."""

from __future__ import annotations

import queue
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TYPE_CHECKING, Self

from vinebook.errors import ReportError
from vinebook.reports.press import Press, PressEndedError

if TYPE_CHECKING:
    from vinebook.reports.render import Page, Printed


class Presses:
    """Several presses side by side; each gives way to a new one after `PAGES_OF_A_PRESS` or when it was ended."""

    def __init__(self, number: int) -> None:
        """Start them.

        Raises
        ------
        ReportError : the system starts no more processes.
        """
        self._ending = False
        self._all: list[Press] = []
        self._free: queue.SimpleQueue[Press | None] = queue.SimpleQueue()
        for _ in range(number):
            self._free.put(self._another())
        self._threads = ThreadPoolExecutor(number, thread_name_prefix="press")

    def __enter__(self) -> Self:
        """Give them for a while."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let all of them end, even with a page."""
        self._ending = True
        self._threads.shutdown(wait=False, cancel_futures=True)
        self._close_all()
        self._threads.shutdown()
        self._close_all()

    def submit(self, page: Page) -> Future[Printed]:
        """Hand a page to the first press that is free."""
        return self._threads.submit(self._print, page)

    def _print(self, page: Page) -> Printed:
        press = self._free.get()
        try:
            if press is None:
                press = self._another()
            return press.print_page(page)
        finally:
            if press is not None and press.is_spent:
                self._all.remove(press)
                press.close()
                press = None
            self._free.put(press)

    def _another(self) -> Press:
        if self._ending:
            raise PressEndedError
        try:
            press = Press()
        except OSError as error:
            raise ReportError(f"no process can be started to print it: {error.strerror}", "--workers 1") from error
        self._all.append(press)
        return press

    def _close_all(self) -> None:
        for press in list(self._all):
            press.close()
