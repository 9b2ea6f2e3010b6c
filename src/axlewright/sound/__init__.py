"""What an axle SOUNDS like: recordings, orders, sources, figures, synthesis."""

from __future__ import annotations

from axlewright.sound.audibility import (
    ToneAudibility,
    combined_audibility_db,
    mean_audibility_db,
    tonal_adjustment_db,
    tone_audibility,
)
from axlewright.sound.figures import ToneFigure, prominence_ratio, tone_to_noise_ratio
from axlewright.sound.findings import SourceFinding
from axlewright.sound.listening import Listening, listen
from axlewright.sound.orders import (
    AxleOrders,
    Bearing,
    BearingOrders,
    bearing_orders,
)
from axlewright.sound.quality import loudness_sone, quality_available, roughness_asper, sharpness_acum
from axlewright.sound.recording import Recording, make_recording, read_recording
from axlewright.sound.report import listening_as_dict
from axlewright.sound.segments import Segment, Vehicle, find_segments
from axlewright.sound.simulated_drive import Drive, DrivePlan, DriveSource, save_drive, simulate_drive
from axlewright.sound.sources import NONE
from axlewright.sound.speed import (
    SpeedTrace,
    Tyre,
    constant_speed,
    make_trace,
    tyre_from_revolutions_per_mile,
    tyre_from_rollout,
    tyre_from_size,
)
from axlewright.sound.speed_files import parse_gpx, parse_marks, parse_table, read_speed

__all__ = [
    "NONE",
    "AxleOrders",
    "Bearing",
    "BearingOrders",
    "Drive",
    "DrivePlan",
    "DriveSource",
    "Listening",
    "Recording",
    "Segment",
    "SourceFinding",
    "SpeedTrace",
    "ToneAudibility",
    "ToneFigure",
    "Tyre",
    "Vehicle",
    "bearing_orders",
    "combined_audibility_db",
    "constant_speed",
    "find_segments",
    "listen",
    "listening_as_dict",
    "loudness_sone",
    "make_recording",
    "make_trace",
    "mean_audibility_db",
    "parse_gpx",
    "parse_marks",
    "parse_table",
    "prominence_ratio",
    "quality_available",
    "read_recording",
    "read_speed",
    "roughness_asper",
    "save_drive",
    "sharpness_acum",
    "simulate_drive",
    "tonal_adjustment_db",
    "tone_audibility",
    "tone_to_noise_ratio",
    "tyre_from_revolutions_per_mile",
    "tyre_from_rollout",
    "tyre_from_size",
]
