"""Photos: known by the hash of their bytes, so that one sent twice is kept once."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256

from riskrules.journal.trouble import JournalError

PHOTO_LIMIT = 10_000_000
"""The most bytes of a photo; what a phone takes is 2 to 8 million. (assumption)"""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo; ``hash`` is the SHA-256 of ``data``."""

    hash: str
    media_type: str
    data: bytes


def photo_of(data: bytes) -> Photo:
    """Return the photo of some bytes.

    Raises
    ------
    JournalError
        If they are no photo by their first bytes, or too many.

    Examples
    --------
    >>> photo_of(bytes.fromhex("89504e470d0a1a0a")).media_type
    'image/png'
    """
    if len(data) > PHOTO_LIMIT:
        message = f"the photo has {len(data):,} bytes; expected at most {PHOTO_LIMIT:,}"
        raise JournalError(message)
    kind = media_type(data)
    if kind is None:
        raise JournalError("the photo is no image; expected JPEG, PNG, WebP or HEIC")
    return Photo(sha256(data).hexdigest(), kind, bytes(data))


def media_type(data: bytes) -> str | None:
    """Return the media type that the first bytes of a file tell, None where it is no photo.

    Signatures: PNG W3C 2003 section 5.2, RIFF/WebP container, ISO 23008-12 for HEIC, JFIF
    (memory).
    """
    if data.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"mif1", b"heim", b"heis"):
        return "image/heic"
    return None
