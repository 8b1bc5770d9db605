"""Tests of findings: identity, certainty, urgency, unknowns, sentences."""
