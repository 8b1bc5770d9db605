"""Any text at all: a log or events file is read, or refused with a message; never a traceback."""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.errors import LogError, PackError
from riskrules.facts.derive import Place, derive
from riskrules.facts.state import Setup
from riskrules.farm import load_farm
from riskrules.logs.events import read_events
from riskrules.logs.judge import judge
from riskrules.logs.read import read_log
from riskrules.logs.readings import Readings
from riskrules.packs.load import load_pack
from riskrules.review import shipped_rulebook

from .helpers import HEAD, written

SHARED = shipped_rulebook().shared
HEADERS = ["time", "air_temperature [degC]", "relative_humidity [%]", "rain [in]", "forecast", "x",
           "temperature [F]", "timestamp", "surface_wetness [1]", "time ", ""]  # fmt: skip
CELLS = st.one_of(
    st.sampled_from(["", "-9999", "104", "1e400", "nan", "inf", "True", "2026-05-01T00:00Z", '"',
                     "²", "2026-05-01T01:00", "2026-05-01T02:00+02:00", "2026-02-30T00:00Z", "1",
                     "0x1F", "9999-12-31T23:59Z", "2026-03-29T02:30", "2026-05-01", "20260501", "#",
                     "\x00"]),
    st.floats(-1e5, 1e5).map(str),
    st.text(max_size=6),
)  # fmt: skip
TABLES = st.tuples(
    st.lists(st.sampled_from(HEADERS), min_size=1, max_size=5),
    st.lists(st.lists(CELLS, max_size=6), max_size=6),
    st.sampled_from(["\n", "\r\n", "\r"]),
).map(lambda t: t[2].join(",".join(row) for row in [t[0], *t[1]]))
ANY = st.one_of(TABLES, st.text(max_size=200))


def unharmed(rows: Readings) -> None:
    """What was read holds together: in order, known or with a reason, nothing impossible."""
    assert len(rows) == len(set(rows.time.tolist())) > 0
    assert (np.diff(rows.time) > 0).all()
    for name, column in rows.values.items():
        assert not np.isinf(column).any()
        reason = np.isnan(column) & (rows.cause[name] == 0)
        assert not reason.any() or name == "wind_speed"  # no rule asks for wind
        shut = rows.least(name) == rows.most(name)  # an interval says why too
        assert not (shut & (rows.cause[name] != 0)).any()


@settings(max_examples=200)
@given(text=ANY, zone=st.sampled_from([None, "UTC", "Europe/Paris"]))
def test_any_small_log_is_read_or_refused(text: str, zone: str | None) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), text.encode("utf-8", "surrogatepass"))
        try:
            rows = read_log(path, zone)
        except LogError as error:
            assert error.problems and all(p.file == "log.csv" and p.message for p in error.problems)
            return
        unharmed(rows)
        unharmed(judge(rows))


@settings(max_examples=60)
@given(raw=st.binary(max_size=120))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), raw)
        for read in (read_log, read_events):
            with pytest.raises(LogError):
                read(path)
        for load in (load_farm, lambda p: load_pack(p, SHARED)):
            with pytest.raises(PackError):
                load(path)  # type: ignore[operator]


EVENT_WORDS = "pick,stages,60 65,sighting,drip,flower gray_mold,irrigation,no_entry".split(",")
EVENT_CELLS = st.one_of(CELLS, st.sampled_from(EVENT_WORDS))


@settings(max_examples=150)
@given(
    head=st.permutations(["time", "event", "what", "end", "affected", "examined"]),
    rows=st.lists(st.lists(EVENT_CELLS, max_size=7), max_size=5),
    zone=st.sampled_from([None, "Europe/Paris"]),
)
def test_any_small_events_file_is_read_or_refused(head, rows, zone) -> None:
    text = "\n".join(",".join(row) for row in [head, *rows])
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), text.encode("utf-8", "surrogatepass"))
        try:
            assert read_events(path, zone) == sorted(read_events(path, zone))
        except LogError as error:
            assert all(p.message for p in error.problems)


@settings(max_examples=80)
@given(text=st.one_of(st.text(max_size=80), st.text("[]{}:-&*!|>'\"\n\t a1,#%@`?", max_size=60)))
def test_any_small_yaml_is_read_or_refused(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder), text.encode("utf-8", "surrogatepass"), "f.yaml")
        for load in (load_farm, lambda p: load_pack(p, SHARED)):
            with pytest.raises(PackError):
                load(path)  # type: ignore[operator]


VALUES = st.one_of(st.just(""), st.integers(-5, 40).map(str), st.just("-9999"))
SEASON = st.lists(st.tuples(st.integers(0, 400), VALUES, VALUES), min_size=2, max_size=30)


@settings(max_examples=60)
@given(season=SEASON, seed=st.integers(0, 9))
def test_rows_in_any_order_give_the_same_readings_and_the_same_facts(season, seed) -> None:
    rows = [f"2026-05-{1 + m // 24:02d}T{m % 24:02d}:00Z,{t},{rh}\n" for m, t, rh in season]
    mixed = rows[:]
    random.Random(seed).shuffle(mixed)
    with tempfile.TemporaryDirectory() as folder:
        one, other = (read_log(written(Path(folder), HEAD + "".join(r))) for r in (rows, mixed))
    assert one.time.tolist() == other.time.tolist() and one.step == other.step
    for name in one.values:
        np.testing.assert_array_equal(one.values[name], other.values[name])
        assert one.cause[name].tolist() == other.cause[name].tolist()
    place, now = Place(40.0, 0.0, "UTC"), int(one.time[-1])
    facts = [derive("b", [r], [], SHARED, place, Setup(), now) for r in (one, other)]
    for kind, table in facts[0].items():
        twin = facts[1][kind]
        assert table.ids == twin.ids
        for name in table.least:
            np.testing.assert_array_equal(table.least[name], twin.least[name])
            np.testing.assert_array_equal(table.most[name], twin.most[name])
