"""Figures judged: published bands and what they say of a season."""
