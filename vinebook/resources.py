"""Where the folders that ship with the package are: inside it once installed, beside pyproject.toml in a checkout."""

from __future__ import annotations

from pathlib import Path

from vinebook.errors import VinebookError

_PACKAGE = Path(__file__).resolve().parent


def _folder(packaged: str, beside: str) -> Path:
    for folder in (_PACKAGE / packaged, _PACKAGE.parent / beside):
        if folder.is_dir():
            return folder
    raise VinebookError(f"the folder {beside} is missing from this installation", "install vinebook again")


def migrations_folder() -> Path:
    """Give the folder of the migrations."""
    return _folder("_migrations", "migrations")


def templates_folder() -> Path:
    """Give the folder of the report templates."""
    return _folder("_report_templates", "report_templates")


def guide_folder() -> Path:
    """Give the folder of the guide's pages."""
    return _PACKAGE / "guide"


def languages_folder() -> Path:
    """Give the folder of the catalogues of messages, one a language."""
    return _PACKAGE / "languages"
