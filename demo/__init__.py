"""The demo: an invented vineyard on two sites, made by a seeded generator."""
