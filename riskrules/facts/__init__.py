"""Facts: what happened in a block, each quantity with the least and the most it can be."""
