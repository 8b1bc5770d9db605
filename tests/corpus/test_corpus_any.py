"""Any bytes, and any damage to a good file: readings or a refusal, and every row accounted for."""

from __future__ import annotations

import gzip
import os
import random
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.errors import LogError
from riskrules.logs.mapping import LogMapping
from riskrules.logs.read import read_log, read_logs
from riskrules.logs.readings import Readings

from .case import HEAD, rows, written_with
from .cases_packed import zipped

LONG = os.environ.get("RISKRULES_LONG") == "1"
MANY = 2_000 if LONG else 60
SOME = 500 if LONG else 30
GOOD = [
    (HEAD + rows()).encode(),
    (HEAD + rows()).replace("\n", "\r\n").encode("utf-16"),
    written_with(";", point=",").encode("latin-1"),
    ("# box 3\ntime\ttemp\trh\n\t°C\t%\n" + rows().replace(",", "\t")).encode(),
    ("time temp [degC] rh [%]\n" + rows().replace(",", " ")).encode(),
]
PACKED = [gzip.compress(GOOD[0], mtime=0), zipped({"a.csv": GOOD[0], "b.csv": GOOD[2]})]
MAPPINGS = st.sampled_from([
    None, LogMapping(delimiter=";", decimal=","), LogMapping(header_line=2, missing=["81", "x"]),
    LogMapping(stamp="start", delimiter="space"), LogMapping(time=["time"], decimal=","),
])  # fmt: skip


