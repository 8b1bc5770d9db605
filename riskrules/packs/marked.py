"""YAML with the line and column of every value, and without what a pack never needs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml
from pydantic import ValidationError

from riskrules.errors import PackError, Problem

Where = tuple[str | int, ...]
"""Path of a value in a document, such as ``("rules", 3, "when", 0)``."""

LARGEST = 1_000_000
"""Bytes a pack may have; ours are under 40,000. (assumption)"""

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class Marked:
    """A document as plain Python values, with the place of each.

    ``path`` is where it lies, None for a text that lies nowhere.
    """

    def __init__(self, file: str, text: str, path: Path | None = None) -> None:
        self.file = file
        self.text = text
        self.path = path
        self.places: dict[Where, tuple[int, int]] = {}
        self.repeated: list[Problem] = []
        self.data = self._read(text)

    def problem(self, where: Where, message: str) -> Problem:
        """Return a problem at the value's place, or at the nearest place above it."""
        while where and where not in self.places:
            where = where[:-1]
        line, column = self.places.get(where, (1, 1))
        return Problem(self.file, line, column, message)

    def _read(self, text: str) -> Any:
        if len(text) > LARGEST:
            message = f"{len(text):,} characters; expected at most {LARGEST:,}"
            raise PackError([Problem(self.file, 0, 0, message)])
        try:
            self._refuse_aliases(text)
            node = yaml.compose(text, Loader=_Loader)
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            line, column = _at(mark)
            message = f"not readable as YAML: {error.problem or error.context}"
            if "\t" in "".join(text.split("\n")[max(line - 1, 0) : line]):
                message += " (the line has a tab; expected spaces)"
            raise PackError([Problem(self.file, line, column, message)]) from None
        except yaml.YAMLError as error:
            raise PackError([Problem(self.file, 0, 0, f"not readable as YAML: {error}")]) from None
        if node is None:
            raise PackError([Problem(self.file, 1, 1, "empty; expected a mapping")])
        data = self._plain(node, ())
        if self.repeated:
            raise PackError(self.repeated)
        return data

    def _refuse_aliases(self, text: str) -> None:
        if "*" not in text:
            return
        for event in yaml.parse(text, Loader=_Loader):
            if isinstance(event, yaml.AliasEvent):
                line, column = _at(event.start_mark)
                message = f"alias *{event.anchor}; expected the value written out (no aliases)"
                raise PackError([Problem(self.file, line, column, message)])

    def _plain(self, node: yaml.Node, where: Where) -> Any:
        self.places[where] = (node.start_mark.line + 1, node.start_mark.column + 1)
        if isinstance(node, yaml.MappingNode):
            found: dict[str, Any] = {}
            for key_node, value_node in node.value:
                key = str(key_node.value)
                mark = key_node.start_mark
                if key in found:
                    message = f"'{key}' stands twice; expected once"
                    self.repeated.append(
                        Problem(self.file, mark.line + 1, mark.column + 1, message)
                    )
                found[key] = self._plain(value_node, (*where, key))
            return found
        if isinstance(node, yaml.SequenceNode):
            return [self._plain(item, (*where, i)) for i, item in enumerate(node.value)]
        return _scalar(node)


def _at(mark: Any) -> tuple[int, int]:
    """Return a mark's line and column from 1, or zeros where there is none."""
    return (mark.line + 1, mark.column + 1) if mark else (0, 0)


def _scalar(node: yaml.Node) -> Any:
    """Return the value of a scalar: only text, whole numbers, numbers, yes/no and null."""
    tag, text = node.tag, node.value
    if tag == "tag:yaml.org,2002:null":
        return None
    if tag == "tag:yaml.org,2002:bool":
        return text.lower() in ("true", "yes", "on")
    if tag in ("tag:yaml.org,2002:int", "tag:yaml.org,2002:float"):
        number = text.replace("_", "")
        try:
            return int(number) if tag.endswith("int") else float(number)
        except ValueError:
            return text
    return text


def read_marked(path: Path) -> Marked:
    """Read a YAML file; raise PackError with file, line and column if it cannot be read."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise PackError([Problem(str(path), 0, 0, "no such file")]) from None
    except UnicodeDecodeError as error:
        message = f"byte {error.start} is not UTF-8; expected UTF-8 text"
        raise PackError([Problem(str(path), 0, 0, message)]) from None
    except OSError as error:
        raise PackError([Problem(str(path), 0, 0, error.strerror or str(error))]) from None
    return Marked(path.name, text, path)


def schema_problems(doc: Marked, error: ValidationError) -> list[Problem]:
    """Turn pydantic's complaints into problems with line and column."""
    found = []
    for item in error.errors():
        where: Where = tuple(item["loc"])
        label = str(where[-1]) if where else "document"
        if item["type"] == "extra_forbidden":
            message = f"'{label}' is not a key here"
        elif item["type"] == "missing":
            message = f"'{label}' is missing"
        else:
            shown = repr(item["input"])
            shown = shown if len(shown) < 60 else shown[:57] + "..."
            message = f"{label} is {shown}; {item['msg'][:1].lower()}{item['msg'][1:]}"
        found.append(doc.problem(where, message))
    return found
