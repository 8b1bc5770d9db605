"""Findings: what fired, why, how sure; and what could not be told."""
