"""Pieces of pages that are too long to stand in the page itself."""
