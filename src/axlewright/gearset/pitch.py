"""Solve the pitch cones of a hypoid or spiral-bevel pair.

Frame used by every geometry module ("mesh frame"): the ring gear turns about z, its cone opens toward
+z; the pinion turns about an axis through (0, a, 0) with direction u1 = (sin Σ, 0, cos Σ), its cone opens
along +u1. The mean point P lies on both pitch cones; n is their common normal, pointing from the ring
gear's axis through P to the pinion's axis, so the ring-gear teeth point along n.

References
----------
ISO 23509:2006, method 1 (hypoid pitch cones, iterating on the pinion offset angle until the limit
curvature radius equals the lengthwise curvature radius of the tooth). Basis: Wildhaber 1946, Baxter 1961.
Formulas in our own words and from memory; the proof is geometric, see `residuals`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from axlewright.errors import DesignError
from axlewright.language import Number, _

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PitchCones:
    """Pitch cones and mean point of a pair; angles in radians, lengths in mm.

    Attributes
    ----------
    shaft_angle, offset : float
        Σ [rad] and a [mm].
    delta1, delta2 : float
        Pitch angles of pinion and ring gear [rad].
    spiral1, spiral2 : float
        Mean spiral angles β_m1, β_m2 [rad].
    cone_distance1, cone_distance2 : float
        Mean cone distances [mm].
    radius1, radius2 : float
        Mean pitch radii [mm].
    limit_pressure_angle : float
        α_lim [rad], negative for the usual hypoid.
    offset_angle_wheel : float
        η, ring-gear offset angle in the axial plane [rad].
    limit_radius : float
        Limit curvature radius [mm]; NaN without offset, where nothing limits it.
    lead_angle : float
        ν of a face-hobbed set [rad], 0 when face-milled.
    """

    shaft_angle: float
    offset: float
    delta1: float
    delta2: float
    spiral1: float
    spiral2: float
    cone_distance1: float
    cone_distance2: float
    radius1: float
    radius2: float
    limit_pressure_angle: float
    offset_angle_wheel: float
    limit_radius: float
    lead_angle: float

    @property
    def pinion_axis(self) -> Vector:
        """Unit vector along the pinion axis, away from the ring gear's axis, shape (3,)."""
        return np.array([math.sin(self.shaft_angle), 0.0, math.cos(self.shaft_angle)])

    @property
    def normal(self) -> Vector:
        """Common normal n of the pitch cones at P, shape (3,)."""
        s1, s2 = math.sin(self.delta1), math.sin(self.delta2)
        ss, cs = math.sin(self.shaft_angle), math.cos(self.shaft_angle)
        nx = (s1 + s2 * cs) / ss
        return np.array([nx, math.sqrt(max(0.0, 1.0 - nx * nx - s2 * s2)), -s2])

    @property
    def mean_point(self) -> Vector:
        """Mean point P in the mesh frame [mm], shape (3,)."""
        n = self.normal
        to_ring = self.radius2 / math.cos(self.delta2)
        to_pinion = self.radius1 / math.cos(self.delta1)
        # P + to_pinion n = (0, a, 0) + t u1 fixes P.z; with x: two equations, unknown t and P.z.
        px, py = to_ring * n[0], to_ring * n[1]
        u1 = self.pinion_axis
        t = (px + to_pinion * n[0]) / u1[0]
        pz = t * u1[2] - to_pinion * n[2]
        return np.array([px, py, pz])

    def ring_generator(self) -> Vector:
        """Unit vector along the ring gear's pitch line at P, from apex to heel, shape (3,)."""
        p = self.mean_point
        radial = np.array([p[0], p[1], 0.0]) / self.radius2
        along: Vector = math.sin(self.delta2) * radial + np.array([0.0, 0.0, math.cos(self.delta2)])
        return along

    def pinion_generator(self) -> Vector:
        """Unit vector along the pinion's pitch line at P, from apex to heel, shape (3,)."""
        u1 = self.pinion_axis
        v = self.mean_point - np.array([0.0, self.offset, 0.0])
        radial = v - (v @ u1) * u1
        radial /= np.linalg.norm(radial)
        along: Vector = math.sin(self.delta1) * radial + math.cos(self.delta1) * u1
        return along

    def relative_velocity(self, ratio: float) -> Vector:
        """Velocity of the ring gear relative to the pinion at P for unit ring-gear speed, shape (3,).

        Parameters
        ----------
        ratio : float
            z2/z1.
        """
        p = self.mean_point
        ring = np.cross([0.0, 0.0, 1.0], p)
        pinion = -ratio * np.cross(self.pinion_axis, p - np.array([0.0, self.offset, 0.0]))
        return ring - pinion

    def residuals(self, ratio: float) -> dict[str, float]:
        """Return how far the solution misses the geometric conditions; all vanish when it is right.

        Parameters
        ----------
        ratio : float
            z2/z1.

        Returns
        -------
        dict
            ``normal`` [mm], the common normal must meet both axes; ``spiral1``, ``spiral2`` [rad], angle
            between the sliding direction and each pitch line (0 without offset, where nothing slides);
            ``ratio`` [-], r2 cos β2 / (r1 cos β1) against z2/z1; ``on_pinion`` [mm], P on the pinion cone.
        """
        n = self.normal
        out = {
            "normal": float(
                n[1] * (self.radius2 / math.cos(self.delta2) + self.radius1 / math.cos(self.delta1))
                - self.offset
            ),
            "ratio": self.radius2 * math.cos(self.spiral2) / (self.radius1 * math.cos(self.spiral1)) - ratio,
        }
        v = self.mean_point - np.array([0.0, self.offset, 0.0])
        along = v @ self.pinion_axis
        out["on_pinion"] = float(np.linalg.norm(v - along * self.pinion_axis) - self.radius1)
        slide = self.relative_velocity(ratio)
        size = float(np.linalg.norm(slide))
        if self.offset and size > 1e-9:
            for key, generator, spiral in (
                ("spiral2", self.ring_generator(), self.spiral2),
                ("spiral1", self.pinion_generator(), self.spiral1),
            ):
                across = float(np.linalg.norm(np.cross(slide, generator)))
                out[key] = math.atan2(across, abs(float(slide @ generator))) - abs(spiral)
        else:
            out["spiral1"] = out["spiral2"] = 0.0
        return out


