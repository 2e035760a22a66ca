"""Every message of sheets and cards is in every catalogue, with its values; a language is a file."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import jinja2.ext
import pytest
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po

from vinebook.errors import WordsError
from vinebook.reports.languages import shipped_languages, speech_of, values_in
from vinebook.resources import languages_folder, templates_folder

REPORTS = Path(__file__).parents[2] / "vinebook" / "reports"
KEYWORDS = {"_": None, "mark": None, "speech": None, "plural": (1, 2)}
CATALOGUES = [name for name in shipped_languages() if name != "en"]
Message = str | tuple[str, ...]


def messages() -> set[Message]:
    """Give every message of modules and templates."""
    found: set[Message] = set()
    method: Any
    for folder, signs, method in (
        (REPORTS, "*.py", "python"),
        (templates_folder(), "*.html", jinja2.ext.babel_extract),
    ):
        for path in sorted(folder.glob(signs)):
            for _line, message, _comments, _context in extract_from_file(method, path, keywords=KEYWORDS):
                found.add(whole(message))
    return found


def whole(text: Any) -> Message:  # noqa: ANN401 - babel gives a text, or a list or tuple of them
    return text if isinstance(text, str) else tuple(text or ())


def catalogue(name: str) -> dict[Message, Message]:
    """Give the messages of a catalogue with their translations."""
    with (languages_folder() / f"{name}.po").open("rb") as page:
        read = read_po(page, abort_invalid=True)
    assert not list(read.obsolete)
    assert not any(message.fuzzy for message in read if message.id)
    return {whole(one.id): whole(one.string) for one in read if one.id}


def texts(message: Message) -> tuple[str, ...]:
    return (message,) if isinstance(message, str) else message


def test_there_is_a_language_beside_english_and_there_are_messages() -> None:
    assert CATALOGUES == ["es"]
    assert len(messages()) > 100


@pytest.mark.parametrize("name", CATALOGUES)
def test_no_message_is_missing_and_none_is_left_over(name: str) -> None:
    assert set(catalogue(name)) == messages()


@pytest.mark.parametrize("name", CATALOGUES)
def test_every_message_is_translated_with_the_values_that_it_has(name: str) -> None:
    for message, told in catalogue(name).items():
        assert all(texts(told)), message
        for text in texts(told):
            assert sorted(values_in(text)) == sorted(values_in(texts(message)[-1])), message


def test_numbers_and_dates_are_written_as_the_readers_do() -> None:
    day = dt.date(2026, 11, 23)
    spanish, mexican = speech_of("es"), speech_of("es_MX")
    assert (spanish.number(1.75, 2), spanish.day(day)) == ("1,75", "23 de noviembre de 2026")
    assert (mexican.number(1.75, 2), mexican.tag) == ("1.75", "es-MX")
    assert mexican("Keep %(nodes)s nodes on a vine", nodes=20) == "Deje 20 yemas por cepa"
    assert speech_of("en", "us").day(day) == "November 23, 2026"
    assert speech_of("es", "us").number(1.5) == "1.5"


def test_a_message_agrees_with_its_number() -> None:
    spanish = speech_of("es")
    one, many = "%(number)s cane of %(each)s nodes", "%(number)s canes of %(each)s nodes"
    assert [spanish.plural(one, many, number, each="8") for number in (1, 2)] == [
        "1 vara de 8 yemas",
        "2 varas de 8 yemas",
    ]


def test_another_language_is_a_file_and_what_it_lacks_is_english(tmp_path: Path) -> None:
    path = tmp_path / "fr.po"
    path.write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=utf-8\\n"\n\nmsgid "Vine"\nmsgstr "Cep"\n'
        '\n#, fuzzy\nmsgid "Row"\nmsgstr "Rangée"\n',
        encoding="utf-8",
    )
    french = speech_of(str(path))
    assert (french("Vine"), french("Row"), french("Sum"), french.tag) == ("Cep", "Row", "Sum", "fr")
    assert french.number(1.5) == "1,5"


@pytest.mark.parametrize(
    ("told", "words"),
    [("%(nodez)s nœuds", "asks for a value"), ("%(nodes)s nœuds, 10 % de plus", "not followed by a value")],
)
def test_a_wrong_value_in_a_file_is_named_by_its_line(tmp_path: Path, told: str, words: str) -> None:
    path = tmp_path / "fr.po"
    path.write_text(f'msgid "Keep %(nodes)s nodes on a vine"\nmsgstr "{told}"\n', encoding="utf-8")
    with pytest.raises(WordsError, match=words) as caught:
        speech_of(str(path))
    assert f"{path}:1" in caught.value.message


@pytest.mark.parametrize("language", ["xx", "de", "", "../es", "nowhere.po", "fr.po"])
def test_a_language_that_is_not_there_is_refused_with_those_that_are(language: str) -> None:
    with pytest.raises(WordsError) as caught:
        speech_of(language)
    assert "en, es" in (caught.value.hint or "")


def test_a_file_that_is_no_catalogue_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "fr.po"
    path.write_text("what is this", encoding="utf-8")
    with pytest.raises(WordsError, match="not a catalogue"):
        speech_of(str(path))
