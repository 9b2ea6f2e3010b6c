"""Work a thing out once: in memory, also when several threads ask for it at the same time, and on disk."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from platformdirs import user_cache_dir

from axlewright.gearset import GearSetDesign

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


def cache_folder() -> Path:
    """Return the folder of computed tables: under AXLEWRIGHT_HOME when set, else the user's cache."""
    home = os.environ.get("AXLEWRIGHT_HOME")
    return Path(home) / "cache" if home else Path(user_cache_dir("axlewright", appauthor=False))


def write_atomically(path: Path, data: bytes) -> None:
    """Write a file so that a reader sees all of it or none.

    Parameters
    ----------
    path : Path
        Its folder is made when missing.
    data : bytes
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


Array = NDArray[np.float64]


def kept_array(
    kind: str,
    design: GearSetDesign,
    version: str,
    good: Callable[[Array], bool],
    make: Callable[[], Array],
) -> Array:
    """Return a table of a design, from the cache folder where it has been made before.

    Parameters
    ----------
    kind : str
        First part of the file's name.
    design : GearSetDesign
        Names and mounting distance do not tell tables apart.
    version : str
        All else the table hangs on.
    good : callable
        Whether a kept table has the right shape; one that is damaged, or not finite, is made anew.
    make : callable
        Makes the table.
    """
    parts = {k: v for k, v in design.fields().items() if k not in ("name", "title", "mounting_distance_mm")}
    text = f"{version}|{sorted(parts.items())!r}"
    path = cache_folder() / f"{kind}-{hashlib.sha256(text.encode()).hexdigest()[:32]}.npy"
    try:
        found: Array = np.load(path, allow_pickle=False)
        if good(found) and np.isfinite(found).all():
            return found
    except (OSError, ValueError):
        pass
    made = make()
    out = io.BytesIO()
    np.save(out, made)
    with contextlib.suppress(OSError):  # a read-only cache costs time, not results
        write_atomically(path, out.getvalue())
    return made
