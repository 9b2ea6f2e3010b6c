from .contact import (
    ContactPattern as ContactPattern,
    MeasuredSet as MeasuredSet,
    Rolling as Rolling,
    Settings as Settings,
    SweepTable as SweepTable,
    calibrate as calibrate,
    read_measured as read_measured,
    roll as roll,
    sweep as sweep,
)
from .errors import AxlewrightError as AxlewrightError
from .gearset import (
    GearSetDesign as GearSetDesign,
    load_design as load_design,
    parse_design as parse_design,
    shipped_designs as shipped_designs,
)

__version__: str
