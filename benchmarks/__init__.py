"""Benchmarks: what a review costs, beside the cost of something known, in one run."""