def read(raw: bytes, name: str = "log.csv", mapping: LogMapping | None = None) -> list[Readings]:
    """Read bytes as a file; a refusal gives none, anything else than a refusal fails."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(raw)
        try:
            found = read_logs(path, "UTC", mapping)
        except LogError as error:
            assert error.problems and all(p.file and p.message for p in error.problems)
            return []
    for one in found:
        unharmed(one)
    return found


def unharmed(found: Readings) -> None:
    (tally,) = found.tallies
    assert tally.read == tally.kept + tally.refused + tally.repeated + tally.blank
    assert tally.kept == len(found) > 0 and found.rows_read == tally.read
    assert min(tally.refused, tally.repeated, tally.blank) >= 0
    assert (np.diff(found.time) > 0).all()
    assert not len(found.spans) or (found.spans[1:] <= np.diff(found.time)).all()
    for name, column in found.values.items():
        assert not np.isinf(column).any()
        assert (np.isnan(column) == (found.cause[name] != 0)).all() or name == "wind_speed"


def lines_of(raw: bytes) -> int:
    """Count the lines of UTF-8 text, however they end, the last one with or without an end."""
    text = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text.count(b"\n") + (not text.endswith(b"\n"))


@settings(max_examples=MANY)
@given(raw=st.binary(max_size=300), name=st.sampled_from(["a.csv", "a.txt", "a.gz", "a.zip"]))
def test_any_bytes_give_readings_or_a_refusal(raw: bytes, name: str) -> None:
    read(raw, name)


@settings(max_examples=SOME)
@given(head=st.sampled_from([b"\x1f\x8b\x08", b"PK\x03\x04", b"\xff\xfe", b"PAR1", b"BZh", b"\x00t",
                             "time,rh [%]\n".encode("utf-16")]),
                             raw=st.binary(max_size=200))  # fmt: skip
def test_any_bytes_after_a_known_beginning_do_no_harm(head: bytes, raw: bytes) -> None:
    read(head + raw)


CHANGES = st.lists(
    st.tuples(st.sampled_from(["delete", "double", "swap", "turn", "insert"]), st.floats(0, 1),
              st.floats(0, 1), st.binary(min_size=1, max_size=3)), min_size=1, max_size=6,
)  # fmt: skip


def changed(raw: bytes, changes: list[tuple[str, float, float, bytes]]) -> bytes:
    data = bytearray(raw)
    for what, first, second, new in changes:
        if not data:
            break
        i, j = sorted((int(first * (len(data) - 1)), int(second * (len(data) - 1))))
        if what == "delete":
            del data[i : min(j, i + 40)]
        elif what == "double":
            data[i:i] = data[i : min(j, i + 80)]
        elif what == "swap":
            data[i], data[j] = data[j], data[i]
        elif what == "turn":
            data[i] ^= new[0]
        else:
            data[i:i] = new
    return bytes(data)


@settings(max_examples=MANY)
@given(raw=st.sampled_from(GOOD), changes=CHANGES, mapping=MAPPINGS)
def test_a_good_file_with_any_damage_is_read_or_refused(raw, changes, mapping) -> None:
    read(changed(raw, changes), mapping=mapping)


@settings(max_examples=SOME)
@given(raw=st.sampled_from(PACKED), changes=CHANGES)
def test_a_packed_file_with_any_damage_is_read_or_refused(raw, changes) -> None:
    read(changed(raw, changes), "a.zip")


LINE = st.one_of(
    st.integers(0, 7).map(lambda h: rows(h, h + 1)[:-1]),
    st.sampled_from(["", ",,", "   ", "2026-05-01T03:00Z,1", "2026-05-01T03:00Z,1,2,3,4", "end",
                     "x,1,2", ',"', '2026-05-01T04:00Z,"1,2', "2026-05-01T04:00Z,,", "Total,,",
                     "2026-05-01T09:00Z,wet,-9999", "\x00\x00", "2026-05-01T09:00Z,1,\x00"]),
)  # fmt: skip


@settings(max_examples=MANY)
@given(lines=st.lists(LINE, max_size=25), end=st.sampled_from(["\n", "\r\n", "\r"]))
def test_every_line_below_the_header_is_in_the_account(lines, end) -> None:
    raw = (HEAD + rows(0, 1) + "".join(x + "\n" for x in lines)).replace("\n", end).encode()
    (found,) = read(raw)
    (tally,) = found.tallies
    assert tally.read == lines_of(raw) - 1 == len(lines) + 1
    assert tally.blank == sum(not x.strip(" ,\x00") for x in lines)
    wrong = sum(bool(x.strip(" ,\x00")) and (x.count(",") != 2 or x.startswith(',"') or '"' in x)
                for x in lines)  # fmt: skip
    bad = sum(x in ("x,1,2", "Total,,") for x in lines)
    assert tally.refused == wrong + bad
    good = [x[:17] for x in lines if x.startswith("2026") and x.count(",") == 2 and '"' not in x]
    times = {"2026-05-01T00:00Z", *good}
    assert tally.kept == len(times) and tally.repeated == len(good) + 1 - len(times)


@settings(max_examples=SOME)
@given(hours=st.lists(st.integers(0, 40), min_size=2, max_size=20), seed=st.integers(0, 99))
def test_shuffled_rows_give_the_same_values_and_the_same_account(hours, seed) -> None:
    lines = [rows(h, h + 1) for h in hours]
    mixed = lines[:]
    random.Random(seed).shuffle(mixed)
    one, other = (read((HEAD + "".join(x)).encode())[0] for x in (lines, mixed))
    assert one.time.tolist() == other.time.tolist() and one.tallies == other.tallies
    for name in one.values:
        np.testing.assert_array_equal(one.values[name], other.values[name])


@settings(max_examples=SOME)
@given(
    columns=st.permutations(["time", "temp [degC]", "rh [%]", "rain [mm]"]),
    mark=st.sampled_from([",", ";", "\t", "|"]),
    codec=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"]),
    values=st.lists(st.tuples(st.integers(-300, 500), st.integers(0, 100), st.integers(0, 90)),
                    min_size=1, max_size=9),
    point=st.sampled_from([".", ","]),
)  # fmt: skip
def test_a_table_written_in_any_dialect_reads_back(columns, mark, codec, values, point) -> None:
    if mark == ",":
        point = "."
    lines = [mark.join(columns)]
    for h, (t, rh, rain) in enumerate(values):
        cell = {"time": f"2026-05-01T{h:02d}:00Z", "temp [degC]": f"{t / 10:.1f}",
                "rh [%]": str(rh), "rain [mm]": f"{rain / 10:.1f}"}  # fmt: skip
        lines.append(mark.join(
            cell[c] if c == "time" else cell[c].replace(".", point) for c in columns
        ))  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.txt"
        path.write_bytes(("\n".join(lines) + "\n").encode(codec))
        found = read_log(path)
    assert found.values["air_temperature"].tolist() == [
        float(f"{t / 10:.1f}") for t, _, _ in values
    ]
    assert found.values["relative_humidity"].tolist() == [rh for _, rh, _ in values]
    assert found.tallies[0].kept == len(values)
