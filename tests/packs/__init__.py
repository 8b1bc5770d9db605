"""Tests of the packs that ship, and of what reads them."""
