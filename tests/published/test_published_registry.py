"""The registry itself: nothing off, disagreements known, regression never called published."""

import importlib
from dataclasses import replace

import pytest

from riskrules.science.printed import failed, models, printed_values, recompute, tally
from riskrules.science.printed_value import PrintedValue, half_last_digit, read_rows
from riskrules.science.provenance import TAGS

REGISTRY = printed_values()


@pytest.mark.parametrize("value", REGISTRY, ids=lambda value: value.id)
def test_each_printed_value_agrees_or_is_a_known_disagreement(value):
    (row,) = recompute([value])
    assert row.verdict in {"agrees", "known disagreement"}, f"{row.what}: {row.computed}"


def test_the_registry_compares_with_much_that_is_published():
    published = [value for value in REGISTRY if value.kind != "regression"]
    assert len(published) >= 120


def test_every_row_has_a_tag_and_a_source():
    assert all(value.tag in TAGS and value.source for value in REGISTRY)


def test_library_output_is_never_called_published():
    libraries = ("MetPy", "psychrolib", "statsmodels")
    printed_by_one = [value for value in REGISTRY if value.source.startswith(libraries)]
    assert printed_by_one
    assert {value.kind for value in printed_by_one} == {"regression"}


def test_known_disagreements_give_their_reason():
    pinned = [value for value in REGISTRY if value.pinned is not None]
    assert len(pinned) >= 10
    assert all(value.reason for value in pinned)


@pytest.mark.parametrize("value", REGISTRY, ids=lambda value: value.id)
def test_each_row_fails_when_the_code_drifts(value):
    sign = 1 if value.side == "at most" else -1
    expected = value.printed if value.pinned is None else value.pinned
    away = expected + sign * (1.01 * value.tolerance + 1e-6)
    drift = away - value.compute()
    moved = replace(value, compute=lambda: value.compute() + drift)
    assert len(failed(recompute([moved]))) == 1


def test_a_value_that_can_not_be_computed_is_off():
    value = next(value for value in REGISTRY if value.pinned is None)
    (row,) = recompute([replace(value, compute=lambda: float("nan"))])
    assert row.verdict == "off"


def test_a_pinned_value_that_moves_to_print_is_changed():
    value = next(value for value in REGISTRY if value.pinned is not None)
    (row,) = recompute([replace(value, compute=lambda: value.printed)])
    assert row.verdict == "changed"


def test_a_pin_that_agrees_with_print_is_refused():
    value = next(value for value in REGISTRY if value.pinned is None and value.side == "equal")
    with pytest.raises(ValueError, match="agrees; expected no pin"):
        replace(value, pinned=value.printed, reason="none")


def test_a_pin_without_reason_is_refused():
    value = next(value for value in REGISTRY if value.pinned is not None)
    with pytest.raises(ValueError, match="expected a reason"):
        replace(value, reason="")


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("a | b | 1 | . | . | h | read | s", "has 8 cells; expected 9"),
        ("a | b | 1 | . | . | h | guessed | s | .", "a: tag 'guessed'; expected one of read"),
    ],
)
def test_a_bad_line_is_refused(line, message):
    with pytest.raises(ValueError, match=message):
        read_rows(line, "group", "arithmetic", {"s": "source"}, {}, {"a": lambda: 1.0})


@pytest.mark.parametrize(("printed", "half"), [("14", 0.5), ("0.0065", 0.00005), ("2.0", 0.05)])
def test_rounding_hides_half_a_digit(printed, half):
    assert half_last_digit(printed) == pytest.approx(half)


def test_rows_are_counted_by_kind_and_verdict():
    counts = tally(recompute())
    assert sum(counts.values()) == len(REGISTRY)
    assert {kind for kind, _ in counts} == {"arithmetic", "biology", "regression"}


def test_bounds_are_judged_on_their_side_only():
    value = next(value for value in REGISTRY if value.id == "wilson-warm")
    assert isinstance(value, PrintedValue)
    assert value.agrees(26.0)
    assert not value.agrees(24.9)


@pytest.mark.parametrize("card", models(), ids=lambda card: card.module)
def test_each_model_card_names_a_module_its_references_and_its_limits(card):
    assert importlib.import_module(f"riskrules.science.{card.module}").__doc__
    assert card.references
    assert card.limits
    assert card.tag in TAGS
