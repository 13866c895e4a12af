"""A small memory for what is costly to work out and cheap to keep."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Generic, TypeVar

V = TypeVar("V")


class Kept(Generic[V]):
    """The last ``most`` values by key; the one longest unused goes first. Safe to use from several threads.

    Two threads that ask for the same new value at once may both work it out; one of the two is kept.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._values: OrderedDict[Hashable, V] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], V]) -> V:
        """The value of ``key``, made where it is not kept. What ``make`` raises is not kept."""
        with self._lock:
            if key in self._values:
                self._values.move_to_end(key)
                return self._values[key]
        value = make()
        with self._lock:
            self._values[key] = value
            self._values.move_to_end(key)
            while len(self._values) > self._most:
                self._values.popitem(last=False)
        return value


def stamp(path: Path) -> tuple[str, int, int]:
    """A key that changes when the file does. Raises ``OSError`` where it cannot be looked at."""
    found = path.stat()
    return (str(path), found.st_mtime_ns, found.st_size)
