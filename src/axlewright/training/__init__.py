"""PRACTICE: axles with hidden faults that answer to every reading and every change.

The names are loaded when first used, so that the page starts without the numerics.
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)
