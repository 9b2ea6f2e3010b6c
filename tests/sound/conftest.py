"""Simulated drives, made once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from axlewright.sound import (
    AxleOrders,
    Bearing,
    Drive,
    DrivePlan,
    DriveSource,
    Listening,
    Tyre,
    bearing_orders,
    listen,
    read_recording,
    save_drive,
    simulate_drive,
)
from axlewright.sound.simulated_drive import Codec

TYRE = Tyre(2.10, 0.005, "measured roll-out")
AXLE = AxleOrders(41, 11, (Bearing("wheel", bearing_orders(17, 12.0, 70.0), "wheel bearing"),))


@pytest.fixture(scope="session")
def hear(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., tuple[Drive, Listening]]:
    """Return a function that makes a drive, codes it and listens to it."""

    def run(
        *sources: DriveSource,
        seed: int = 1,
        codec: Codec = "wav",
        axle: AxleOrders = AXLE,
        plan: DrivePlan | None = None,
    ) -> tuple[Drive, Listening]:
        plan = plan or DrivePlan(duration_s=32.0, speed_bias=0.02)
        drive = simulate_drive(sources, TYRE, plan, seed)
        path: Path = save_drive(drive, tmp_path_factory.mktemp("drive"), "drive", codec)
        return drive, listen(read_recording(path), axle, TYRE, drive.stated)

    return run


@pytest.fixture(scope="session")
def mesh_drive(hear: Callable[..., tuple[Drive, Listening]]) -> tuple[Drive, Listening]:
    """Return a mesh tone with pinion runout, heard with a typed speed 2 % off."""
    return hear(DriveSource("mesh", 41, 9.0, pinion_runout=0.3, pinion_order=41 / 11))


@pytest.fixture(scope="session")
def quiet_drive(hear: Callable[..., tuple[Drive, Listening]]) -> tuple[Drive, Listening]:
    """Return road noise alone."""
    return hear(seed=4)
