"""A limit on guesses: so many wrong ones in a while, then none is looked at."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field

EACH, ALL = 5, 40
"""Wrong codes that one address, and all together, may try in `SPAN_S`. (assumption)"""
SPAN_S = 600.0
"""The while. [s] (assumption)"""
MOST = 1000
"""Addresses remembered at once, so that nobody fills the memory. (assumption)"""


@dataclass(slots=True)
class Guesses:
    """Wrong guesses of late.

    Examples
    --------
    >>> guesses = Guesses(clock=lambda: 0.0)
    >>> for _ in range(EACH): guesses.wrong("a")
    >>> guesses.may("a"), guesses.may("b")
    (False, True)
    """

    clock: Callable[[], float] = time.monotonic
    _each: dict[Hashable, deque[float]] = field(default_factory=dict)
    _all: deque[float] = field(default_factory=deque)

    def may(self, who: Hashable) -> bool:
        """Return whether a guess of somebody is looked at."""
        self._forget()
        return len(self._each.get(who, ())) < EACH and len(self._all) < ALL

    def wrong(self, who: Hashable) -> None:
        """Count a wrong guess."""
        now = self.clock()
        if who not in self._each and len(self._each) >= MOST:
            self._each.pop(next(iter(self._each)))
        self._each.setdefault(who, deque(maxlen=EACH)).append(now)
        self._all.append(now)

    def _forget(self) -> None:
        old = self.clock() - SPAN_S
        while self._all and self._all[0] <= old:
            self._all.popleft()
        for who, times in list(self._each.items()):
            while times and times[0] <= old:
                times.popleft()
            if not times:
                del self._each[who]
