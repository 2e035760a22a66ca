"""The book's rows gathered by block and season, and the figures worked out from them."""
