"""Cases of packed files: each member is read on its own, and nothing is ever written."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Iterator, Mapping

from .case import GOOD, HEAD, Case, rows

PLAIN = (HEAD + rows()).encode()


def zipped(members: Mapping[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip archive with fixed dates, so that it is the same each time."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how) as archive:
        for name, data in members.items():
            archive.writestr(zipfile.ZipInfo(name, (2026, 5, 1, 0, 0, 0)), data, how)
    return out.getvalue()


def encrypted(data: bytes) -> bytes:
    """An archive whose member says that it is encrypted, in both of its headers."""
    raw = bytearray(data)
    raw[6] |= 1
    raw[raw.index(b"PK\x01\x02") + 8] |= 1
    return bytes(raw)


def damaged(data: bytes) -> bytes:
    """An archive with a byte of its first member's content turned round."""
    at = data.index(b"log.csv") + len("log.csv") + 20
    return data[:at] + bytes([data[at] ^ 0xFF]) + data[at + 1 :]


def cases() -> Iterator[Case]:
    def case(name: str, data: bytes, file: str, word: str = "") -> Case:
        error = (0, word) if word else None
        return Case(name, data, file=file, error=error, values={} if word else GOOD, above=-1)

    packed = gzip.compress(PLAIN, mtime=0)
    one = zipped({"log.csv": PLAIN})
    yield case("gzip", packed, "log.csv.gz")
    yield case("gzip_by_another_name", packed, "log.csv")
    half = len(PLAIN) // 2
    two = gzip.compress(PLAIN[:half], mtime=0) + gzip.compress(PLAIN[half:], mtime=0)
    yield case("gzip_in_two_pieces", two, "log.csv.gz")
    yield case("gzip_cut", packed[:-20], "log.csv.gz", "cut off or damaged")
    yield case("gzip_with_a_tail", packed + b"tail", "log.csv.gz", "cut off or damaged")
    yield case("gzip_of_nothing", gzip.compress(b"", mtime=0), "log.csv.gz", "empty")
    yield case("gzip_in_gzip", gzip.compress(packed, mtime=0), "l.gz", "archive within an archive")
    yield case("gzip_of_a_zip", gzip.compress(one, mtime=0), "l.gz", "archive within an archive")
    bomb = gzip.compress(b"0" * 20_000_000, mtime=0)
    yield case("gzip_bomb", bomb, "log.csv.gz", "unpacks to more than 16,000,000 bytes")
    yield case("zip", one, "a.zip")
    yield case("zip_by_another_name", one, "log.csv")
    yield case("zip_stored", zipped({"log.csv": PLAIN}, zipfile.ZIP_STORED), "a.zip")
    yield case("zip_bzip2", zipped({"log.csv": PLAIN}, zipfile.ZIP_BZIP2), "a.zip")
    yield case("zip_lzma", zipped({"log.csv": PLAIN}, zipfile.ZIP_LZMA), "a.zip")
    yield case("zip_name_upwards", zipped({"../../log.csv": PLAIN}), "a.zip")
    yield case("zip_name_absolute", zipped({"/etc/log.csv": PLAIN}), "a.zip")
    left = {"__MACOSX/._log.csv": b"\0\5", ".DS_Store": b"\0", "log.csv": PLAIN}
    yield case("zip_with_what_systems_leave_behind", zipped(left), "a.zip")
    folder = zipped({"logs/": b"", "logs/log.csv": PLAIN})
    yield case("zip_with_a_folder", folder, "a.zip")
    yield case("zip_empty", zipped({}), "a.zip", "an archive without files")
    yield case("zip_cut", one[:-30], "a.zip", "cut off or damaged")
    yield case("zip_damaged", damaged(one), "a.zip", "cut off or damaged")
    yield case("zip_encrypted", encrypted(one), "a.zip", "encrypted")
    yield case("zip_in_zip", zipped({"b.zip": one}), "a.zip", "archive within an archive")
    yield case(
        "zip_of_a_gzip", zipped({"log.csv.gz": packed}), "a.zip", "archive within an archive"
    )
    big = zipped({"log.csv": b"0" * 20_000_000})
    yield case("zip_bomb", big, "a.zip", "unpacks to more than 16,000,000 bytes")
    yield case("zip_of_an_empty_file", zipped({"log.csv": b""}), "a.zip", "empty")
    both = zipped({"b.csv": PLAIN, "a.csv": PLAIN})
    yield case(
        "zip_two_where_one_is_expected", both, "a.zip", "2 tables (a.zip/a.csv, a.zip/b.csv)"
    )
    yield case("packed_as_7z", b"7z\xbc\xaf\x27\x1c" + bytes(64), "a.7z", "packed as 7z")
    yield case("packed_as_xz", b"\xfd7zXZ\x00" + bytes(64), "a.xz", "packed as xz")
    yield case("packed_as_bzip2", b"BZh91AY&SY" + bytes(64), "a.bz2", "packed as bzip2")
