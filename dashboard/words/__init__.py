"""Every text that a person reads, by key, from one YAML file a language and page.

``en.yaml`` and ``en_PAGE.yaml`` are one list: keys of nested maps are joined by dots. Another
language is the same files with another name; what it lacks is said in English.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path
from string import Formatter
from typing import Any

import yaml

FOLDER = Path(__file__).parent
DEFAULT = "en"
STRICT = "RISKRULES_STRICT_WORDS"
"""Where set (in tests), a missing key is an error; else the key itself is shown."""
_language: ContextVar[str] = ContextVar("language", default=DEFAULT)


def use(language: str) -> None:
    """Speak a language from here on, in this session's thread."""
    _language.set(language if language in languages() else DEFAULT)


def language() -> str:
    """Return the language that is spoken."""
    return _language.get()


def languages() -> list[str]:
    """Return the languages that there are files of."""
    return sorted({p.stem.split("_")[0] for p in FOLDER.glob("*.yaml")})


def say(key: str, **values: object) -> str:
    """Return a text, with its values put in.

    Raises
    ------
    KeyError
        In tests: if there is no such text, or it wants a value that is not given.
    """
    text = known(_language.get()).get(key, known(DEFAULT).get(key))
    try:
        if text is None:
            raise KeyError(f"no text '{key}' in dashboard/words; expected one in en*.yaml")
        return text.format(**values)
    except (KeyError, IndexError):
        if os.environ.get(STRICT):
            raise
        return text if text is not None else key


def has(key: str) -> bool:
    """Return whether there is such a text, for keys made of data (such as of a severity)."""
    return key in known(DEFAULT)


def known(of: str) -> dict[str, str]:
    """Return all texts of a language, read again a second after a file was changed."""
    return _read(_files(of, int(time.monotonic())))


@lru_cache(maxsize=8)
def _files(of: str, second: int) -> tuple[tuple[str, int], ...]:
    files = sorted([*FOLDER.glob(f"{of}.yaml"), *FOLDER.glob(f"{of}_*.yaml")])
    return tuple((str(p), p.stat().st_mtime_ns) for p in files)


@lru_cache(maxsize=8)
def _read(files: tuple[tuple[str, int], ...]) -> dict[str, str]:
    found: dict[str, str] = {}
    for name, _ in files:
        data = yaml.safe_load(Path(name).read_text(encoding="utf-8")) or {}
        for key, text in _flat(data, ""):
            if key in found:
                raise ValueError(f"{name}: '{key}' stands in another file too; expected it once")
            found[key] = text
    return found


def _flat(data: dict[str, Any], before: str) -> Iterator[tuple[str, str]]:
    for key, value in data.items():
        name = f"{before}{key}"
        if isinstance(value, dict):
            yield from _flat(value, f"{name}.")
        elif isinstance(value, str):
            yield name, value
        else:
            raise ValueError(f"'{name}' is {value!r}; expected a text (quote it)")


def fields(text: str) -> set[str]:
    """Return the names of the values that a text wants.

    Examples
    --------
    >>> sorted(fields("{block}: {n} jobs"))
    ['block', 'n']
    """
    return {name for _, name, _, _ in Formatter().parse(text) if name}
