"""Runout of the ring gear from how the pattern wanders: what a dial would read, and how sure that is.

A gear that stands aslant (face runout) and one that sits beside its axis (radial runout) move the pattern
once per turn, by amounts and phases that rolling the design with runout gives (`contact.roll_runout`). One
flank alone cannot tell the two apart, for both move its pattern along nearly the same way; both flanks can.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.runout import Runout, roll_runout
from axlewright.errors import InputError
from axlewright.gearset import FlankName, GearSetDesign
from axlewright.language import Text, _
from axlewright.pattern.several import SeveralTeeth
from axlewright.units import Length

RESOLUTION = (28, 16, 56)  # answers within some per cent of those at twice the resolution
TRIED_MM = 0.1  # total reading at which the design is rolled for its answer
USUAL_MM = (
    0.06  # spread of each kind of runout before anything is seen, total reading: common practice, no source
)
RESPONSE_DOUBT = 0.15  # a set's pattern moves so much more or less than its design's, as a share


@dataclass(frozen=True, slots=True)
class DialReading:
    """One kind of runout as a dial would read it.

    Attributes
    ----------
    tir_mm, sd_mm : float
        Total indicator reading and its standard deviation [mm].
    high_at_tooth : float
        Where it is highest, in the numbering of the teeth read.
    sure : bool
        True when it is more than chance makes (about 1 in 100).
    """

    tir_mm: float
    sd_mm: float
    high_at_tooth: float
    sure: bool


@dataclass(frozen=True, slots=True)
class RunoutEstimate:
    """Runout that explains the wander of the patterns.

    Attributes
    ----------
    face, radial : DialReading
    told_apart : bool
        False when the flanks read cannot tell face from radial runout; each is then given as if it shared
        the wander with the other.
    notes : tuple of Text
    """

    face: DialReading
    radial: DialReading
    told_apart: bool
    notes: tuple[Text, ...]

    def summary(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        out: dict[str, Any] = {"told_apart": self.told_apart, "notes": list(self.notes)}
        for name, dial in (("face", self.face), ("radial", self.radial)):
            out[name] = {
                "tir_mm": round(dial.tir_mm, 4),
                "sd_mm": round(dial.sd_mm, 4),
                "high_at_tooth": round(dial.high_at_tooth, 1),
                "sure": dial.sure,
            }
        return out


@lru_cache(maxsize=16)
def _responses(design: GearSetDesign) -> NDArray[np.complex128]:
    """Return the harmonic of (drive lengthwise, drive profile, coast …) per mm of face and radial reading.

    Shape (4, 2); rolled once per design, some seconds.
    """
    turn = 2.0 * np.pi * np.arange(design.ring_teeth) / design.ring_teeth
    out = np.empty((4, 2), complex)
    for k, runout in enumerate((Runout(ring_face_tir_mm=TRIED_MM), Runout(ring_radial_tir_mm=TRIED_MM))):
        lengthwise, profile, roll_angles = RESOLUTION
        rolled = roll_runout(design, runout, lengthwise=lengthwise, profile=profile, roll_angles=roll_angles)
        names: tuple[FlankName, FlankName] = ("drive", "coast")
        centers = np.concatenate([np.array([p.center for p in rolled.flank(n).patterns]).T for n in names])
        wave = np.exp(1j * turn)
        out[:, k] = 2.0 * np.mean((centers - centers.mean(1, keepdims=True)) * wave, axis=1) / TRIED_MM
    return out


def estimate_runout(
    design: GearSetDesign, *, drive: SeveralTeeth | None = None, coast: SeveralTeeth | None = None
) -> RunoutEstimate:
    """Estimate the ring gear's runout from the wander of the patterns.

    Parameters
    ----------
    design : GearSetDesign
    drive, coast : SeveralTeeth, optional
        Teeth of each flank, read with one numbering: in the order in which they come into mesh when driving
        forward, the same tooth 1 for both flanks.

    Returns
    -------
    RunoutEstimate

    Raises
    ------
    InputError
        When neither flank was read on at least four teeth.
    """
    seen: list[complex] = []
    sds: list[float] = []
    rows: list[int] = []
    for first, several in ((0, drive), (2, coast)):
        for k, wave in enumerate(() if several is None else (several.lengthwise, several.profile)):
            if wave is not None:
                seen.append(wave.harmonic)
                sds.append(max(wave.harmonic_sd, 1e-4))
                rows.append(first + k)
    if not seen:
        raise InputError(
            _("too few teeth were read for runout"),
            where=_("teeth"),
            fix=_("read at least four teeth spread over more than half a turn"),
        )
    response = _responses(design)[rows]
    h = np.array(seen)
    var = np.array(sds) ** 2 + (RESPONSE_DOUBT * np.abs(h)) ** 2
    # Each complex unknown has two parts; TRIED and USUAL are total readings, a wave's parts lie within them.
    information = response.conj().T @ (response / var[:, None]) + np.eye(2) / (0.5 * USUAL_MM**2)
    cov = np.linalg.inv(information)
    z = cov @ (response.conj().T @ (h / var))
    dials = []
    for k in range(2):
        sd = float(np.sqrt(cov[k, k].real))
        at = (float(np.angle(z[k])) % (2.0 * np.pi)) / (2.0 * np.pi) * design.ring_teeth + 1.0
        dials.append(DialReading(float(abs(z[k])), sd, at, bool(abs(z[k]) > 3.03 * sd)))
    tie = float(abs(cov[0, 1]) / np.sqrt(cov[0, 0].real * cov[1, 1].real))
    apart = tie < 0.8 and drive is not None and coast is not None
    face, radial = dials
    notes: list[Text] = []
    if face.sure or radial.sure:
        notes.append(
            _(
                "The wander fits {face} of face and {radial} of radial runout, total reading; measure both."
            ).format(face=Length(face.tir_mm), radial=Length(radial.tir_mm))
        )
    if not apart:
        notes.append(
            _("One flank cannot tell face from radial runout; read the other one on the same teeth.")
        )
    return RunoutEstimate(face, radial, apart, tuple(notes))
