"""From a finished page to a PDF: templates, the guard against outside fetches, WeasyPrint.

The same page gives the same bytes: the one date in the file is the date of the record, and the file's
identifier is a hash of the page.
"""

from __future__ import annotations

import base64
import datetime as dt
import gc
import hashlib
import logging
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar

from vinebook.errors import OutputError, ReportError, SystemLibraryError
from vinebook.reports import archive, fonts
from vinebook.resources import templates_folder

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import jinja2

SCHEME = "vb:"
SVG_TYPE = "image/svg+xml"
NO_TIME = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


@dataclass(frozen=True, slots=True)
class Page:
    """A finished report before it is set.

    Attributes
    ----------
    html : the whole page; images are named `vb:NAME`.
    images : SVG text by name.
    warnings : what a person should know: characters that cannot be printed.
    enclosures : files that go inside the PDF: the rows behind it, the figures.
    made_at : time of the record, the one date in the file.
    """

    html: str
    images: dict[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    enclosures: tuple[archive.Enclosure, ...] = ()
    made_at: dt.datetime = NO_TIME


@dataclass(frozen=True, slots=True)
class Printed:
    """A PDF with what the setting of it had to say.

    Attributes
    ----------
    pdf : the file.
    complaints : warnings that WeasyPrint logged; tests hold this empty.
    """

    pdf: bytes
    complaints: tuple[str, ...]


def fill_template(name: str, values: dict[str, Any]) -> str:
    """Fill a template; every value is escaped, an unknown name is an error.

    Parameters
    ----------
    name : file name in the folder of report templates.
    values : what the template asks for.
    """
    return _environment().get_template(name).render(values)


@cache
def _environment() -> jinja2.Environment:
    """Give what templates are kept in once they are compiled."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(templates_folder()),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def warm_up() -> None:
    """Set a page that nobody sees, so that what every page needs is imported and opened before there is one.

    Raises
    ------
    SystemLibraryError
        Where a library of the system is missing.
    """
    faces = "".join(
        f'<p style="font-family: {fonts.FAMILY}; font-weight: {weight}">a</p>' for weight in (300, 400, 600)
    )
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><text y="9">a</text></svg>'
    table = f'<table><tr><th>a</th></tr></table><img src="{SCHEME}a" alt="a">'
    head = '<html lang="en"><head><title>a</title></head>'
    print_page(Page(f"{head}<body>{faces}{table}</body></html>", {"a": svg}))


def print_page(page: Page) -> Printed:
    """Set a page as a PDF.

    Parameters
    ----------
    page : the finished page.

    Raises
    ------
    SystemLibraryError
        Where a library of the system is missing.
    ReportError
        Where the page asked for anything but its own images.
    """
    return LaidPage(page).finished(page.enclosures)


class LaidPage:
    """A page that is laid out and waits for what goes inside the file: the longer part of printing it is done."""

    _is_first: ClassVar[bool] = True

    def __init__(self, page: Page) -> None:
        """Lay a page out; its enclosures are not looked at.

        Raises
        ------
        SystemLibraryError
            Where a library of the system is missing.
        """
        fonts.use_only_our_faces()
        weasyprint = _weasyprint()
        if not LaidPage._is_first:
            # The boxes of an earlier page hold each other: two such trees would lie in memory until a collection.
            gc.collect()
        LaidPage._is_first = False
        self._page = page
        self._refused: list[str] = []
        self._fetcher = _fetcher_class()(page.images, self._refused)
        self._listener = _Listener()
        with self._at_work():
            html = weasyprint.HTML(string=page.html, url_fetcher=self._fetcher)
            self._document = html.render(pdf_variant=archive.VARIANT)

    def finished(self, enclosures: tuple[archive.Enclosure, ...]) -> Printed:
        """Give the PDF with the enclosures inside.

        Raises
        ------
        ReportError
            Where the page asked for anything but its own images.
        """
        with self._at_work():
            pdf: bytes = self._document.write_pdf(
                finisher=archive.finish,
                pdf_variant=archive.VARIANT,
                pdf_identifier=_identifier(self._page.html, enclosures),
                attachments=archive.as_attachments(enclosures, self._page.made_at, self._fetcher),
            )
        if self._refused:
            raise ReportError(
                f"the report asked for something outside the package: {self._refused[0]}",
                "this is a fault of vinebook; please report it with the block's tallies",
            )
        return Printed(pdf, tuple(self._listener.messages))

    @property
    def pages(self) -> Sequence[Any]:
        """WeasyPrint's pages, as they are laid out."""
        return self._document.pages  # type: ignore[no-any-return]

    @contextmanager
    def _at_work(self) -> Iterator[None]:
        """Listen to what WeasyPrint warns of, and let no garbage collection come between."""
        logger = logging.getLogger("weasyprint")
        logger.addHandler(self._listener)
        try:
            with _no_collection():
                yield
        finally:
            logger.removeHandler(self._listener)


def standalone_html(page: Page) -> str:
    """Give a page with its images inside, as any browser or a bare WeasyPrint can read it.

    Parameters
    ----------
    page : the finished page.
    """
    html = page.html
    for name, svg in page.images.items():
        data = base64.b64encode(svg.encode()).decode()
        html = html.replace(f'"{SCHEME}{name}"', f'"data:{SVG_TYPE};base64,{data}"')
    return html


def require_folder(path: Path) -> None:
    """Check that a report can have this name, before time is spent on it.

    Parameters
    ----------
    path : where the report is to stand.

    Raises
    ------
    OutputError
        Where the folder is missing or the name is a folder's.
    """
    if not path.parent.is_dir():
        raise OutputError(f"there is no folder {path.parent}", "make it, or name another place with -o")
    if path.is_dir():
        raise OutputError(f"{path} is a folder", "name a file in it")


def require_new_folder(path: Path) -> None:
    """Make a folder for reports, or check that there is one.

    Parameters
    ----------
    path : the folder.

    Raises
    ------
    OutputError
        Where a file has that name, or the folder cannot be made.
    """
    if path.exists() and not path.is_dir():
        raise OutputError(f"{path} is a file", "several reports go into a folder; name one with -o, or give --bound")
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"the folder {path} cannot be made: {error.strerror}", "name another with -o") from error


