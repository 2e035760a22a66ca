"""vinebook: the record of wine-grape blocks, season after season.

``import vinebook`` costs nothing: each public name is fetched when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from vinebook.api import Book, draw_vines, figures, load, open_book, report, verify

__version__ = "0.1.0"
__all__ = ["Book", "__version__", "draw_vines", "figures", "load", "open_book", "report", "verify"]


def __getattr__(name: str) -> object:
    if name in __all__:
        from vinebook import api

        return getattr(api, name)
    msg = f"module 'vinebook' has no attribute {name!r}"
    raise AttributeError(msg)
