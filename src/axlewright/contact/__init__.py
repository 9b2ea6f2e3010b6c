"""What a gear set DOES when rolled: marks, motion error, load, backlash."""

from axlewright.contact.backlash import Backlash, BacklashPerMove, backlash_at, backlash_per_move
from axlewright.contact.calibrate import Calibration, FittedField, calibrate, fit_ease_off
from axlewright.contact.marks import ContactPattern, measure_mask
from axlewright.contact.measured import MeasuredSet, measured_mesh, read_measured
from axlewright.contact.mesh import Mesh, Settings, build_mesh
from axlewright.contact.rolling import Rolling, roll
from axlewright.contact.runout import Runout, RunoutRolling, roll_runout
from axlewright.contact.sweep import SweepTable, sweep
