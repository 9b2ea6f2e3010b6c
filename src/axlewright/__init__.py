"""axlewright: setting up drive axles with hypoid and spiral-bevel gears.

The names most people need::

    import axlewright as aw

    design = aw.load_design("TY-222")
    rolling = aw.roll(design, flank="drive", pinion_out_mm=0.05)
    rolling.pattern.center, rolling.motion_error_pp_urad

They are loaded when first used, so that importing the package costs little.
"""

import lazy_loader as lazy

__version__ = "0.1.0"

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)
