"""Edit a list of mappings in a YAML text, part by part: all that is not edited stays as it is.

A text that is loaded and dumped anew loses quotes, blanks and, at times, comments or line ends.
Here only the letters of the edited values change.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field

import yaml


def in_quotes(words: str) -> str:
    r"""Return text as a quoted YAML scalar, which no reader takes for anything but text.

    Examples
    --------
    >>> print(in_quotes('no: "#1"'))
    "no: \"#1\""
    """
    return json.dumps(words, ensure_ascii=False)


@dataclass(slots=True)
class ListEdit:
    """The list under one key of a document, and the edits of it that wait to be made.

    Values are given as they shall be written; see `in_quotes`.
    """

    text: str
    key: str
    root: yaml.MappingNode = field(init=False)
    items: yaml.SequenceNode = field(init=False)
    splices: list[tuple[int, int, str]] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        """Find the list; ValueError where the text is no mapping with such a list."""
        root = yaml.compose(self.text, Loader=yaml.SafeLoader)
        pairs = root.value if isinstance(root, yaml.MappingNode) else []
        items = next((v for k, v in pairs if k.value == self.key), None)
        if not isinstance(root, yaml.MappingNode) or not isinstance(items, yaml.SequenceNode):
            raise ValueError(f"no list '{self.key}'; expected a mapping with one")
        self.root, self.items = root, items

    @property
    def line_end(self) -> str:
        r"""How lines of this text end: '\n' or '\r\n'."""
        return "\r\n" if "\r\n" in self.text else "\n"

    def update(self, at: int, values: Mapping[str, str]) -> None:
        """Set values of the list's item ``at``; a key that it lacks goes behind its last."""
        item = self.items.value[at]
        there = {k.value: v for k, v in item.value}
        for key, written in values.items():
            if key in there:
                self._replace(there[key], written)
            elif item.flow_style:
                self._insert(item.value[-1][1].end_mark.index, f", {key}: {written}")
            else:
                column = item.value[0][0].start_mark.column
                self._insert(
                    self._end_of_line(item), f"{self.line_end}{' ' * column}{key}: {written}"
                )

    def append(self, values: Mapping[str, str]) -> None:
        """Add an item, written as the last one is."""
        body = "{" + ", ".join(f"{k}: {v}" for k, v in values.items()) + "}"
        if self.items.flow_style and self.items.value:
            self._insert(self.items.value[-1].end_mark.index, f", {body}")
            return
        if not self.items.value:
            start, end = self.items.start_mark.index, self.items.end_mark.index
            start -= self.text[start - 1] == " "
            self.splices.append((start, end, ""))
            self._insert(self._line_end_after(end), f"{self.line_end}  - {body}")
            return
        last = self.items.value[-1]
        dash = self.items.start_mark.column
        gap = " " * max(last.start_mark.column - dash - 1, 1)
        if not last.flow_style:
            inner = f"{self.line_end}{' ' * (dash + 1)}{gap}"
            body = inner.join(f"{k}: {v}" for k, v in values.items())
        self._insert(self._end_of_line(last), f"{self.line_end}{' ' * dash}-{gap}{body}")

    def remove(self, at: int) -> None:
        """Take out an item, with the comments on its lines; an emptied list is written ``[]``."""
        items = self.items.value
        if self.items.flow_style:
            start, end = items[at].start_mark.index, items[at].end_mark.index
            if at + 1 < len(items):
                end = items[at + 1].start_mark.index
            elif at:
                start = items[at - 1].end_mark.index
            self.splices.append((start, end, ""))
            return
        start = self.text.rfind("\n", 0, items[at].start_mark.index) + 1
        end = min(self._end_of_line(items[at]) + len(self.line_end), len(self.text))
        self.splices.append((start, end, ""))
        if len(items) == 1:
            key = next(k for k, _ in self.root.value if k.value == self.key)
            self._insert(self.text.index(":", key.end_mark.index) + 1, " []")

    def made(self) -> str:
        """Return the text with all edits made."""
        text = self.text
        for start, end, new in sorted(self.splices, key=lambda s: s[:2], reverse=True):
            text = text[:start] + new + text[end:]
        return text

    def _replace(self, node: yaml.Node, written: str) -> None:
        start, end = node.start_mark.index, node.end_mark.index
        if self.text[start:end].endswith("\n"):  # a block scalar takes the end of its line along
            written += self.line_end
        self.splices.append((start, end, written))

    def _insert(self, at: int, new: str) -> None:
        self.splices.append((at, at, new))

    def _end_of_line(self, node: yaml.Node) -> int:
        """Return where the last line of a node ends, its comment included."""
        last = node
        while isinstance(last, yaml.MappingNode) and not last.flow_style and last.value:
            last = last.value[-1][1]
        end = last.end_mark.index
        return self._line_end_after(end - 1 if self.text[end - 1 : end] == "\n" else end)

    def _line_end_after(self, index: int) -> int:
        found = self.text.find("\n", index)
        if found < 0:
            return len(self.text)
        return found - 1 if self.text[found - 1] == "\r" else found
