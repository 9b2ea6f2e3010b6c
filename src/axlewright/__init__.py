"""axlewright: setting up drive axles with hypoid and spiral-bevel gears."""

from __future__ import annotations

__version__ = "0.1.0"
