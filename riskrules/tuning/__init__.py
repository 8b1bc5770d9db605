"""The adviser's bench: thresholds tried on past seasons, and scored by what scouts saw."""
