"""What a gear set IS: design data, pitch cones, blanks, flanks, conjugate pinion, ease-off."""

from axlewright.gearset.blank import Blank, make_blank
from axlewright.gearset.conjugate import ConjugatePinion, conjugate_pinion, rotation_about
from axlewright.gearset.design import (
    DesignFields,
    Estimate,
    GearSetDesign,
    complete,
    design_from_fields,
    design_schema,
    design_to_toml,
    load_design,
    parse_design,
    shipped_designs,
)
from axlewright.gearset.easeoff import EaseOff, EaseOffSpread
from axlewright.gearset.flank import (
    FlankName,
    Patches,
    RingFlank,
    form_cut_flank,
    indexed_flank,
    make_patches,
)
from axlewright.gearset.geometry import Geometry, build_geometry
from axlewright.gearset.pitch import PitchCones, solve_pitch_cones
