"""Limits by which readings are judged: data, by variable and placement, each with its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, Field, ValidationError

from riskrules.errors import PackError, Problem
from riskrules.logs.mapping import Placed
from riskrules.logs.variables import OUTSIDE, VARIABLES
from riskrules.packs.check import meant
from riskrules.packs.load import schema_problems
from riskrules.packs.marked import Marked, Where, read_marked
from riskrules.packs.model import Strict, Tag
from riskrules.shipped import rulepacks_folder

PLACEMENTS: tuple[str, ...] = get_args(Placed)
Span = tuple[float, float]
Finite = Annotated[float, Field(allow_inf_nan=False)]


class Sourced(Strict):
    """What a number means and how we know it."""

    means: Annotated[str, Field(min_length=1)]
    source: Annotated[str, Field(min_length=1)]
    tag: Tag


class Number(Sourced):
    """A number as written."""

    value: Annotated[float, Field(ge=0, allow_inf_nan=False)]


class Ends(Sourced):
    """Two numbers, the lower first."""

    value: tuple[Finite, Finite]


class OwnNumber(Number):
    """A number of one of our own tests, with its unit."""

    unit: Literal["1", "%", "h", "d", "K", "mm h-1"]


class LimitText(Strict):
    """The limits of a variable in one placement; see ``limits.yaml`` for what each is."""

    fail_span: Ends | None = None
    suspect_span: Ends | None = None
    rate_per_hour: Number | None = None
    rate_least: Number | None = None
    spike: Number | None = None
    flat_hours: Number | None = None
    flat_tolerance: Number | None = None
    flat_below: Number | None = None
    doubt: Number | None = None
    borrowed: Number | None = None
    filled_per_hour: Number | None = None


class VariableText(Strict):
    """The limits of a variable: everywhere, and what a placement has otherwise."""

    unit: str
    everywhere: LimitText
    under_cover: LimitText = LimitText()
    outside: LimitText = LimitText()
    in_bed: LimitText = LimitText()


class OwnText(Strict):
    """The limits of our own tests as written."""

    seen_share: OwnNumber
    against_dew_point: OwnNumber
    wet_from: OwnNumber
    dry_below: OwnNumber
    never_dries_below: OwnNumber
    never_dries_hours: OwnNumber
    never_wets_from: OwnNumber
    never_wets_hours: OwnNumber
    never_wets_rain: OwnNumber
    never_wets_rain_hours: OwnNumber
    creep_weeks: OwnNumber
    creep_rise: OwnNumber
    colder_than_outside: OwnNumber
    turned_days: OwnNumber
    turned_range: OwnNumber
    turned_together: OwnNumber
    turned_margin: OwnNumber
    usual_hour: OwnNumber


class LimitsText(Strict):
    """The limits file as written."""

    limits: dict[str, VariableText]
    own_tests: OwnText


@dataclass(frozen=True, slots=True)
class Limit:
    """The limits of a variable in one placement, in its unit; None where there is no such test.

    ``doubt`` and ``borrowed`` are half-widths; ``filled_per_hour`` is one for each hour to the
    nearer reading. See ``limits.yaml``.
    """

    fail_span: Span
    doubt: float
    borrowed: float
    suspect_span: Span | None = None
    rate_per_hour: float | None = None
    rate_least: float = 0.0
    spike: float | None = None
    flat_hours: float | None = None
    flat_tolerance: float = 0.0
    flat_below: float | None = None
    filled_per_hour: float | None = None


@dataclass(frozen=True, slots=True)
class OwnLimits:
    """The limits of our own tests; see ``own_tests`` in ``limits.yaml``."""

    seen_share: float
    against_dew_point: float
    wet_from: float
    dry_below: float
    never_dries_below: float
    never_dries_hours: float
    never_wets_from: float
    never_wets_hours: float
    never_wets_rain: float
    never_wets_rain_hours: float
    creep_weeks: float
    creep_rise: float
    colder_than_outside: float
    turned_days: float
    turned_range: float
    turned_together: float
    turned_margin: float
    usual_hour: float


@dataclass(frozen=True, slots=True)
class Limits:
    """All limits: by variable and placement, and those of our own tests."""

    by_place: Mapping[tuple[str, str], Limit]
    own: OwnLimits

    def of(self, name: str, placed: str = "under_cover") -> Limit:
        """Return the limits of a variable; ``air_temperature_outside`` is outside whatever.

        Examples
        --------
        >>> load_limits().of("air_temperature_outside", "in_bed").fail_span
        (-40.0, 60.0)
        """
        place = "outside" if name.endswith(OUTSIDE) else placed
        return self.by_place[name.removesuffix(OUTSIDE), place]

    def filled_per_hour(self, placed: str = "under_cover") -> dict[str, float]:
        """Return, for variables that may be filled, the half-width for each hour of a gap."""
        found = {v: self.of(v, placed).filled_per_hour for v in VARIABLES}
        return {v: width for v, width in found.items() if width is not None}


def load_limits(path: Path | None = None) -> Limits:
    """Read and check a limits file, by default the one that is shipped (read once).

    Raises
    ------
    PackError
        With every trouble in the file: its line, column, and what was expected.
    """
    return check_limits(read_marked(path)) if path else _shipped()


@lru_cache(maxsize=1)
def _shipped() -> Limits:
    return check_limits(read_marked(rulepacks_folder() / "limits.yaml"))


def check_limits(doc: Marked) -> Limits:
    """Return the limits of a document that was read already; see `load_limits`."""
    try:
        text = LimitsText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
    problems = _missing(doc, text) + _own_problems(doc, text.own_tests)
    found: dict[tuple[str, str], Limit] = {}
    for name in text.limits.keys() & VARIABLES.keys():
        for placed in PLACEMENTS:
            limit, wrong = _limit(doc, name, placed, text.limits[name])
            problems += wrong
            if limit:
                found[name, placed] = limit
    if problems:
        unique = {str(p): p for p in sorted(problems, key=lambda p: (p.line, p.column))}
        raise PackError(list(unique.values()))
    own = OwnLimits(**{f.name: getattr(text.own_tests, f.name).value for f in fields(OwnLimits)})
    return Limits(MappingProxyType(found), own)


def _missing(doc: Marked, text: LimitsText) -> list[Problem]:
    """Return what is wrong with the names and units of variables."""
    found = []
    for name, each in text.limits.items():
        if name not in VARIABLES:
            hint = meant(name, VARIABLES)
            found.append(doc.problem(("limits", name), f"no variable named '{name}'{hint}"))
        elif each.unit != VARIABLES[name].unit:
            message = f"{name} is given in {each.unit}; expected {VARIABLES[name].unit}"
            found.append(doc.problem(("limits", name, "unit"), message))
    for name in VARIABLES.keys() - text.limits.keys():
        found.append(doc.problem(("limits",), f"'{name}' is missing"))
    return found


def _limit(
    doc: Marked, name: str, placed: str, text: VariableText
) -> tuple[Limit | None, list[Problem]]:
    """Return the limits of a variable in one placement, or what is wrong with them."""
    own: LimitText = getattr(text, placed)
    values: dict[str, float | Span] = {}
    where: dict[str, Where] = {}
    for key in LimitText.model_fields:
        place = placed if getattr(own, key) is not None else "everywhere"
        number = getattr(getattr(text, place), key)
        where[key] = ("limits", name, place, key)
        if number is not None:
            values[key] = number.value
    problems = [
        doc.problem(("limits", name, "everywhere"), f"'{key}' is missing")
        for key in ("fail_span", "doubt", "borrowed")
        if key not in values
    ]
    wrong = {k: m for k, m in _wrong(values).items() if k in values}
    problems += [doc.problem((*where[k], "value"), m) for k, m in wrong.items()]
    if problems:
        return None, problems
    return Limit(**values), []  # type: ignore[arg-type]


def _wrong(values: Mapping[str, float | Span]) -> dict[str, str]:
    """Return, by key, what is wrong with the values of one limit."""
    found = {}
    for key in ("fail_span", "suspect_span"):
        span = values.get(key)
        if isinstance(span, tuple) and not span[0] < span[1]:
            found[key] = f"{key} is {span[0]:g} to {span[1]:g}; expected the lower first"
    fail, suspect = values.get("fail_span"), values.get("suspect_span")
    if isinstance(fail, tuple) and isinstance(suspect, tuple) and not found:
        if suspect[0] < fail[0] or suspect[1] > fail[1]:
            shown = f"suspect_span is {suspect[0]:g} to {suspect[1]:g}"
            found["suspect_span"] = f"{shown}; expected it within {fail[0]:g} to {fail[1]:g}"
    for key in ("rate_per_hour", "spike", "flat_hours", "flat_tolerance", "doubt", "borrowed"):
        if values.get(key) == 0:
            found[key] = f"{key} is 0; expected more than 0"
    if "flat_hours" in values and "flat_tolerance" not in values:
        found["flat_hours"] = "flat_hours stands without flat_tolerance; expected both"
    return found


def _own_problems(doc: Marked, own: BaseModel) -> list[Problem]:
    found = []
    for key, least, most in (
        ("seen_share", 0, 1),
        ("turned_together", 0, 1),
        ("usual_hour", 0, 24),
        ("creep_weeks", 2, 100),
        ("turned_days", 2, 400),
    ):
        value = getattr(own, key).value
        if not least <= value <= most:
            message = f"{key} is {value:g}; expected {least} to {most}"
            found.append(doc.problem(("own_tests", key, "value"), message))
    return found


def true_ends(name: str) -> Span:
    """Return the least and most that a variable can truly be, whatever a reader lets through.

    Examples
    --------
    >>> true_ends("relative_humidity_outside")
    (0, 100.0)
    """
    variable = VARIABLES[name.removesuffix(OUTSIDE)]
    is_humidity = variable.name == "relative_humidity"
    return variable.least, min(variable.most, 100.0) if is_humidity else variable.most
