"""When a load leaves new statistics behind."""

from __future__ import annotations

from sqlalchemy import text

from vinebook.records.book import Book


def has_statistics(book: Book) -> bool:
    """Say whether the database knows what the book's tables hold."""
    with book.reading() as connection:
        if connection.dialect.name == "sqlite":
            return bool(connection.scalar(text("SELECT count(*) FROM sqlite_master WHERE name = 'sqlite_stat1'")))
        return bool(connection.scalar(text("SELECT count(*) FROM pg_stats WHERE schemaname = 'public'")))


def test_rows_that_are_few_beside_the_book_leave_its_statistics(book_url: str) -> None:
    book = Book(book_url)
    with book.writing() as connection:
        connection.execute(text("UPDATE book SET next_record = 10000"))
    book.refresh_statistics(999)
    assert not has_statistics(book)
    book.refresh_statistics(1000)
    assert has_statistics(book)


def test_many_rows_bring_new_statistics_to_any_book(book_url: str) -> None:
    book = Book(book_url)
    with book.writing() as connection:
        connection.execute(text("UPDATE book SET next_record = 10000000"))
    book.refresh_statistics(10_000)
    assert has_statistics(book)
