"""Published models and tables: pure functions on arrays, numpy and the stdlib only.

Each module says what it computes, where it holds, what it gives outside, and from where each
number comes. ``printed`` recomputes every printed check value; ``cards`` describes the models.
"""
