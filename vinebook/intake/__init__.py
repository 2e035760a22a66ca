"""From a tally to checked rows in the book, all or nothing."""
