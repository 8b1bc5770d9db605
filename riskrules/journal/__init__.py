"""The field journal: what people did and saw, appended and never overwritten."""
