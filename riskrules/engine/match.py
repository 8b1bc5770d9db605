"""What an evaluator finds: which facts satisfy which rule, surely or only possibly."""

from __future__ import annotations

from typing import NamedTuple


class Match(NamedTuple):
    """One set of facts that satisfies a rule.

    ``facts`` are the facts' ids in the order of the rule's ``given``; ``sure`` is False where
    the rule only possibly holds. A set of facts is reported once: as sure where it is.
    """

    rule: str
    facts: tuple[str, ...]
    sure: bool
