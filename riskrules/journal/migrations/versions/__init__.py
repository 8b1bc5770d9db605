"""The steps, oldest first; a step that shipped is never changed."""
