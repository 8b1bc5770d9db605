"""Tests of what another installed package can add."""
