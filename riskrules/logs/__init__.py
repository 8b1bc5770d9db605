"""Logs and events: read from files, units settled, each doubtful value kept with its reason."""
