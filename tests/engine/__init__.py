"""Checks of the engine against plain Python."""
