"""Printed check values of sampling and degree-days."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from riskrules.science import degree_days, sampling
from riskrules.science.printed_value import Kind, PrintedValue, rounded
from riskrules.science.provenance import COMPUTED, READ, Tag

BY_HAND = "plain arithmetic, can be followed by hand"
STATSMODELS = "statsmodels 0.15.0"

# proportion, error, plants
_RELATIVE = ".05/.2/475 .05/.3/212 .1/.2/225 .1/.3/100 .2/.2/100 .2/.3/45 .5/.2/25 .5/.3/12"
_ABSOLUTE = ".1/.05/139 .5/.1/97 .05/.05/73"
_DETECT = ".01/299 .02/149 .05/59 .10/29 .20/14"
_ZERO = "20/.1391 50/.0582 60/.0487 100/.0295 300/.0099"
_DESIGN = ".05/5/1.20 .05/10/1.45 .2/5/1.8 .2/10/2.8"
_WILSON = """
0/20 0 .161125
0/50 0 .071348
0/100 0 .036993
1/50 .003539 .104954
3/60 .017150 .137005
5/100 .021544 .111750
7/50 .069508 .261862
12/100 .069994 .198121
50/100 .403832 .596168
20/20 .838875 1
"""
# low, high, slope, intercept
_SEQUENTIAL = ".02/.10/.05025/1.2966 .05/.15/.09193/1.8161"
_DAYS = """
5/18/3 8.500 8.500 8.500 8.500
8/20/3 11.000 11.000 11.000 11.000
1/13/3 4.000 4.167 4.353 4.500
-2/10/3 1.000 2.042 2.436 2.250
-4/8/3 0.000 1.042 1.436 1.250
-3/5/3 0.000 0.250 0.436 0.500
0/4/3 0.000 0.125 0.218 0.250
45/75/50 10.000 10.417 10.882 11.250
40/70/50 5.000 6.667 7.542 7.500
"""
_METHODS = (
    ("average", degree_days.average),
    ("triangle", degree_days.single_triangle),
    ("sine", degree_days.single_sine),
    ("irish", degree_days.irish_rule),
)


def _row(
    name: str,
    what: str,
    printed: str,
    unit: str,
    compute: Callable[[], float],
    kind: Kind = "arithmetic",
    source: str = BY_HAND,
    tag: Tag = COMPUTED,
) -> PrintedValue:
    group = "degree-days" if name.startswith("days") else "sampling"
    return rounded(name, group, kind, what, printed, unit, source, tag, compute)


def _cells(text: str) -> Iterator[tuple[list[float], str]]:
    for entry in text.split():
        *given, printed = entry.split("/")
        yield [float(each) for each in given], printed


def _sizes() -> Iterator[PrintedValue]:
    for (p, c), printed in _cells(_RELATIVE):
        what = f"plants for a relative error {c:g} at p {p:g}"
        compute = partial(sampling.sample_size_relative, p, c)
        yield _row(f"relative-{p:g}-{c:g}", what, printed, "1", compute)
    for (p, d), printed in _cells(_ABSOLUTE):
        what = f"plants for ±{d:g} at p {p:g}, 95 %"
        compute = partial(sampling.sample_size_absolute, p, d)
        yield _row(f"absolute-{p:g}-{d:g}", what, printed, "1", compute)
    for (p,), printed in _cells(_DETECT):
        what = f"plants to meet one at p {p:g}, 95 %"
        yield _row(f"detect-{p:g}", what, printed, "1", partial(sampling.detect_one_n, p))
    for (n,), printed in _cells(_ZERO):
        what = f"upper bound, none of {n:g}, one-sided 95 %"
        bound = partial(sampling.zero_of_n_upper, int(n))
        yield _row(f"zero-{n:g}", what, printed, "1", bound)


def _design(rho: float, per_unit: float) -> float:
    return float(sampling.design_effect(rho, per_unit))


def _bound(affected: int, examined: int, upper: int) -> float:
    return float(sampling.wilson_interval(affected, examined)[upper])


def _line(low: float, high: float, place: int) -> float:
    return sampling.sequential_lines(low, high)[place]


def _intervals() -> Iterator[PrintedValue]:
    for (rho, size), printed in _cells(_DESIGN):
        what = f"design effect, rho {rho:g}, {size:g} a unit"
        yield _row(f"design-{rho:g}-{size:g}", what, printed, "1", partial(_design, rho, size))
    for upper, printed in enumerate(("0.0695083", "0.2618619")):
        what = f"Wilson {'upper' if upper else 'lower'}, 7 of 50"
        source = "by hand: centre 0.1656851, half 0.0961768"
        compute = partial(_bound, 7, 50, upper)
        yield _row(f"wilson-hand-{upper}", what, printed, "1", compute, source=source)
    for line in _WILSON.strip().splitlines():
        counts, *bounds = line.split()
        affected, examined = (int(each) for each in counts.split("/"))
        for upper, printed in enumerate(bounds):
            what = f"Wilson {'upper' if upper else 'lower'}, {affected} of {examined}"
            exact = f"{float(printed):.6f}"
            compute = partial(_bound, affected, examined, upper)
            name = f"wilson-{affected}-{examined}-{upper}"
            yield _row(name, what, exact, "1", compute, "regression", STATSMODELS)
    for (low, high, slope), intercept in _cells(_SEQUENTIAL):
        for place, printed in ((0, f"{slope:.5f}"), (1, f"-{intercept}"), (2, intercept)):
            what = f"sequential {('slope', 'lower', 'upper')[place]}, {low:g} against {high:g}"
            name = f"sequential-{low:g}-{place}"
            yield _row(name, what, printed, "1", partial(_line, low, high, place))


def _day(
    model: Callable[[float, float, float], object], least: float, most: float, base: float
) -> float:
    return float(model(least, most, base))  # type: ignore[arg-type]


def _days() -> Iterator[PrintedValue]:
    ipm = "UC IPM citrus figure: mean 64, lower limit 53 °F"
    mean = partial(_day, degree_days.average, 54.0, 74.0, 53.0)
    what = "averaging, mean 64 °F, base 53 °F"
    yield _row("days-ipm", what, "11", "°F d", mean, source=ipm, tag=READ)
    worked = "by hand: (4 x 2.30053 + 6 x 0.74536)/3.14159"
    sine = partial(_day, degree_days.single_sine, 1.0, 13.0, 3.0)
    yield _row("days-sine", "sine, 1/13/3 °C", "4.3526", "°C d", sine, source=worked)
    for line in _DAYS.strip().splitlines():
        day, *cells = line.split()
        least, most, base = (float(each) for each in day.split("/"))
        unit = "°F d" if base > 40 else "°C d"
        for (method, model), printed in zip(_METHODS, cells, strict=True):
            source = "numerical integration, 200,000 points" if method == "sine" else BY_HAND
            compute = partial(_day, model, least, most, base)
            what = f"{method}, {day}"
            yield _row(f"days-{method}-{day}", what, printed, unit, compute, source=source)


def values() -> list[PrintedValue]:
    """List the printed values of sampling and degree-days."""
    return [*_sizes(), *_intervals(), *_days()]
