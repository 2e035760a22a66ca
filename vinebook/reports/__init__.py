"""Figures and advice told as pages and printed as PDF."""
