"""What a gear set DOES when rolled: marks, motion error, load, backlash."""

from axlewright.contact.marks import ContactPattern, measure_mask
from axlewright.contact.mesh import Mesh, Settings, build_mesh
from axlewright.contact.rolling import Rolling, roll

__all__ = ["ContactPattern", "Mesh", "Rolling", "Settings", "build_mesh", "measure_mask", "roll"]
