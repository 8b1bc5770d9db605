"""Units: what a log's numbers become, against numbers worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from riskrules.errors import LogError
from riskrules.logs.read import read_log
from riskrules.logs.variables import VARIABLES, understand
from riskrules.sources import gather

from .helpers import notes, only, says, written

# Exact by definition (international yard and pound 1959; BIPM SI brochure): 1 in = 25.4 mm,
# 1 mile = 1609.344 m, 1 nautical mile = 1852 m, 0 degC = 273.15 K, degC = (degF - 32) / 1.8.
BY_HAND = [
    ("air_temperature [degF]", 86, 30),
    ("air_temperature [°F]", 32, 0),
    ("temperature [F]", -40, -40),
    ("air_temperature [K]", 300, 26.85),
    ("air_temperature [°C]", 21.5, 21.5),
    ("dew_point [degF]", 50, 10),
    ("soil_temperature [degF]", 104, 40),
    ("humidity [1]", 0.875, 87.5),
    ("relative_humidity [%]", 87.5, 87.5),
    ("leaf_wetness [%]", 25, 0.25),
    ("surface_wetness [1]", 0.25, 0.25),
    ("rain [in]", 0.1, 2.54),
    ("rain [inch]", 2, 50.8),
    ("rain [mm]", 3.3, 3.3),
    ("wind [mph]", 10, 4.4704),
    ("wind [km/h]", 36, 10),
    ("wind_speed [kt]", 10, 18520 / 3600),
    ("wind_speed [m s-1]", 7, 7),
]


@pytest.mark.parametrize(("header", "given", "expected"), BY_HAND)
def test_a_value_becomes_what_it_is_in_our_unit(tmp_path, header, given, expected):
    rows = read_log(written(tmp_path, f"time,{header}\n2026-05-01T00:00Z,{given}\n"))
    (value,) = rows.values.values()
    assert value[0] == pytest.approx(expected, rel=2e-6, abs=1e-9)
    assert not rows.notes


def test_every_variable_of_ours_has_a_unit_in_that_table():
    seen = {understand(header).variable.name for header, _, _ in BY_HAND}  # type: ignore[union-attr]
    assert seen == set(VARIABLES)


def test_limits_are_judged_in_our_unit_and_said_as_the_log_has_it(tmp_path):
    text = "time,air_temperature [degF]\n2026-05-01T00:00Z,140\n2026-05-01T01:00Z,141\n"
    rows = read_log(written(tmp_path, text))
    assert rows.values["air_temperature"][0] == pytest.approx(60)
    assert np.isnan(rows.values["air_temperature"][1])
    assert "air_temperature is 141" in notes(rows)[0] and "-40 to 60 degC" in notes(rows)[0]


def test_the_same_weather_in_other_units_gives_the_same_readings(tmp_path):
    ours = "time,air_temperature [degC],rain [mm],wind [m/s]\n2026-05-01T00:00Z,25,25.4,4.4704\n"
    theirs = "time,wind [mph],rain [in],temperature [F]\n2026-05-01T00:00Z,10,1,77\n"
    a = read_log(written(tmp_path, ours, "a.csv"))
    b = read_log(written(tmp_path, theirs, "b.csv"))
    for name, column in a.values.items():
        assert b.values[name] == pytest.approx(column)


def test_a_mapping_file_beside_a_log_names_its_columns_and_zone(tmp_path):
    log = written(tmp_path, "when,T1,RH\n2026-05-01T02:00,68,91\n", "box.csv")
    with pytest.raises(LogError):
        gather([log])
    written(tmp_path, 'zone: Europe/Paris\ncolumns: {when: time, T1: "air_temperature [degF]", '
            'RH: "relative_humidity [%]"}\n', "box.csv.mapping.yaml")  # fmt: skip
    (block,) = gather([log]).blocks
    rows = block.sources[0]
    assert rows.values["air_temperature"][0] == pytest.approx(20)
    assert rows.time[0] == 1777593600  # 2026-05-01T00:00Z, two hours before Paris


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ("zone: Mars/Base\n", 0, "no zone 'Mars/Base'"),
        ("zone: UTC\ncolums: {a: b}\n", 2, "'colums' is not a key here"),
        ("columns: {a: [b]}\n", 1, "['b']"),
        ("zone: UTC\n\tcolumns: {}\n", 2, "tab"),
        ("", 1, "empty"),
    ],
)
def test_a_mapping_file_with_a_fault_is_refused(tmp_path, text, line, word):
    log = written(tmp_path, "when,T1\n2026-05-01T02:00,68\n", "box.csv")
    written(tmp_path, text, "box.csv.mapping.yaml")
    says(only(lambda: gather([log])), "box.csv.mapping.yaml", line, word)
