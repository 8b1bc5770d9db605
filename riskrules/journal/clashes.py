"""Two people who change the same record: which versions stand beside each other, which counts.

A clash is settled by a record that carries one version on, and one that takes the other back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from riskrules.journal.records import TakenBack
from riskrules.journal.rows import Stored


@dataclass(frozen=True, slots=True)
class Clash:
    """Records that replace the same one, and none of which was taken back since.

    ``versions`` are as they stand now, in the order received; ``counts`` is the one received
    last, which counts meanwhile.
    """

    replaced: UUID
    versions: tuple[Stored, ...]

    @property
    def counts(self) -> UUID:
        """The version that counts until somebody settles it."""
        return self.versions[-1].record.id


class Family:
    """Records that replace one another."""

    def __init__(self, members: Iterable[Stored]) -> None:
        self._children: dict[UUID, list[Stored]] = {}
        for each in sorted(members, key=lambda s: s.seq):
            if each.record.replaces is not None:
                self._children.setdefault(each.record.replaces, []).append(each)

    def below(self, top: UUID) -> list[UUID]:
        """Return a record and all that replace it, each before those that replace it."""
        found = [top]
        for each in found:
            found += [s.record.id for s in self._children.get(each, ())]
        return found

    def leaves(self, top: UUID) -> set[UUID]:
        """Return the records under one that nothing replaces."""
        return {each for each in self.below(top) if each not in self._children}

    def alive(self, top: UUID) -> tuple[Stored, ...]:
        """Return what became of each record that replaces one, without those taken back since.

        The one received last stands last. All were taken back: only the last of them.
        """
        heads: dict[UUID, Stored] = {}
        branches: list[tuple[Stored, Stored]] = []
        for each in reversed(self.below(top)):
            children = self._children.get(each, ())
            branches = [(child, heads.get(child.record.id, child)) for child in children]
            if branches:
                heads[each] = _last(branches)[-1]
        return _last(branches)


def _last(branches: Sequence[tuple[Stored, Stored]]) -> tuple[Stored, ...]:
    """Return the heads of branches that stand, in the order received."""
    in_order = sorted((head for _, head in branches), key=lambda s: s.seq)
    gone = {
        head.seq
        for child, head in branches
        if head.seq != child.seq and isinstance(head.record.body, TakenBack)
    }
    return tuple(h for h in in_order if h.seq not in gone) or tuple(in_order[-1:])


def open_clashes(targets: Iterable[UUID], members: Iterable[Stored]) -> list[Clash]:
    """Return the clashes that nobody has settled yet.

    ``targets`` are the records that several replace; ``members`` are all that replace them,
    directly or through others.
    """
    family = Family(members)
    found = [Clash(target, family.alive(target)) for target in targets]
    return [clash for clash in found if len(clash.versions) > 1]


def losing(targets: Iterable[UUID], members: Iterable[Stored]) -> set[UUID]:
    """Return the records that stand but don't count, because another version does."""
    family = Family(members)
    found: set[UUID] = set()
    for target in targets:
        heads = family.alive(target)
        found |= family.leaves(target) - {h.record.id for h in heads[-1:]}
    return found


def clash_of(clashes: Iterable[Clash]) -> Mapping[UUID, Clash]:
    """Return the open clash that each version belongs to."""
    return {s.record.id: clash for clash in clashes for s in clash.versions}
