"""Several reports bound into one book: contents first, then each with pages of its own."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from vinebook.errors import ReportError
from vinebook.reports.frame import PROGRAM, make_frame, record_at
from vinebook.reports.languages import mark
from vinebook.reports.render import SCHEME, Page, fill_template
from vinebook.reports.words import make_printable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vinebook.reports.languages import Speech
    from vinebook.reports.paper import Paper

TITLES = (mark("Pruning cards"),)
"""Titles that a catalogue holds."""
_BODY = re.compile(r"<body>\n(.*)</body>", re.DOTALL)
_STYLE = re.compile(r"<style>\n(.*?)</style>", re.DOTALL)
_PAGE_OF = re.compile(r'content: "([^"]*)" counter\(page\) "([^"]*)" counter\(pages\)')
_LANGUAGE = re.compile(r'<html lang="([^"]*)"')
_TITLE = re.compile(r"<h1[^>]*>(.*?)</h1>", re.DOTALL)
_CALLED = re.compile(r'<h1[^>]* data-called="([^"]*)"')
_KIND = re.compile(r'<p class="subtitle">(.*?)</p>', re.DOTALL)


@dataclass(frozen=True, slots=True)
class _Named:
    """What the book is called."""

    title: str


@dataclass(frozen=True, slots=True)
class _Part:
    """One report inside the book: its HTML, already escaped, and what the contents say of it."""

    name: str
    title: str
    subtitle: str
    body: str
    language: str


def bind_pages(
    pages: Sequence[Page],
    names: Sequence[str],
    title: str,
    paper: Paper,
    program: str = PROGRAM,
    speech: Speech | None = None,
) -> Page:
    """Bind the pages of several reports of one sort into one.

    Parameters
    ----------
    pages : the reports, each made by a template that extends `base.html`, from one snapshot of the book.
    names : what each is of; its enclosures carry it before their own names.
    title : title of the whole.
    paper : size of the paper of all.
    program : name and version of the program.
    speech : language of the contents; English where None.
    """
    _ = speech or _in_english
    if not pages:
        raise ReportError("there is nothing to bind", "name blocks, or give --all")
    parts: list[_Part] = []
    images: dict[str, str] = {}
    for at, page in enumerate(pages, start=1):
        prefix = f"{at}-"
        body = _inner(_BODY, page.html).replace(f'src="{SCHEME}', f'src="{SCHEME}{prefix}')
        title_there = _inner(_CALLED, body) or _inner(_TITLE, body)
        parts.append(_Part(f"part-{at}", title_there, _inner(_KIND, body), body, _inner(_LANGUAGE, page.html)))
        images |= {f"{prefix}{image}": svg for image, svg in page.images.items()}
    made_at = max(page.made_at for page in pages)
    named, lacking = make_printable(_Named(_(title) if title else title))
    title = named.title
    warnings = tuple(dict.fromkeys([*lacking, *(warning for page in pages for warning in page.warnings)]))
    frame = make_frame(
        title=title,
        foot=title,
        description=_("%(title)s: %(count)s bound into one", title=title, count=len(pages)),
        author="",
        paper=paper,
        record=record_at(made_at),
        program=program,
        language="en" if speech is None else speech.tag,
    )
    style = _inner(_STYLE, pages[0].html)
    # The footers of the reports themselves say how their language writes "page 1 of 2"; the last rule is in force.
    page_of = _PAGE_OF.findall(style)[-1]
    values = {"frame": frame, "style": style, "page_of": page_of, "parts": parts, "_": _, "leaf": _("leaf")}
    html = fill_template("bound.html", values)
    enclosures = tuple(
        replace(enclosure, name=f"{_plain(name)}-{enclosure.name}", description=f"{name}: {enclosure.description}")
        for page, name in zip(pages, names, strict=True)
        for enclosure in page.enclosures
    )
    return Page(html, images, warnings, enclosures, made_at)


def _in_english(message: str, **values: object) -> str:
    return message % values if values else message


def _inner(pattern: re.Pattern[str], html: str) -> str:
    found = pattern.search(html)
    return found.group(1) if found else ""


def _plain(name: str) -> str:
    """Give a name without the signs that a file name cannot carry everywhere."""
    return re.sub(r"[^\w.-]+", "_", name)
