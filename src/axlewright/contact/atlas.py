"""An atlas of a design: pattern place, length, motion error and backlash over all four settings errors.

The set is rolled at about a thousand settings (Sobol sequences): some spread evenly over the working range,
more where settings errors are likely. A polynomial in all four settings is fitted to each figure. Likely
settings kept out of the fit give the error stated with it; toward the edges of the range it is larger.
Diagnosis asks the atlas for tens of thousands of settings at once.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import itertools
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

from axlewright.contact.mesh import Settings, build_mesh
from axlewright.contact.once import OncePerKey, cache_folder, write_atomically
from axlewright.contact.rolling import motion_error, roll_unloaded
from axlewright.errors import ContactError
from axlewright.gearset import FlankName, GearSetDesign
from axlewright.gearset.design import REFERENCE_DIAMETER_MM
from axlewright.language import _

Array = NDArray[np.float64]

VERSION = 6
DEGREE = 5
EVEN, LIKELY, HELD_BACK = 320, 576, 96
LENGTHWISE, PROFILE, ROLL_ANGLES = 64, 32, 96
# Half range of each setting for a 222 mm ring gear; lengths grow with size.
HALF_RANGE = (0.36, 0.36, 0.12, 0.06)
# Standard deviations of the likely settings, as a share of the half range.
LIKELY_SHARE = (0.40, 0.28, 0.30, 0.30)
HELD_SHRINK = 0.6  # the error is stated for settings errors as ordinary jobs have them
FIGURES = (
    "drive_lengthwise",
    "drive_profile",
    "coast_lengthwise",
    "coast_profile",
    "drive_length",
    "coast_length",
    "drive_motion_error_urad",
    "coast_motion_error_urad",
    "backlash_change_mm",
)
CENTER_FIGURES = (0, 1, 2, 3)
"""Columns of the pattern centres: drive (lengthwise, profile), then coast."""


@dataclass(frozen=True)
class Atlas:
    """Polynomials of each figure over the settings errors of one design.

    Attributes
    ----------
    half_range : array, shape (4,)
        Range of (pinion_out_mm, ring_away_mm, offset_error_mm, shaft_angle_error_deg), ±.
    coef : array, shape (terms, figures)
    stated_error : dict
        Root-mean-square error of each figure at likely settings kept out of the fit.
    sampled : int
        Settings rolled.
    """

    half_range: Array
    coef: Array
    stated_error: dict[str, float]
    sampled: int
    powers: tuple[tuple[int, ...], ...] = field(default_factory=lambda: _powers(DEGREE))

    def __call__(self, settings: Array, columns: Sequence[int] | None = None) -> Array:
        """Return figures at many settings.

        Parameters
        ----------
        settings : array, shape (n, 4)
            (pinion_out_mm, ring_away_mm, offset_error_mm, shaft_angle_error_deg); values beyond the range
            are taken at its edge.
        columns : sequence of int, optional
            Places of the wanted figures in `FIGURES`; all when None.

        Returns
        -------
        array, shape (n, columns)
        """
        coef = self.coef if columns is None else self.coef[:, list(columns)]
        basis = _basis(np.clip(settings / self.half_range, -1.0, 1.0), self.powers)
        return np.ascontiguousarray((coef.T @ basis).T)

    def figure(self, name: str, settings: Settings) -> float:
        """Return one figure at one setting.

        Parameters
        ----------
        name : str
            One of `FIGURES`.
        settings : Settings
        """
        row = np.array([[*asdict(settings).values()]])
        return float(self(row)[0, FIGURES.index(name)])


def _powers(degree: int) -> tuple[tuple[int, ...], ...]:
    return tuple(p for p in itertools.product(range(degree + 1), repeat=4) if sum(p) <= degree)


def _basis(u: Array, powers: tuple[tuple[int, ...], ...]) -> Array:
    """Products of Chebyshev polynomials of each setting, shape (terms, n)."""
    degree = max(max(p) for p in powers)
    cheb = np.ones((4, degree + 1, len(u)))
    cheb[:, 1] = u.T
    for k in range(2, degree + 1):
        cheb[:, k] = 2.0 * cheb[:, 1] * cheb[:, k - 1] - cheb[:, k - 2]
    out = np.empty((len(powers), len(u)))
    place = {p: i for i, p in enumerate(powers)}
    for i, p in enumerate(powers):
        last = max((k for k in range(4) if p[k]), default=0)
        rest = (*p[:last], 0, *p[last + 1 :])  # already computed: it comes earlier in lexical order
        if rest == p or not any(rest):
            out[i] = cheb[last, p[last]]
        else:
            np.multiply(out[place[rest]], cheb[last, p[last]], out=out[i])
    return out


def backlash_change_mm(design: GearSetDesign, drive_shift_urad: float, coast_shift_urad: float) -> float:
    """Return the change of backlash at the heel when the gaps of both flanks change [mm].

    Parameters
    ----------
    design : GearSetDesign
    drive_shift_urad, coast_shift_urad : float
        `Rolling.shift_urad` of each flank less its value where the set was developed [µrad].
    """
    return (drive_shift_urad + coast_shift_urad) * 1e-6 * design.ring_outer_diameter_mm / 2.0


def figures_at(design: GearSetDesign, settings: Settings) -> Array:
    """Roll both flanks at one setting and return the figures, shape (len(FIGURES),).

    Parameters
    ----------
    design : GearSetDesign
    settings : Settings
    """
    mesh = build_mesh(design, LENGTHWISE, PROFILE, ROLL_ANGLES)
    values: dict[str, tuple[float, float, float, float, float]] = {}
    names: tuple[FlankName, ...] = ("drive", "coast")
    for name in names:
        pattern, curve, lowest, _rest = roll_unloaded(
            mesh, name, settings, design.ease_off(name), design.compound_film_mm
        )
        error, shift = motion_error(mesh.flank(name), curve, lowest)
        values[name] = (*pattern.center, pattern.length_fraction, float(np.ptp(error)), shift)
    d, c = values["drive"], values["coast"]
    return np.array([d[0], d[1], c[0], c[1], d[2], c[2], d[3], c[3], backlash_change_mm(design, d[4], c[4])])


def build_atlas(design: GearSetDesign) -> Atlas:
    """Roll the design at many settings and fit the atlas; takes several seconds.

    Parameters
    ----------
    design : GearSetDesign

    Raises
    ------
    ContactError
        When most settings leave the teeth out of contact.
    """
    size = design.ring_outer_diameter_mm / REFERENCE_DIAMETER_MM
    half: Array = np.asarray(np.multiply(HALF_RANGE, (size, size, size, 1.0)), dtype=np.float64)
    even = qmc.Sobol(4, seed=20).random_base2(9)[:EVEN] * 2.0 - 1.0
    bell = norm.ppf(np.clip(qmc.Sobol(4, seed=21).random_base2(10)[: LIKELY + HELD_BACK], 1e-4, 1.0 - 1e-4))
    unit = np.concatenate(
        [
            np.clip(bell[:HELD_BACK] * LIKELY_SHARE * HELD_SHRINK, -1.0, 1.0),
            np.clip(bell[HELD_BACK:] * LIKELY_SHARE, -1.0, 1.0),
            np.sign(even) * np.abs(even) ** 1.4,  # closer together where settings are likelier
        ]
    )
    rows, figures, held_back = [], [], []
    for k, u in enumerate(unit):
        try:
            figures.append(figures_at(design, Settings(*(float(v) for v in u * half))))
            rows.append(u)
            held_back.append(k < HELD_BACK)
        except ContactError:
            continue
    table, where = np.array(figures), np.array(rows)
    good = np.isfinite(table).all(axis=1) if len(table) else np.zeros(0, bool)
    powers = _powers(DEGREE)
    if good.sum() < 2 * len(powers):
        raise ContactError(
            _("only {sum} of {count} settings keep the teeth in contact").format(
                sum=int(good.sum()), count=len(unit)
            ),
            where=design.name,
            fix=_("check the ease-off of the design"),
        )
    table, where, held = table[good], where[good], np.array(held_back)[good]
    basis = _basis(where, powers).T
    ridge = 1e-6 * np.eye(len(powers))
    coef: Array = np.linalg.solve(basis[~held].T @ basis[~held] + ridge, basis[~held].T @ table[~held])
    miss = np.sqrt(np.mean((basis[held] @ coef - table[held]) ** 2, axis=0))
    stated = {name: float(v) for name, v in zip(FIGURES, miss, strict=True)}
    return Atlas(half, coef, stated, len(table), powers)


def _key(design: GearSetDesign) -> str:
    parts = {k: v for k, v in design.fields().items() if k not in ("name", "title", "mounting_distance_mm")}
    text = f"{VERSION}|{DEGREE}|{EVEN}|{LIKELY}|{LENGTHWISE}|{HALF_RANGE}|{sorted(parts.items())!r}"
    return hashlib.sha256(text.encode()).hexdigest()[:32]


_KEPT: OncePerKey[GearSetDesign, Atlas] = OncePerKey(16)


def atlas_of(design: GearSetDesign) -> Atlas:
    """Return the atlas of a design, from the cache folder where it has been built before.

    Threads that ask for the same one at the same time wait for one building.

    Parameters
    ----------
    design : GearSetDesign

    Returns
    -------
    Atlas

    Raises
    ------
    ContactError
        See `build_atlas`.
    """
    return _KEPT.get(design, lambda: _read_or_build(design))


def _read_or_build(design: GearSetDesign) -> Atlas:
    path = cache_folder() / f"atlas-{_key(design)}.npz"
    try:
        with np.load(path, allow_pickle=False) as data:
            stated = dict(zip(FIGURES, (float(v) for v in data["error"]), strict=True))
            return Atlas(data["half_range"], data["coef"], stated, int(data["sampled"]))
    except (OSError, ValueError, KeyError):
        pass
    atlas = build_atlas(design)
    out = io.BytesIO()
    np.savez(
        out,
        half_range=atlas.half_range,
        coef=atlas.coef,
        error=np.array([atlas.stated_error[n] for n in FIGURES]),
        sampled=atlas.sampled,
    )
    with contextlib.suppress(OSError):  # a read-only cache costs time, not results
        write_atomically(path, out.getvalue())
    return atlas
