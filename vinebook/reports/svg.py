"""SVG of our own: the inks, the size of type, and the few marks that charts and drawings are made of.

Lengths are PostScript points. Two inks stand for crop and wood and for nothing else; they differ in lightness as
well as in hue, so that they keep apart in grey print.
"""

from __future__ import annotations

from markupsafe import escape

from vinebook.reports import fonts

INK = "#1d1b19"
GREY = "#6a6661"
PALE = "#dcd8d1"
FINE = "#b7b2ab"
BAND = "#efece5"
CROP = "#6b1531"
WOOD = "#94702f"
PAPER = "#fff"
TYPE_PT = 7.5
LINE_PT = 9.0
DOT_PT = 1.75


def open_svg(width: float, height: float) -> str:
    """Give the opening element of a picture of that size; close it with `</svg>`.

    Parameters
    ----------
    width, height : size in points.
    """
    size = f'width="{number(width)}pt" height="{number(height)}pt" viewBox="0 0 {number(width)} {number(height)}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="{fonts.FAMILY}" font-size="{TYPE_PT}">'


def line(x1: float, y1: float, x2: float, y2: float, ink: str, width: float) -> str:
    """Draw a straight line."""
    return f'<path d="M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}" stroke="{ink}" stroke-width="{width}"/>'


def dashed(x1: float, y1: float, x2: float, y2: float) -> str:
    """Draw a fine dashed line."""
    way = f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}"
    return f'<path d="{way}" stroke="{FINE}" stroke-width="0.5" stroke-dasharray="1.2 1.8"/>'


def path(way: str, ink: str, width: float) -> str:
    """Draw an open path that is not filled.

    Parameters
    ----------
    way : the `d` of the path.
    ink, width : of its stroke.
    """
    return f'<path d="{way}" stroke="{ink}" stroke-width="{width}" fill="none"/>'


def rect(left: float, top: float, width: float, height: float, fill: str) -> str:
    """Draw a filled rectangle without an edge."""
    return (
        f'<rect x="{number(left)}" y="{number(top)}" width="{number(width)}" height="{number(height)}" fill="{fill}"/>'
    )


def dot(x: float, y: float, ink: str, *, is_open: bool = False) -> str:
    """Draw a point; an open one has its ground white."""
    if is_open:
        return (
            f'<circle cx="{number(x)}" cy="{number(y)}" r="{DOT_PT + 0.35}" fill="{PAPER}" stroke="{ink}" '
            'stroke-width="0.9"/>'
        )
    return f'<circle cx="{number(x)}" cy="{number(y)}" r="{DOT_PT}" fill="{ink}"/>'


def text(x: float, y: float, words: str, ink: str, anchor: str) -> str:
    """Set words in one line, escaped.

    Parameters
    ----------
    x, y : of the anchor on the base line.
    words : any text.
    ink : its colour.
    anchor : "start", "middle" or "end".
    """
    return f'<text x="{number(x)}" y="{number(y)}" fill="{ink}" text-anchor="{anchor}">{escape(words)}</text>'


def arrow(x: float, y: float, ink: str, *, up: bool = True) -> str:
    """Draw the arrowhead of what runs off the scale, its tip at x and y."""
    back = 3 if up else -3
    return path(
        f"M{number(x - 2)} {number(y + back)}L{number(x)} {number(y)}L{number(x + 2)} {number(y + back)}", ink, 0.55
    )


def width_of(words: str) -> float:
    """Give the width of words as they are set here, in points."""
    return fonts.width_em(words) * TYPE_PT


def number(value: float) -> str:
    """Write a number as short as two decimals allow."""
    return f"{value:.2f}".rstrip("0").rstrip(".")
