"""A pairing code as an address and as a QR picture."""

from __future__ import annotations

import io
from urllib.parse import quote

import segno


def pair_address(front: str, code: str) -> str:
    """Return the address that a device opens to use a code.

    Examples
    --------
    >>> pair_address("https://192.168.1.7:8443", "a_b")
    'https://192.168.1.7:8443/pair?code=a_b'
    """
    return f"{front}/pair?code={quote(code, safe='')}"


def picture_in_text(address: str) -> str:
    """Return the QR picture of an address in characters of a terminal."""
    out = io.StringIO()
    segno.make(address, error="m", micro=False).terminal(out, border=2, compact=True)
    return out.getvalue()


def picture(address: str) -> bytes:
    """Return the QR picture of an address as PNG, black on white."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="png", scale=7, border=4)
    return out.getvalue()
