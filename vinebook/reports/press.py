"""A process of its own that sets pages: it warms up while the book is still read, and knows no book.

What it gets is a `Page` and then what goes inside; what it gives back is the PDF, or what stood in the way. Both go by
pipes, and it ends with them: a command that is killed leaves nothing behind. Unlike the standard library's pools it
does not read the main program again, so that a program without a guard can print side by side, too.
"""

from __future__ import annotations

import gc
import marshal
import os
import pickle
import queue
import struct
import subprocess
import sys
import threading
import traceback
from contextlib import contextmanager, suppress
from dataclasses import replace
from typing import IO, TYPE_CHECKING, Self, cast

from vinebook.errors import ReportError, VinebookError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vinebook.reports.render import Page, Printed

PAGES_OF_A_PRESS = 25
"""A press's memory grows by about half a MiB a report: after so many it gives way to a new one."""
SECONDS_TO_END = 2.0
"""A press ends at once; one that does not is ended."""
_SERVE = (
    "import sys, marshal; sys.path[:] = marshal.load(sys.stdin.buffer); import vinebook.reports.press as p; p.serve()"
)
_LENGTH = struct.Struct("<Q")


class PressEndedError(ReportError):
    """A press was ended from outside while it had a page."""

    def __init__(self) -> None:
        super().__init__(
            "the process that printed it was ended from outside, perhaps for want of memory",
            "try again when there is more of it",
        )


class Press:
    """A process that warms up at once and sets the pages that it is handed, one after the other."""

    def __init__(self) -> None:
        """Start it.

        Raises
        ------
        OSError : the system starts no more processes.
        """
        self._printed = 0
        self._begun: str | None = None
        self._was_ended = False
        self._process = subprocess.Popen(  # noqa: S603 - our own program and no word of a person's
            [sys.executable, "-c", _SERVE],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # Ctrl-C is for whoever reads the book; the press follows it.
            process_group=0 if os.name == "posix" else None,
        )
        # Both are there, since both were asked for.
        self._pages = cast("IO[bytes]", self._process.stdin)
        self._answers = cast("IO[bytes]", self._process.stdout)
        with suppress(BrokenPipeError):
            self._write(marshal.dumps(sys.path))

    def __enter__(self) -> Self:
        """Give it for a while."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let it end."""
        self.close()

    def begin(self, page: Page) -> None:
        """Have a page laid out while what goes inside it is still being made; `print_page` takes the whole after it."""
        self._begun = page.html
        # A press that was ended is told with the page.
        with suppress(BrokenPipeError):
            self._write(_framed(replace(page, enclosures=())))

    def print_page(self, page: Page) -> Printed:
        """Set a page as a PDF; see `vinebook.reports.render.print_page`.

        Raises
        ------
        SystemLibraryError, ReportError
        PressEndedError : something from outside ended the process.
        ValueError : another page was begun.
        """
        if self._begun is None:
            self.begin(page)
        elif self._begun != page.html:
            msg = "another page was begun"
            raise ValueError(msg)
        self._begun = None
        self._printed += 1
        try:
            self._write(_framed(page.enclosures))
            answer = _unframed(self._answers)
        except BrokenPipeError:
            answer = None
        if answer is None:
            self._was_ended = True
            raise PressEndedError
        done: Printed | Exception = pickle.loads(answer)  # noqa: S301 - our own process wrote it
        if isinstance(done, Exception):
            raise done
        return done

    @property
    def number(self) -> int:
        """The process's number in the system."""
        return self._process.pid

    @property
    def is_spent(self) -> bool:
        """Whether it has printed enough, or was ended."""
        return self._was_ended or self._printed >= PAGES_OF_A_PRESS

    def close(self) -> None:
        """End the process, with or without a page."""
        with suppress(BrokenPipeError):
            self._pages.close()
        try:
            self._process.wait(SECONDS_TO_END)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._answers.close()

    def _write(self, content: bytes) -> None:
        self._pages.write(content)
        self._pages.flush()


def cores() -> int:
    """Give the number of processor cores that this process may use; one where it cannot start another Python."""
    if not sys.executable or getattr(sys, "frozen", False):
        return 1
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


@contextmanager
def warm_press() -> Iterator[Press | None]:
    """Give a press that warms up meanwhile, or None where there is no second core for it."""
    press = None
    if cores() > 1:
        with suppress(OSError):
            press = Press()
    if press is None:
        yield None
        return
    with press:
        yield press


def serve() -> None:
    """Be the process: warm up, then set page after page until nobody asks any more."""
    pages, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    # What a library prints must not come between the answers.
    with suppress(OSError):
        os.dup2(2, 1)
    gc.disable()
    from vinebook.reports import fonts, render

    waiting: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    # What is missing is told with the first page.
    with suppress(VinebookError):
        fonts.use_only_our_faces()
    threading.Thread(target=_wait, args=(pages, waiting), daemon=True).start()
    with suppress(Exception):
        render.warm_up()
    gc.freeze()
    gc.enable()
    while True:
        done: Printed | Exception
        try:
            done = _print(waiting)
        except Exception as trouble:  # noqa: BLE001 - told by whoever asked for the page
            trouble.add_note(traceback.format_exc())
            done = trouble
        answers.write(_framed(done))
        answers.flush()


def _print(waiting: queue.SimpleQueue[bytes]) -> Printed:
    """Lay out a page as soon as it is there, and finish it with what goes inside."""
    from vinebook.reports.render import LaidPage

    trouble: Exception | None = None
    try:
        laid = LaidPage(pickle.loads(waiting.get()))  # noqa: S301 - whoever started us wrote it
    except Exception as found:  # noqa: BLE001 - told when all of the page is here
        trouble = found
    enclosures = pickle.loads(waiting.get())  # noqa: S301 - the same
    if trouble is not None:
        raise trouble
    return laid.finished(enclosures)


def _wait(pages: IO[bytes], waiting: queue.SimpleQueue[bytes]) -> None:
    """Take in pages while others are set, and end the process with whoever hands them over."""
    while (page := _unframed(pages)) is not None:
        waiting.put(page)
    os._exit(0)


def _framed(content: object) -> bytes:
    try:
        pickled = pickle.dumps(content, pickle.HIGHEST_PROTOCOL)
    except Exception:
        if not isinstance(content, Exception):
            raise
        pickled = pickle.dumps(RuntimeError(f"{type(content).__name__}: {content}"))
    return _LENGTH.pack(len(pickled)) + pickled


def _unframed(pipe: IO[bytes]) -> bytes | None:
    head = pipe.read(_LENGTH.size)
    if len(head) < _LENGTH.size:
        return None
    (length,) = _LENGTH.unpack(head)
    content = pipe.read(length)
    return content if len(content) == length else None
