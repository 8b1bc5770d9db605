"""What the pure views ask of the pages: the words of a language, and how a severity looks."""

from __future__ import annotations

from typing import Protocol


class Say(Protocol):
    """Gives the text of a key in the reader's language, with its values put in."""

    def __call__(self, key: str, **values: object) -> str:
        """Return the text."""


class Drawn(Protocol):
    """How one severity is drawn: colours, a shape, its word, and a hatching for Unknown."""

    @property
    def fill(self) -> str:
        """The fill, '#rrggbb'."""

    @property
    def ink(self) -> str:
        """The colour of text on the fill."""

    @property
    def shape(self) -> str:
        """One letter that stands for it without colour."""

    @property
    def word(self) -> str:
        """What people call it."""

    @property
    def pattern(self) -> str:
        """The name of a hatching in Plotly, or nothing."""
