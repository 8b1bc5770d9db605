"""The typical year written out in many dialects and zones reads back to the same facts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yaml

from riskrules.facts.derive import derive
from riskrules.facts.table import DECIMALS, Facts
from riskrules.farm import setup_of
from riskrules.review import shipped_rulebook
from riskrules.sources import Gathered, gather

from .dialects import ALL, EXACT, Dialect

OURS = {
    "t": "air_temperature",
    "dew": "dew_point_temperature",
    "rh": "relative_humidity",
    "wind": "wind_speed",
    "rain": "thickness_of_rainfall_amount",
}
LAST_DECIMAL = 10**-DECIMALS * 1.01
"""Facts are rounded to four decimals. Where values come back to 1e-9, a sum over the 8,760 hours
is off by less than 1e-5, so that a fact can differ by one unit of its last decimal, no more; and
hours at or above a threshold can not differ at all."""


def gathered_in(folder: Path, dialect: Dialect, year: pd.DataFrame, gathered: Gathered) -> Gathered:
    """Write the year in a dialect beside a farm file and read it as a farm's log."""
    mapping = dialect.write(year, folder)
    (folder / "log.yaml").write_text(yaml.safe_dump(mapping), encoding="utf-8")
    text = yaml.safe_load((gathered.farm.folder / "farm.yaml").read_text(encoding="utf-8"))
    text["blocks"][0]["logs"] = [{"file": "log*", "placed": "outside", "mapping": "log.yaml"}]
    text["events"] = []
    (folder / "farm.yaml").write_text(yaml.safe_dump(text), encoding="utf-8")
    return gather([folder], folder / "farm.yaml")


def facts_of(found: Gathered, events_of: Gathered) -> Facts:
    """Return the facts of the one block, with the events of the typical year."""
    (block,) = found.blocks
    farm = events_of.farm
    return derive(
        block.text.block, block.sources, events_of.events, shipped_rulebook().shared, farm.place,
        setup_of(events_of.blocks[0].text), int(events_of.blocks[0].sources[0].time[-1]),
    )  # fmt: skip


@pytest.fixture(scope="module")
def expected(gathered: Gathered) -> Facts:
    return facts_of(gathered, gathered)


def same_facts(found: Facts, expected: Facts) -> None:
    """Compare every table: which facts there are, when, their bounds, causes, words, stages."""
    assert set(found) == set(expected)
    for kind, table in expected.items():
        ours = found[kind]
        assert ours.ids == table.ids, kind
        for a, b in zip((*ours.start, *ours.end), (*table.start, *table.end), strict=True):
            np.testing.assert_array_equal(a, b, err_msg=kind)
        for name in table.least:
            for a, b in ((ours.least, table.least), (ours.most, table.most)):
                np.testing.assert_allclose(
                    a[name], b[name], rtol=0, atol=LAST_DECIMAL, err_msg=f"{kind} {name}"
                )
            np.testing.assert_array_equal(ours.cause[name], table.cause[name], f"{kind} {name}")
        for name, parts in table.shares.items():
            for part, share in parts.items():
                np.testing.assert_allclose(ours.shares[name][part], share, rtol=0, atol=1e-9)
        assert ours.words == table.words and ours.key == table.key
        np.testing.assert_array_equal(ours.stages_sure, table.stages_sure)
        np.testing.assert_array_equal(ours.forecast, table.forecast)


@pytest.mark.parametrize(
    "dialect",
    [pytest.param(d, id=d.name, marks=[] if d.quick else pytest.mark.long) for d in ALL],
)
def test_a_dialect_reads_back_to_the_same_readings_and_facts(
    dialect: Dialect,
    year: pd.DataFrame,
    gathered: Gathered,
    expected: Facts,
    tmp_path: Path,
) -> None:
    found = gathered_in(tmp_path, dialect, year, gathered)
    (rows,) = found.blocks[0].sources
    assert rows.step == 3600 and not rows.forecast.any()
    np.testing.assert_array_equal(rows.time, year["end"])
    for short, name in OURS.items():
        off = dialect.off.get(short, EXACT)
        np.testing.assert_allclose(rows.values[name], year[short], rtol=0, atol=off, err_msg=name)
        assert not rows.cause[name].any(), name
    same_facts(facts_of(found, gathered), expected)


def test_there_are_facts_to_compare(expected: Facts, year: pd.DataFrame) -> None:
    assert sum(len(table) for table in expected.values()) > 1000
    assert expected["day"].least["warm_hours"].sum() > 900
    # Hours on a threshold itself, which the last digit of a conversion would move across it.
    assert (year["t"] == 26).any() and (year["rh"] == 90).any() and (year["rh"] == 95).any()


def test_the_dialects_are_many_and_of_all_kinds() -> None:
    assert len({d.name for d in ALL}) == len(ALL) >= 20
    assert sum(d.quick for d in ALL) == 4
