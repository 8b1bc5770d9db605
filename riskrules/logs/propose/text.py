"""A proposed mapping as YAML, each line with its reason, what is open left commented."""

from __future__ import annotations

from typing import Any

from riskrules.logs.mapping import LogMapping
from riskrules.logs.propose.columns import Guess

LONGEST_COMMENT = 600
"""Characters of one remark. (assumption)"""
ORDER = ("time", "date_order", "zone", "clock", "stamp", "delimiter", "decimal", "sheet", "missing")


def quoted(text: str) -> str:
    r"""Return text as a YAML scalar in double quotes, whatever its characters.

    Examples
    --------
    >>> quoted('T "1"'), quoted("a\tb")
    ('"T \\"1\\""', '"a\\x09b"')
    """
    return '"' + "".join(_escaped(c) for c in text) + '"'


def _escaped(char: str) -> str:
    code = ord(char)
    if char in '"\\':
        return "\\" + char
    if 0x20 <= code <= 0x7E or 0xA0 <= code <= 0xD7FF and code not in (0x2028, 0x2029):
        return char
    if 0xD800 <= code <= 0xDFFF:
        return "?"
    return f"\\x{code:02x}" if code < 256 else f"\\u{code:04x}" if code < 65_536 else (
        f"\\U{code:08x}")  # fmt: skip


def remark(text: str, indent: str = "") -> str:
    """Return text as comment lines of YAML, without signs that would end them."""
    plain = "".join(c if c.isprintable() else " " for c in text)[:LONGEST_COMMENT]
    lines, line = [], f"{indent}#"
    for word in plain.split(" "):
        if len(line) + len(word) > 98:
            lines.append(line)
            line = f"{indent}#"
        line += f" {word}"
    return "\n".join([*lines, line])


def _value(value: Any) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(quoted(v) for v in value) + "]"
    return quoted(value)


def as_yaml(
    file: str,
    mapping: LogMapping,
    reasons: list[str],
    doubts: list[str],
    columns: list[Guess],
    left: list[tuple[str, str]],
) -> str:
    """Return the text of a mapping file that loads back into the mapping."""
    parts = [remark(f"How {file} is to be read: a proposal. Correct it where it is wrong.")]
    parts += [remark("QUESTION " + d) for d in doubts]
    keys = mapping.model_dump()
    said = mapping.model_fields_set or {"stamp"}  # a file of comments alone holds no mapping
    for key in ORDER:
        about = [r for r in reasons if r.startswith(f"{key}:")]
        parts += [remark(r) for r in about]
        if key in said:
            parts.append(f"{key}: {_value(keys[key])}")
        parts += [remark(f"{k}: {value}") for k, value in left if k == key]
    parts += [remark(r) for r in reasons if r.split(":")[0] not in (*ORDER, "column")]
    parts += _column_lines(mapping, columns)
    return "\n".join(parts) + "\n"


def _column_lines(mapping: LogMapping, columns: list[Guess]) -> list[str]:
    parts = []
    if mapping.columns:
        parts.append("columns:")
    elif columns:
        parts.append("# columns:")
    for guess in columns:
        parts.append(remark(f"{guess.header}: {guess.why} ({guess.sure})", "  "))
        if guess.header in mapping.columns:
            parts.append(f"  {quoted(guess.header)}: {quoted(mapping.columns[guess.header])}")
        if guess.ours is None:
            lines = [f"{quoted(guess.header)}: {quoted(o)}" for o in guess.options]
            parts += [remark(line, "  ") for line in lines]
    return parts
