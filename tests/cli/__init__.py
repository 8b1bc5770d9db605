"""The commands, as people call them."""
