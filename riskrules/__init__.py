"""Explained risk rules for strawberries under low plastic tunnels."""
