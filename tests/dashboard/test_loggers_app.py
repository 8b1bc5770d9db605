"""'Loggers' under AppTest."""

from __future__ import annotations

import doctest
import importlib
import shutil
import sys

import pytest
from dash_help import ROOT

from dashboard.words import say

sys.path.insert(0, str(ROOT / "tests" / "view"))
from rows_help import cut_farm  # noqa: E402
from test_loggers_view import STRANGE  # noqa: E402

from riskrules.logs.mapping import load_mapping  # noqa: E402
from riskrules.view import loggers_drop  # noqa: E402
from riskrules.view.desk import open_desk  # noqa: E402


@pytest.fixture
def messy(tmp_path):
    shutil.copytree(ROOT / "sample_logs" / "messy", tmp_path / "messy")
    return tmp_path / "messy" / "farm.yaml"


def test_the_report_of_messy_logs(app, messy):
    run = app("loggers", messy, "reader", lb="gate_beds")
    assert not run.exception
    words = "\n".join(m.value for m in run.markdown)
    report = open_desk(messy).report()
    for trouble in report.troubles:
        if trouble.block == "gate_beds":
            assert f"{trouble.count:,} \\(" in words
            assert not trouble.example.row or trouble.example.row in [c.value for c in run.code]
    assert say("loggers.some_silent", n=4, all=4) in [w.value for w in run.warning]
    assert say("loggers.drop_not") in [c.value for c in run.caption]


def test_a_file_is_dropped_mapped_and_read_in(app, tmp_path):
    farm = cut_farm(tmp_path / "farm", journal=False)
    run = app("loggers", farm, "grower")
    run.file_uploader[0].set_value(("../evil.csv", STRANGE, "text/csv"))
    run.run()
    assert not run.exception and not run.error
    known = run.query_params["file"]
    known = known[0] if isinstance(known, list) else known
    dropped = loggers_drop.found(farm.parent, known)
    assert dropped is not None and dropped.path.parent == farm.parent / "dropped"

    again = app("loggers", farm, "grower", file=known, of="south_beds.south_beds")  # a reload
    k = f"map_{known}_"
    for key, value in (("date_order", "day_first"), ("c1", "air_temperature [degF]"),
                       ("c2", "relative_humidity [%]"), ("c3", "ignore")):  # fmt: skip
        next(s for s in again.selectbox if s.key == k + key).select(value)
        again.run()
        assert not again.exception
    mapping = load_mapping(dropped.mapping_path)
    assert mapping.columns["T [F]"] == "air_temperature [degF]"
    assert mapping.date_order == "day_first"
    assert any("48 of 48 rows" in m.value for m in again.markdown)
    next(b for b in again.button if b.label == say("loggers.read_in")).click()
    again.run()
    assert not again.exception
    assert "48 of 48 rows are kept" in again.success[0].value
    files = [f for f in open_desk(farm).report().files if f.file == dropped.path.name]
    assert sum(f.in_use for f in files) == 48


def test_what_cannot_be_read_is_said(app, tmp_path):
    farm = cut_farm(tmp_path / "farm", journal=False)
    run = app("loggers", farm, "grower")
    run.file_uploader[0].set_value(("a.csv", b"\x00\x01\x02binary", "text/csv"))
    run.run()
    assert not run.exception and run.error


@pytest.mark.parametrize("known", ["../../farm", "0" * 16, "<b>", "*"])
def test_an_address_names_no_path(app, tmp_path, known):
    farm = cut_farm(tmp_path / "farm", journal=False)
    run = app("loggers", farm, "grower", file=known)
    assert not run.exception
    assert say("loggers.drop_gone") in [w.value for w in run.warning]


def test_a_scout_cannot_drop(app, messy):
    run = app("loggers", messy, "scout")
    assert not run.exception and not run.get("file_uploader")


@pytest.mark.parametrize("module", ["loggers_report", "loggers_drop", "loggers_table"])
def test_doctests(module):
    found = doctest.testmod(importlib.import_module(f"dashboard.{module}"))
    assert found.attempted and not found.failed