def epicycloid_radius(
    cone_distance: float, spiral: float, cutter_radius: float, lead: float, turn_ratio: float
) -> float:
    """Return the curvature radius of the extended epicycloid at the mean point of the pitch plane.

    Parameters
    ----------
    cone_distance : float
        Mean cone distance R_m2 [mm].
    spiral : float
        Mean spiral angle β_m2 [rad].
    cutter_radius : float
        r_c0 [mm].
    lead : float
        ν [rad].
    turn_ratio : float
        Turns of the crown gear per cutter turn, z0 sin δ2 / z2 [-]; 0 gives the cutter radius back.

    Returns
    -------
    float
        Radius [mm].

    Notes
    -----
    Own derivation: with x(t) = R(−i t)[c + R(t)(p − c)] in the plane of the crown gear, apex at the
    origin, the first two derivatives at t = 0 give the curvature in closed form.
    """
    # Apex at origin, mean point on the first axis; the tooth direction turns from it by the spiral.
    p = np.array([cone_distance, 0.0])
    angle = math.pi / 2.0 - (spiral - lead)
    # Direction from p to the cutter centre makes `angle` with the direction to the apex.
    c = p + cutter_radius * np.array([-math.cos(angle), math.sin(angle)])
    q = p - c

    def turned(v: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.array([-v[1], v[0]])

    i = -turn_ratio  # ring gear and cutter turn opposite ways seen in this plane
    first = turned(q) - i * turned(p)
    second = -q + 2.0 * i * q - i * i * p
    cross = first[0] * second[1] - first[1] * second[0]
    return float(np.hypot(*first) ** 3 / abs(cross))


def solve_pitch_cones(
    *,
    pinion_teeth: int,
    ring_teeth: int,
    offset_mm: float,
    ring_outer_diameter_mm: float,
    face_width_mm: float,
    pinion_spiral_angle_deg: float,
    cutter_radius_mm: float,
    shaft_angle_deg: float = 90.0,
    blade_groups: int | None = None,
) -> PitchCones:
    """Solve the pitch cones; see the module docstring for the method.

    Parameters
    ----------
    pinion_teeth, ring_teeth : int
        z1, z2.
    offset_mm : float
        a ≥ 0 [mm]; 0 is the spiral-bevel case.
    ring_outer_diameter_mm, face_width_mm : float
        Outer pitch diameter and face width of the ring gear [mm].
    pinion_spiral_angle_deg : float
        Wanted mean spiral angle of the pinion [deg].
    cutter_radius_mm : float
        r_c0 [mm].
    shaft_angle_deg : float
        Σ [deg].
    blade_groups : int, optional
        z0 of a face-hobbed set; None when face-milled.

    Returns
    -------
    PitchCones

    Raises
    ------
    DesignError
        When no such pair exists, with the number that causes it.
    """
    u = ring_teeth / pinion_teeth
    sigma = math.radians(shaft_angle_deg)
    dsig = sigma - math.pi / 2.0
    beta1 = math.radians(pinion_spiral_angle_deg)
    a, b, rc = offset_mm, face_width_mm, cutter_radius_mm

    def lead(radius2: float, spiral2: float) -> float:
        if not blade_groups:
            return 0.0
        sine = blade_groups * radius2 * math.cos(spiral2) / (ring_teeth * rc)
        if sine >= 1.0:
            raise DesignError(
                _("{blade_groups} blade groups do not fit on a cutter of {rc} mm radius").format(
                    blade_groups=blade_groups, rc=Number(rc, "g")
                ),
                where="blade_groups",
                fix=_("use fewer than {ring_teeth} or a larger cutter").format(
                    ring_teeth=Number(ring_teeth * rc / radius2 / math.cos(spiral2), ".0f")
                ),
            )
        return math.asin(sine)

    if a == 0.0:
        delta2 = math.atan2(math.sin(sigma), 1.0 / u + math.cos(sigma))
        delta1 = sigma - delta2
        if not 0.0 < delta2 < math.pi / 2.0:
            raise DesignError(
                _("a shaft angle of {shaft_angle_deg}° with these teeth makes an internal gear").format(
                    shaft_angle_deg=Number(shaft_angle_deg, "g")
                ),
                where="shaft_angle_deg",
                fix=_("use a smaller shaft angle"),
            )
        r2 = (ring_outer_diameter_mm - b * math.sin(delta2)) / 2.0
        r1 = r2 / u
        if r2 <= b / 2.0:
            raise DesignError(
                _("a face width of {b} mm does not fit on a ring gear of {ring_outer_diameter_mm} mm").format(
                    b=Number(b, "g"), ring_outer_diameter_mm=Number(ring_outer_diameter_mm, "g")
                ),
                where="face_width_mm",
                fix=_("use a narrower face"),
            )
        return PitchCones(
            sigma, 0.0, delta1, delta2, beta1, beta1,
            r1 / math.sin(delta1), r2 / math.sin(delta2), r1, r2,
            0.0, 0.0, math.nan, lead(r2, beta1),
        )  # fmt: skip

    guess = math.atan2(u * math.cos(dsig), 1.2 * (1.0 - u * math.sin(dsig)))
    r2 = (ring_outer_diameter_mm - b * math.sin(guess)) / 2.0
    if r2 <= a or r2 <= b / 2.0:
        raise DesignError(
            _(
                "an offset of {a} mm and a face width of {b} mm do not fit on a ring gear of "
                "{ring_outer_diameter_mm} mm"
            ).format(
                a=Number(a, "g"),
                b=Number(b, "g"),
                ring_outer_diameter_mm=Number(ring_outer_diameter_mm, "g"),
            ),
            where="offset_mm",
            fix=_("use a smaller offset, a narrower face or a larger ring gear"),
        )
    offset_guess = math.asin(a * math.sin(guess) / r2)
    K = math.tan(beta1) * math.sin(offset_guess) + math.cos(offset_guess)
    rn = r2 * K / u

    def pair(eta: float) -> PitchCones:
        sin_eps2 = (a - rn * math.sin(eta)) / r2
        if not 0.0 < sin_eps2 < 1.0:
            raise ValueError
        eps2 = math.asin(sin_eps2)

        def pinion_angle(eps: float) -> float:
            return math.atan(
                math.sin(eta) / (math.tan(eps) * math.cos(dsig)) + math.tan(dsig) * math.cos(eta)
            )

        eps2p = math.asin(math.sin(eps2) * math.cos(dsig) / math.cos(pinion_angle(eps2)))
        tan_i = (K - math.cos(eps2p)) / math.sin(eps2p)
        dK = math.sin(eps2p) * (math.tan(beta1) - tan_i)
        dr = r2 * dK / u
        eps1 = math.asin(math.sin(eps2) - dr / r2 * math.sin(eta))
        delta1 = pinion_angle(eps1)
        eps1p = math.asin(math.sin(eps1) * math.cos(dsig) / math.cos(delta1))
        bm1 = math.atan((K + dK - math.cos(eps1p)) / math.sin(eps1p))
        bm2 = bm1 - eps1p
        delta2 = math.atan(
            math.sin(eps1) / (math.tan(eta) * math.cos(dsig)) + math.cos(eps1) * math.tan(dsig)
        )
        r1 = rn + dr
        R1, R2 = r1 / math.sin(delta1), r2 / math.sin(delta2)
        t1, t2 = math.tan(delta1), math.tan(delta2)
        tan_lim = (
            -t1 * t2 / math.cos(eps1p)
            * (R1 * math.sin(bm1) - R2 * math.sin(bm2)) / (R1 * t1 + R2 * t2)
        )  # fmt: skip
        lim = math.atan(tan_lim)
        rho = (math.tan(bm1) - math.tan(bm2)) / math.cos(lim) / (
            -tan_lim * (math.tan(bm1) / (R1 * t1) + math.tan(bm2) / (R2 * t2))
            + 1.0 / (R1 * math.cos(bm1)) - 1.0 / (R2 * math.cos(bm2))
        )  # fmt: skip
        return PitchCones(sigma, a, delta1, delta2, bm1, bm2, R1, R2, r1, r2, lim, eta, rho, lead(r2, bm2))

    def miss(eta: float) -> float:
        cones = pair(eta)
        wanted = rc
        if blade_groups:
            wanted = epicycloid_radius(
                cones.cone_distance2,
                cones.spiral2,
                rc,
                cones.lead_angle,
                blade_groups * math.sin(cones.delta2) / ring_teeth,
            )
        return 1.0 / cones.limit_radius - 1.0 / wanted

    start = math.atan2(a, r2 * (math.tan(guess) * math.cos(dsig) - math.sin(dsig)) + rn)
    eta = _bracketed_root(miss, start)
    if eta is None:
        raise DesignError(
            _("no pitch cones exist whose tooth curvature fits a cutter radius of {rc} mm").format(
                rc=Number(rc, "g")
            ),
            where="cutter_radius_mm",
            fix=_("for {ring_outer_diameter_mm} mm try a radius between {value} and {value2} mm").format(
                ring_outer_diameter_mm=Number(ring_outer_diameter_mm, "g"),
                value=Number(0.3 * ring_outer_diameter_mm, ".0f"),
                value2=Number(0.6 * ring_outer_diameter_mm, ".0f"),
            ),
        )
    return pair(eta)


def _bracketed_root(miss: Callable[[float], float], start: float) -> float | None:
    """Find the root of `miss` nearest to `start` by scanning outwards for a change of sign."""
    values: list[tuple[float, float]] = []
    for factor in np.concatenate([np.linspace(0.15, 0.999, 60), np.linspace(1.0, 3.0, 120)]):
        eta = start * float(factor)
        try:
            values.append((eta, float(miss(eta))))
        except (ValueError, ZeroDivisionError):
            continue
    best: float | None = None
    for (e0, m0), (e1, m1) in itertools.pairwise(values):
        if m0 * m1 <= 0.0 and abs(m0 - m1) < 0.05:
            root = float(brentq(miss, e0, e1, xtol=1e-15, rtol=8.9e-16, maxiter=200))
            if best is None or abs(root - start) < abs(best - start):
                best = root
    return best
