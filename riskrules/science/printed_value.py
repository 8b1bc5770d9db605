"""One printed value beside the code that recomputes it, and the verdict on it.

Three kinds are kept apart. *arithmetic*: does our code give the printed number? *biology*: does
the model agree with what its own paper observed? *regression*: the number only repeats what our
own code or a library printed once; it guards against change and is never counted as published.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from riskrules.science.provenance import TAGS, Tag

Kind = Literal["arithmetic", "biology", "regression"]
Side = Literal["equal", "at least", "at most"]
Verdict = Literal["agrees", "known disagreement", "off", "changed"]

SLACK = 1e-9  # binary fractions of a printed half digit


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedValue:
    """A printed value, its origin, and how to recompute it.

    Parameters
    ----------
    id : str
        Short identifier, unique in the registry.
    group : str
        The model or table it belongs to.
    kind : {'arithmetic', 'biology', 'regression'}
        What the comparison can show.
    what : str
        The quantity, in words.
    printed : float
        The value as printed. [unit]
    unit : str
        Unit of all four numbers.
    tolerance : float
        How far apart still counts as agreeing; of a pinned row, how far the computed value may
        move from ``pinned``. [unit]
    source : str
        Where it is printed.
    tag : Tag
        How we know what is printed there.
    compute : callable
        Recomputes the value by our code.
    pinned : float or None
        For a known disagreement, what our code gives. [unit]
    reason : str
        Why it disagrees, or how the tolerance was chosen.
    side : {'equal', 'at least', 'at most'}
        Whether the paper prints a value, or only a bound.

    Raises
    ------
    ValueError
        If a pinned row gives no reason, or its pinned value agrees with print after all.
    """

    id: str
    group: str
    kind: Kind
    what: str
    printed: float
    unit: str
    tolerance: float
    source: str
    tag: Tag
    compute: Callable[[], float]
    pinned: float | None = None
    reason: str = ""
    side: Side = "equal"

    def __post_init__(self) -> None:
        """Refuse a disagreement without reason, or one that is none."""
        if self.pinned is None:
            return
        if not self.reason:
            raise ValueError(f"{self.id}: a known disagreement; expected a reason")
        if self.agrees(self.pinned):
            raise ValueError(f"{self.id}: pinned {self.pinned:g} agrees; expected no pin")

    def agrees(self, computed: float) -> bool:
        """Whether a computed value agrees with print; NaN never does."""
        allowed = self.tolerance + SLACK
        if self.side == "at least":
            return computed >= self.printed - allowed
        if self.side == "at most":
            return computed <= self.printed + allowed
        return abs(computed - self.printed) <= allowed

    def verdict(self, computed: float) -> Verdict:
        """Judge a computed value.

        A row with a pinned value is a known disagreement while the value stays where it was
        pinned, and changed once it moves, even towards print: then the pin is to be removed.
        """
        if self.pinned is None:
            return "agrees" if self.agrees(computed) else "off"
        stayed = abs(computed - self.pinned) <= self.tolerance + SLACK
        return "known disagreement" if stayed else "changed"


def half_last_digit(printed: str) -> float:
    """Half a unit of the last printed digit: what rounding alone can hide.

    >>> half_last_digit("1.705"), half_last_digit("299")
    (0.0005, 0.5)
    """
    _, point, decimals = printed.partition(".")
    return 0.5 * 10.0 ** -len(decimals) if point else 0.5


def _bound(cell: str) -> tuple[Side, str]:
    if cell.startswith(">="):
        return "at least", cell[2:]
    if cell.startswith("<="):
        return "at most", cell[2:]
    return "equal", cell


def _read_row(
    line: str, group: str, kind: Kind, sources: Mapping[str, str], notes: Mapping[str, str]
) -> dict[str, object]:
    cells = [cell.strip() for cell in line.split("|")]
    if len(cells) != 9:
        raise ValueError(f"'{line.strip()}' has {len(cells)} cells; expected 9")
    name, what, printed, tolerance, pinned, unit, tag, source, note = cells
    side, digits = _bound(printed)
    if tag not in TAGS:
        raise ValueError(f"{name}: tag '{tag}'; expected one of {', '.join(TAGS)}")
    book, _, place = source.partition(" ")
    return {
        "id": name,
        "group": group,
        "kind": kind,
        "what": what,
        "printed": float(digits),
        "side": side,
        "unit": unit,
        "tolerance": half_last_digit(digits) if tolerance == "." else float(tolerance),
        "pinned": None if pinned == "." else float(pinned),
        "source": f"{sources[book]} {place}".strip(),
        "tag": tag,
        "reason": "" if note == "." else notes[note],
    }


def read_rows(
    text: str,
    group: str,
    kind: Kind,
    sources: Mapping[str, str],
    notes: Mapping[str, str],
    computes: Mapping[str, Callable[[], float]],
) -> list[PrintedValue]:
    """Read printed values from a text with one row a line.

    Parameters
    ----------
    text : str
        Lines of nine cells parted by bars: id, what, printed (``>=`` or ``<=`` for a bound),
        tolerance, pinned, unit, tag, source (key of ``sources``, blank, place) and note (key of
        ``notes``). A dot is the rule: half the last digit, no pin, no note.
    group, kind : str
        Of all rows.
    sources, notes : mapping of str to str
        Full text behind the keys.
    computes : mapping of str to callable
        What recomputes each id.

    Returns
    -------
    list of PrintedValue
        In the order of the text.

    Raises
    ------
    ValueError
        If a line has other than nine cells or an unknown tag.
    KeyError
        If a source, note or id has nothing behind it.
    """
    rows = []
    for line in text.strip().splitlines():
        row = _read_row(line, group, kind, sources, notes)
        name = str(row["id"])
        rows.append(PrintedValue(**row, compute=computes[name]))  # type: ignore[arg-type]
    return rows


def rounded(
    id: str,
    group: str,
    kind: Kind,
    what: str,
    printed: str,
    unit: str,
    source: str,
    tag: Tag,
    compute: Callable[[], float],
) -> PrintedValue:
    """Make a row that must agree within rounding of its last printed digit.

    Raises
    ------
    ValueError
        If printed is no number.
    """
    return PrintedValue(
        id=id,
        group=group,
        kind=kind,
        what=what,
        printed=float(printed),
        unit=unit,
        tolerance=half_last_digit(printed),
        source=source,
        tag=tag,
        compute=compute,
    )
