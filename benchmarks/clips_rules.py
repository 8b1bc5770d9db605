"""The shipped rules for CLIPS: every compiled variant as one ``defrule``, nothing left out.

CLIPS gets the rules in the form that suits it: literal slots (looked up by hash), one template a
kind for all packs, and no comparison of the block, since it holds one block at a time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from riskrules.engine.compile import Compiled, Link, Slot, Test, Variant

ROW = "row"
"""The slot that says which fact of its kind it is."""
SAME_BLOCK = "block"
FOUND = '(format found "{rule}{places}%n"{rows})'
"""What a rule does when it fires: write its number and its facts' rows to a file, in one piece;
that is quicker than any call back into Python."""


@dataclass(frozen=True, slots=True)
class ClipsRules:
    """Rules and templates in CLIPS' language.

    ``variants`` holds, by rule number, what fired; ``slots`` by kind, which attributes a fact
    carries beside its row.
    """

    templates: tuple[str, ...]
    rules: tuple[str, ...]
    variants: tuple[Variant, ...]
    slots: dict[str, tuple[str, ...]]


def clips_rules(compiled: Sequence[Compiled]) -> ClipsRules:
    """Return compiled packs in CLIPS' language, all in one rule base.

    Parameters
    ----------
    compiled : sequence of Compiled
        As `riskrules.engine.compile.compile_packs` makes them.
    """
    variants = tuple(v for rules in compiled for v in unique(rules.names.values()))
    slots: dict[str, set[str]] = {}
    for rules in compiled:
        for kind, attributes in rules.attributes.items():
            slots.setdefault(kind, set()).update(attributes)
    named = {kind: tuple(sorted(a - {SAME_BLOCK})) for kind, a in sorted(slots.items())}
    templates = tuple(
        f"(deftemplate {kind} (slot {ROW}) {' '.join(f'(slot {a})' for a in attributes)})"
        for kind, attributes in named.items()
    )
    written = tuple(defrule(i, variant) for i, variant in enumerate(variants))
    return ClipsRules(templates, written, variants, named)


def unique(variants: Iterable[Variant]) -> list[Variant]:
    """Return each variant once: an engine rule for each word is one pattern here."""
    return list({id(variant): variant for variant in variants}.values())


def defrule(number: int, variant: Variant) -> str:
    """Return one variant as a ``defrule``."""
    bound = _read_by_others(variant)
    patterns = [_pattern(slot, variant, bound) for slot in variant.slots]
    patterns += [f"(not {_pattern(slot, variant, bound)})" for slot in variant.absent]
    rows = "".join(f" ?{slot.alias}-{ROW}" for slot in variant.slots)
    then = FOUND.format(rule=number, places=" %d" * len(variant.slots), rows=rows)
    return f"(defrule r{number} {' '.join(patterns)} => {then})"


def _read_by_others(variant: Variant) -> set[tuple[str, str]]:
    """Return alias and attribute of everything that a later slot compares with."""
    return {
        (link.other, link.other_attribute) for slot in variant.all_slots for link in links_of(slot)
    }


def links_of(slot: Slot) -> Iterator[Link]:
    """Yield a slot's comparisons with other facts; that of the block always holds."""
    yield from slot.links
    if slot.key and slot.key.attribute != SAME_BLOCK:
        yield slot.key


def _pattern(slot: Slot, variant: Variant, bound: set[tuple[str, str]]) -> str:
    asked: dict[str, list[str]] = {ROW: []}
    free: set[str] = set()
    if slot in variant.slots:
        asked[ROW].append(f"?{slot.alias}-{ROW}")
    asked[ROW] += [f"~?{other}-{ROW}" for other in _others_of_kind(slot, variant)]
    for attribute in sorted(a for alias, a in bound if alias == slot.alias):
        asked.setdefault(attribute, []).append(f"?{slot.alias}-{attribute}")
        free.add(attribute)
    parts: list[Test | Link] = [*slot.tests, *links_of(slot)]
    for part in parts:
        found = asked.setdefault(part.attribute, [])
        name = f"?{slot.alias}-{part.attribute}"
        literal = part.op in ("==", "in")
        if not literal and part.attribute not in free:
            found.append(name)
            free.add(part.attribute)
        found.append(_literal(part) if literal else _compared(part, name))
    # Each once: where CLIPS reads 1&1 it loses matches.
    cells = (
        f"({name} {'&'.join(dict.fromkeys(all_of))})" for name, all_of in asked.items() if all_of
    )
    return f"({slot.kind} {' '.join(cells)})"


def _others_of_kind(slot: Slot, variant: Variant) -> list[str]:
    """Return the aliases before this one whose fact must be another: no fact is taken twice."""
    before = variant.slots if slot in variant.absent else variant.slots[: _at(slot, variant)]
    return [other.alias for other in before if other.kind == slot.kind]


def _at(slot: Slot, variant: Variant) -> int:
    return next(i for i, other in enumerate(variant.slots) if other is slot)


def _literal(part: Test | Link) -> str:
    if isinstance(part, Link):
        return f"?{part.other}-{part.other_attribute}"
    if isinstance(part.value, tuple):
        return "|".join(f'"{word}"' for word in part.value)
    return str(int(part.value))


def _compared(part: Test | Link, name: str) -> str:
    if isinstance(part, Link):
        return f":({part.op} {name} ?{part.other}-{part.other_attribute})"
    return f":({part.op} {name} {part.value!r})"
