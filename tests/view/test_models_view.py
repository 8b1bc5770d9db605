"""Model sheets: the same numbers as the table, curves only where tested, points in their place."""

from __future__ import annotations

import json
import math

import pytest
from typer.testing import CliRunner

from dashboard.words import has, say
from riskrules.cli import app
from riskrules.science.cards import models
from riskrules.view.models import sheets
from riskrules.view.models_figure import SYMBOLS, figure

SHEETS = {s.module: s for s in sheets()}
PANELS = [(s.module, p) for s in sheets() for p in s.panels]
WORDS = {"x": "x", "y": "y", "not_tested": "not tested", **{k: k for k in SYMBOLS}}  # fmt: skip


def test_every_model_has_a_sheet_and_every_printed_value_is_on_one():
    assert [s.module for s in sheets() if s.card] == [c.module for c in models()]
    printed = json.loads(CliRunner().invoke(app, ["tables", "--json"]).stdout)
    mine = [row for s in sheets() for row in s.rows]
    assert len(mine) == len({r.id for r in mine}) == len(printed)
    for row in printed:
        found = next(r for r in mine if r.id == row["id"])
        keys = ("printed", "computed", "difference", "unit", "source", "tag", "verdict")
        assert [getattr(found, k) for k in keys] == [row[k] for k in keys]


def test_every_model_is_drawn_or_listed():
    for s in sheets():
        assert s.panels or s.marks or s.card is None, s.module
    assert all(m.source and m.tag for s in sheets() for m in s.marks)


@pytest.mark.parametrize(("module", "panel"), PANELS, ids=lambda p: getattr(p, "key", p))
def test_curves_are_drawn_only_where_tested(module, panel):
    low, high = panel.tested
    for curve in panel.curves:
        drawn = [x for x, y in zip(curve.x, curve.y, strict=True) if math.isfinite(y)]
        assert drawn and low <= min(drawn) and max(drawn) <= high
    spans = [t for t in figure(panel, WORDS, lambda row: row.what).data if t.name == "not tested"]
    hatched = sum(max(t.x) - min(t.x) for t in spans)
    shown = panel.shown[1] - panel.shown[0]
    assert hatched == pytest.approx(shown - (high - low))
    assert all(t.fillpattern.shape == "/" for t in spans)


def test_the_spans_are_those_of_the_papers():
    """Bulger 1987: 5 to 30 degC, 32 h. Grove 1985: 6 to 30 degC, 5 h. Wilson 1990: 51 h."""
    spans = {(m, p.key): p.tested for m, p in PANELS}
    assert spans["gray_mold_flower", "temperature"] == (5, 30)
    assert spans["gray_mold_flower", "hours"] == (0, 32)
    assert spans["leather_rot", "temperature"] == (6, 30)
    assert spans["leather_rot", "hours"] == (0, 5)
    assert spans["anthracnose_fruit", "hours"] == (0, 51)


def test_a_point_lies_on_its_curve_as_the_table_says():
    """Where our code and a point meet, the curve's height there is the table's computed value."""
    panel = next(p for p in SHEETS["gray_mold_flower"].panels if p.key == "temperature")
    all_flowers = next(p for p in panel.points if p.row.id == "bulger-all")
    assert (all_flowers.x, all_flowers.row.printed) == (20, 1.0)  # Bulger abstract: 20 degC, 24 h
    curve = next(c for c in panel.curves if c.label == "24 h")
    at = curve.x.index(20.0)
    assert curve.y[at] == pytest.approx(all_flowers.row.computed)


def test_observed_points_are_drawn_and_our_own_numbers_wait():
    fig = figure(
        next(p for p in SHEETS["gray_mold_flower"].panels if p.key == "share"),
        WORDS,
        lambda row: row.what,
    )
    kinds = {t.name: t for t in fig.data}
    assert set(kinds["biology"].marker.symbol) == {"triangle-down"}  # printed as at most half
    assert kinds["biology"].visible is True
    assert len(kinds["biology"].x) == 4
    first = figure(SHEETS["gray_mold_flower"].panels[0], WORDS, lambda row: row.what)
    assert next(t for t in first.data if t.name == "regression").visible == "legendonly"


def test_texts_are_there_for_all_axes_and_panels():
    for module, p in PANELS:
        assert say(f"models.axis_{p.x}") and say(f"models.axis_{p.y}")
        assert module == "hour_tables" or has(f"models.panel_{p.key}")
