"""The one family of type that reports are set in, and what it can print.

The faces come from the package font-source-sans-pro (Source Sans Pro, SIL Open Font License 1.1), whose
figures are lining and tabular as they come. A private Fontconfig file names those faces and nothing else,
so that no page falls back to whatever the machine has.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from functools import cache
from html import escape
from importlib.util import find_spec
from pathlib import Path

from vinebook.errors import SystemLibraryError

FAMILY = "Source Sans Pro"
FACES = ("SourceSansPro-Light.ttf", "SourceSansPro-Regular.ttf", "SourceSansPro-Semibold.ttf")
STAND_IN = "■"
"""Stands where a character has no glyph; the last page names the characters."""

_CONFIGURATION = """<?xml version="1.0"?>
<!DOCTYPE fontconfig SYSTEM "urn:fontconfig:fonts.dtd">
<fontconfig>
{folders}
<selectfont>
<rejectfont><glob>*</glob></rejectfont>
{accepted}
</selectfont>
<cachedir>{cache}</cachedir>
</fontconfig>
"""


def faces_folder() -> Path:
    """Give the folder that holds the faces.

    Raises
    ------
    SystemLibraryError
        Where the package with the faces is not installed.
    """
    spec = find_spec("font_source_sans_pro")
    folders = list(spec.submodule_search_locations or ()) if spec else []
    folder = Path(folders[0]) / "files" if folders else Path()
    if not folders or not all((folder / face).is_file() for face in FACES):
        raise SystemLibraryError(
            "the faces that reports are set in are missing",
            "install the Python package font-source-sans-pro",
        )
    return folder


def use_only_our_faces() -> Path:
    """Point Fontconfig at our faces alone; must run before the first page is set. Gives the file written."""
    folder = faces_folder()
    base = _writable_folder()
    text = _CONFIGURATION.format(
        folders=f"<dir>{escape(str(folder))}</dir>",
        accepted="\n".join(f"<acceptfont><glob>{escape(str(folder / face))}</glob></acceptfont>" for face in FACES),
        cache=escape(str(base / "cache")),
    )
    path = base / f"fonts-{hashlib.sha256(text.encode()).hexdigest()[:16]}.conf"
    if not path.is_file() or path.read_text(encoding="utf-8") != text:
        with tempfile.NamedTemporaryFile("w", dir=base, delete=False, encoding="utf-8") as handle:
            handle.write(text)
        Path(handle.name).replace(path)
    os.environ["FONTCONFIG_FILE"] = str(path)
    return path


def width_em(text: str) -> float:
    """Give the width of a text in the regular face, as a share of the type size.

    Parameters
    ----------
    text : one line of text.
    """
    glyphs = _glyphs()
    return sum(glyphs.get(ord(character), 1000) for character in text) / 1000


def missing_glyphs(text: str) -> list[str]:
    """Give the characters that the faces cannot print, each once, in order.

    Parameters
    ----------
    text : any text.
    """
    glyphs = _glyphs()
    return list(dict.fromkeys(c for c in text if ord(c) not in glyphs and not c.isspace()))


def printable(text: str) -> str:
    """Give a text with a stand-in where the faces lack a glyph, and every run of white space as one space.

    Parameters
    ----------
    text : any text that a person wrote.
    """
    if text.isascii() and text.isprintable() and "  " not in text:
        return text
    glyphs = _glyphs()
    kept = "".join(c if c.isspace() or ord(c) in glyphs else STAND_IN for c in text)
    return " ".join(kept.split())


@cache
def _glyphs() -> dict[int, int]:
    """Advance width of every character that all faces hold, in thousandths of the type size."""
    from fontTools.ttLib import TTFont

    with TTFont(faces_folder() / "SourceSansPro-Regular.ttf", lazy=True) as font:
        names: dict[int, str] = font.getBestCmap()
        advances = font["hmtx"]
        return {code: advances[name][0] for code, name in names.items()}


def _writable_folder() -> Path:
    cache_home = os.environ.get("XDG_CACHE_HOME", "")
    homes = [Path(cache_home)] if cache_home else []
    homes += [Path(os.path.expanduser("~")) / ".cache", Path(tempfile.gettempdir())]  # noqa: PTH111 - never raises
    for home in homes:
        folder = home / f"vinebook-{os.getuid()}" if home == homes[-1] and hasattr(os, "getuid") else home / "vinebook"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if os.access(folder, os.W_OK):
                return folder
        except OSError:
            continue
    raise SystemLibraryError(
        "there is no folder to keep the list of faces in",
        "set XDG_CACHE_HOME to a folder that can be written",
    )
