"""Findings turned into ordered jobs, each with its window, its guards and the hours it takes."""
