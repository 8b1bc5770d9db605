"""Tests of guards, order, windows and the crew's hours."""
