"""The book itself: tables, journal, kept files and readings."""
