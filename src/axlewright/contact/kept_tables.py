"""Tables that are rolled once per design and kept in the cache folder."""

from __future__ import annotations

import contextlib
import hashlib
import io
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.atlas import cache_folder, write_atomically
from axlewright.gearset import GearSetDesign

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
