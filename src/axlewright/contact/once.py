"""Work a thing out once per key, also when several threads ask for it at the same time."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class OncePerKey(Generic[K, V]):
    """Keep the last `size` values by key; whoever asks while one is being made waits for that one.

    Different keys are made side by side. A maker that fails leaves nothing behind: its error goes to the
    thread that made the attempt, and the next one tries again.

    Parameters
    ----------
    size : int
        Values kept; the one not asked for longest goes first.
    """

    def __init__(self, size: int) -> None:
        self._size = size
        self._guard = threading.Lock()
        self._kept: OrderedDict[K, V] = OrderedDict()
        self._making: dict[K, tuple[threading.Lock, int]] = {}

    def get(self, key: K, make: Callable[[], V]) -> V:
        """Return the value of `key`, made by `make` where it is not kept."""
        with self._guard:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
            lock, waiting = self._making.get(key, (threading.Lock(), 0))
            self._making[key] = (lock, waiting + 1)
        try:
            with lock:
                with self._guard:
                    if key in self._kept:
                        return self._kept[key]
                value = make()
                with self._guard:
                    self._kept[key] = value
                    while len(self._kept) > self._size:
                        self._kept.popitem(last=False)
                return value
        finally:
            with self._guard:
                lock, waiting = self._making[key]
                if waiting == 1:
                    del self._making[key]
                else:
                    self._making[key] = (lock, waiting - 1)

    def clear(self) -> None:
        """Forget every kept value."""
        with self._guard:
            self._kept.clear()
