"""A wire between vinebook and the tests' server that can be cut at a chosen moment."""

from __future__ import annotations

import contextlib
import shutil
import socket
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.postgresql import Server

SOCKET = ".s.PGSQL.5432"
WRITES = b"ISOLATION LEVEL READ COMMITTED"
"""How a writing transaction begins."""
COMMIT = b"COMMIT\0"
CHUNK = 65536

When = Literal["never", "bytes", "before commit", "after commit", "late commit", "deaf"]


class Wire:
    """Carries what vinebook and the server say to each other, until it is told to cut one writing session.

    Attributes
    ----------
    when : "bytes" cuts after `after_bytes` of a writing session went to the server. "before commit" cuts as the word
        comes by, and the server never hears it; "after commit" once the server has answered, which vinebook never
        hears. "late commit" cuts the person's end and lets the server hear the word a while later; "deaf" cuts the
        person's end and the server hears nothing, neither the word nor that anybody left, for a while.
    is_dead : after the cut nobody gets through any more.
    cuts : how many sessions were cut.
    """

    def __init__(self, server: Path, folder: Path) -> None:
        self._server = server
        self.folder = folder
        self._door = socket.socket(socket.AF_UNIX)
        self._door.bind(str(folder / SOCKET))
        self._door.listen(32)
        self.when: When = "never"
        self.after_bytes = 0
        self.later_s = 1.0
        self.is_dead = False
        self.cuts = 0
        self._dies = False
        self._ends: list[socket.socket] = [self._door]
        threading.Thread(target=self._accept, daemon=True).start()

    def url(self, of: str) -> str:
        """Give the address of a database through the wire."""
        return of.partition("?")[0] + f"?host={self.folder}"

    def arm(self, when: When, *, after_bytes: int = 0, is_dead: bool = False) -> None:
        """Have the next writing session cut."""
        self.when, self.after_bytes, self._dies = when, after_bytes, is_dead

    def close(self) -> None:
        """Close every end."""
        for end in self._ends:
            _shut(end)

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            if self.is_dead:
                _shut(near)
                continue
            far = socket.socket(socket.AF_UNIX)
            try:
                far.connect(str(self._server / SOCKET))
            except OSError:
                # The server does not run.
                _shut(near)
                far.close()
                continue
            self._ends += [near, far]
            answered = threading.Event()
            threading.Thread(target=self._carry_back, args=(far, near, answered), daemon=True).start()
            threading.Thread(target=self._carry, args=(near, far, answered), daemon=True).start()

    def _carry(self, near: socket.socket, far: socket.socket, answered: threading.Event) -> None:
        is_writing, sent = False, 0
        with contextlib.suppress(OSError):
            while data := near.recv(CHUNK):
                is_writing = is_writing or WRITES in data
                sent += len(data)
                is_time = COMMIT in data if self.when != "bytes" else sent >= self.after_bytes
                if is_writing and self.when != "never" and is_time:
                    self._cut(near, far, data, answered)
                    return
                far.sendall(data)
        _shut(far)

    def _cut(self, near: socket.socket, far: socket.socket, data: bytes, answered: threading.Event) -> None:
        when, self.when = self.when, "never"
        self.is_dead = self._dies
        self.cuts += 1
        if when == "after commit":
            answered.clear()
            near.shutdown(socket.SHUT_WR)
            far.sendall(data)
            answered.wait(10)
        _shut(near)
        if when in ("late commit", "deaf"):
            time.sleep(self.later_s)
        if when == "late commit":
            answered.clear()
            far.sendall(data)
            answered.wait(10)
        _shut(far)

    def _carry_back(self, far: socket.socket, near: socket.socket, answered: threading.Event) -> None:
        with contextlib.suppress(OSError):
            while data := far.recv(CHUNK):
                answered.set()
                with contextlib.suppress(OSError):
                    near.sendall(data)
        _shut(near)


def _shut(end: socket.socket) -> None:
    with contextlib.suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()


@contextlib.contextmanager
def laid_wire(server: Server) -> Iterator[Wire]:
    """Lay a wire to a server for the length of a ``with``."""
    # A socket's path may have 107 characters at most, so the folder does not lie in the test's own.
    folder = Path(tempfile.mkdtemp(prefix="vinebook-wire-", dir="/tmp"))
    wire = Wire(server.folder, folder)
    try:
        yield wire
    finally:
        wire.close()
        shutil.rmtree(folder)