def write_file(path: Path, content: bytes) -> None:
    """Write a report to a file; a half-written file is never left in its place.

    Parameters
    ----------
    path : where to.
    content : the bytes.

    Raises
    ------
    OutputError
        Where the folder is missing or nothing can be written there.
    """
    require_folder(path)
    draft = path.with_name(f".{path.name}.part")
    try:
        if path.is_symlink() or (path.exists() and not path.is_file()):
            # A device or a pipe is written to; a draft put in its place would take it away.
            path.write_bytes(content)
        else:
            draft.write_bytes(content)
            draft.replace(path)
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror}", "name another place with -o") from error
    finally:
        draft.unlink(missing_ok=True)


def _identifier(html: str, enclosures: tuple[archive.Enclosure, ...]) -> bytes:
    """Give the file's identifier: a hash of all that goes into it."""
    digest = hashlib.sha256(html.encode())
    for enclosure in enclosures:
        digest.update(enclosure.name.encode() + b"\0" + enclosure.content)
    return digest.hexdigest()[:32].encode()


@contextmanager
def _no_collection() -> Iterator[None]:
    """Let no garbage collection search the tree of boxes again and again: a third of the time, 3 % of the memory."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


class _Listener(logging.Handler):
    """Keeps what WeasyPrint warns of."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.messages: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.messages.append(record.getMessage())


def _weasyprint() -> Any:  # noqa: ANN401 - the module has no type hints
    try:
        import weasyprint
    except OSError as error:
        raise SystemLibraryError(
            f"a library of the system that printing needs is missing ({str(error).splitlines()[0]})",
            "install Pango: `apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0` on Debian and "
            "Ubuntu, `dnf install pango` on Fedora, `brew install pango` on macOS",
        ) from error
    return weasyprint


def _fetcher_class() -> Any:  # noqa: ANN401 - its base class is known only once WeasyPrint is imported
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class BundledOnly(URLFetcher):  # type: ignore[misc]
        """Serves the page's own images by name, refuses all else and remembers it."""

        def __init__(self, images: dict[str, str], refused: list[str]) -> None:
            super().__init__(allowed_protocols=())
            self._images = images
            self._refused = refused

        def fetch(self, url: str, headers: dict[str, str] | None = None) -> Any:  # noqa: ANN401, ARG002
            name = url.removeprefix(SCHEME)
            if url.startswith(SCHEME) and name in self._images:
                return URLFetcherResponse(url, self._images[name].encode(), {"Content-Type": SVG_TYPE})
            self._refused.append(url)
            msg = f"refused: {url}"
            raise ValueError(msg)

    return BundledOnly
