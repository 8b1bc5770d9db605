"""Bytes of a text log to characters: UTF-8, UTF-16, Latin-1, each told from the bytes."""

from __future__ import annotations

import codecs

HEAD = 4_000
"""Bytes looked at to tell UTF-16 without a mark. (assumption)"""
FEW = 0.1
MANY = 0.3
"""Share of NUL bytes on one side of a pair that marks UTF-16, and that is too many on the other:
text in our letters has every second byte NUL. (assumption)"""
MUCH = 20
"""A text with one true UTF-8 character for so many false ones is UTF-8: bytes of Latin-1 make one
by chance only. (assumption)"""
BAD = "\ufffd"


def decode_log(raw: bytes) -> tuple[str, list[str]]:
    r"""Return a log's text, each line ended by ``\n``, and what is to be said of its encoding.

    What is no text stays as U+FFFD, so that the cell that holds it is not a number and not a
    time. Never raises.

    Examples
    --------
    >>> decode_log("°C\r\n1".encode("utf-8-sig"))
    ('°C\n1', [])
    >>> decode_log("°C".encode("latin-1"))
    ('°C', ['not UTF-8; read as Latin-1 (Windows-1252), from line 1 on'])
    """
    text, said = _decoded(raw)
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if "\x00" in text:
        said.append(f"{text.count(chr(0)):,} NUL characters; cells that hold them are not read")
        lines = text.split("\n")
        text = "\n".join(
            " " * bool(x) if not x.strip("\x00 \t") else x.replace("\x00", BAD) for x in lines
        )
    return text, said


def _decoded(raw: bytes) -> tuple[str, list[str]]:
    if raw.startswith(codecs.BOM_UTF8):
        raw = raw[3:]
    elif wide := _utf16(raw):
        text = raw.decode(wide, "replace").removeprefix("\ufeff")
        return text, [f"{wide.upper().replace('LE', ' LE').replace('BE', ' BE')}"]
    try:
        return raw.decode("utf-8"), []
    except UnicodeDecodeError as error:
        return _damaged(raw, error)


def _damaged(raw: bytes, error: UnicodeDecodeError) -> tuple[str, list[str]]:
    """Return text of bytes that are not all UTF-8: UTF-8 with a fault, or else Latin-1."""
    line = raw.count(b"\n", 0, error.start) + 1
    text = raw.decode("utf-8", "replace")
    whole = sum(c > "\x7f" and c != BAD for c in text)
    cut = error.end >= len(raw) and "unexpected end" in error.reason
    if cut or whole and whole * MUCH >= text.count(BAD):
        count = text.count(BAD)
        return text, [f"UTF-8 with {count:,} damaged characters, the first on line {line}"]
    try:
        text = raw.decode("cp1252")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return text, [f"not UTF-8; read as Latin-1 (Windows-1252), from line {line} on"]


def _utf16(raw: bytes) -> str:
    """Return utf-16le or utf-16be where the bytes are that, else an empty string."""
    if raw[:2] == codecs.BOM_UTF16_LE:
        return "utf-16le"
    if raw[:2] == codecs.BOM_UTF16_BE:
        return "utf-16be"
    head = raw[: min(HEAD, len(raw) // 2 * 2)]
    if len(head) < 4 or b"\x00" not in head:
        return ""
    even, odd = head[0::2].count(0) * 2 / len(head), head[1::2].count(0) * 2 / len(head)
    if odd > MANY and even < FEW:
        return "utf-16le"
    return "utf-16be" if even > MANY and odd < FEW else ""
