"""Bad input of every kind: each gets its message, and nothing is lost without a word."""
