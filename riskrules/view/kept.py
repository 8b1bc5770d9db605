"""A small store of results by key: the oldest goes first, and each is made once at a time."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock, RLock
from typing import Generic, TypeVar

T = TypeVar("T")


class Kept(Generic[T]):
    """Results by key, the last ``most`` that were asked for. Threads may share it.

    Two threads that ask for the same key wait for one making of it.

    Examples
    --------
    >>> kept = Kept[int](2)
    >>> kept.get("a", lambda: 1), kept.get("a", lambda: 2)
    (1, 1)
    """

    makings = 0
    """How many results all stores of this process have made: a change says that the heap has."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._found: OrderedDict[Hashable, T] = OrderedDict()
        self._making: dict[Hashable, RLock] = {}
        self._lock = Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what is kept by a key, made where it is not. An error is not kept."""
        with self._lock:
            if key in self._found:
                self._found.move_to_end(key)
                return self._found[key]
            turn = self._making.setdefault(key, RLock())
        with turn:
            with self._lock:
                if key in self._found:
                    return self._found[key]
            try:
                made = make()
                self._put(key, made)
            finally:
                with self._lock:
                    self._making.pop(key, None)
        return made

    def _put(self, key: Hashable, made: T) -> None:
        with self._lock:
            self._found[key] = made
            Kept.makings += 1
            while len(self._found) > self.most:
                self._found.popitem(last=False)

    def __len__(self) -> int:
        """Return how many results are kept."""
        return len(self._found)
