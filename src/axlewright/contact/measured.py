"""Roll a set whose flanks were measured: ring gear, pinion or both."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from axlewright.contact.mesh import (
    LENGTHWISE_POINTS,
    PROFILE_POINTS,
    ROLL_ANGLES,
    FlankMesh,
    Mesh,
    build_mesh,
)
from axlewright.contact.once import OncePerKey
from axlewright.errors import DesignError
from axlewright.gearset import EaseOff, FlankName, GearSetDesign, Geometry, build_geometry, conjugate_pinion
from axlewright.gearset.measured import FlankFit, fit_flank, which_flank
from axlewright.gearset.measured_pinion import PinionFit, fit_pinion, which_pinion_flank
from axlewright.gearset.points import FlankPoints, read_member_points
from axlewright.language import Number, Text, _

Pinion = Literal["of the design", "fitted to it"]
Source = str | Path


def measured_mesh(
    geometry: Geometry,
    pinion: Pinion = "of the design",
    lengthwise: int = LENGTHWISE_POINTS,
    profile: int = PROFILE_POINTS,
    roll_angles: int = ROLL_ANGLES,
) -> Mesh:
    """Prepare a set with measured ring-gear flanks for rolling.

    Parameters
    ----------
    geometry : Geometry
        From `axlewright.gearset.measured.measured_geometry`.
    pinion : {"of the design", "fitted to it"}
        The pinion conjugate to the design's own flank, so that the ring gear's deviations act as
        additional ease-off; or the pinion conjugate to the measured flank, so that only the ease-off
        stands between them.
    lengthwise, profile, roll_angles : int
        As for `build_mesh`.

    Returns
    -------
    Mesh

    Raises
    ------
    DesignError
        When the measured flank never meets a pinion.
    """
    design = geometry.design
    base = build_mesh(design, lengthwise, profile, roll_angles)

    def put(name: FlankName) -> FlankMesh:
        pair = replace(base.flank(name), ring=geometry.flank(name))
        if pinion == "of the design":
            return pair
        made = conjugate_pinion(geometry.cones, pair.ring, design.ratio, pair.x, pair.y)
        return replace(
            pair, points=made.points, normals=made.normals, contact_roll=made.contact_roll, lever=made.lever
        )

    return Mesh(geometry, put("drive"), put("coast"), lengthwise, profile)


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredSet:
    """What was measured of one set; flanks that were not measured are the design's own.

    Attributes
    ----------
    design : GearSetDesign
        The design it was measured against.
    ring : tuple of FlankFit
        Ring-gear flanks, at most one of each name.
    pinion : tuple of PinionFit
        Pinion flanks, by the ring-gear flank they meet.
    """

    design: GearSetDesign
    ring: tuple[FlankFit, ...] = ()
    pinion: tuple[PinionFit, ...] = ()

    def mesh(self, lengthwise: int, profile: int, roll_angles: int) -> Mesh:
        """Return the set ready to roll at a resolution; prepared once.

        Parameters
        ----------
        lengthwise, profile, roll_angles : int
            As for `build_mesh`.
        """
        if not self.ring:
            return build_mesh(self.design, lengthwise, profile, roll_angles)
        key = (self, lengthwise, profile, roll_angles)
        return _MESHES.get(
            key, lambda: measured_mesh(self.geometry(), "of the design", lengthwise, profile, roll_angles)
        )

    def geometry(self) -> Geometry:
        """Return the design's geometry with the measured ring-gear flanks in it."""
        own = build_geometry(self.design)
        flanks = {"drive": own.drive, "coast": own.coast} | {fit.flank.name: fit.flank for fit in self.ring}
        return replace(own, drive=flanks["drive"], coast=flanks["coast"])

    def ease_off(self, flank: FlankName) -> EaseOff:
        """Return the measured ease-off of a flank, the design's where the pinion was not measured.

        Parameters
        ----------
        flank : {"drive", "coast"}
        """
        return next((fit.ease_off for fit in self.pinion if fit.flank == flank), self.design.ease_off(flank))

    def sentences(self) -> list[Text]:
        """Return what was measured and how well the surfaces meet the points, one sentence a flank."""
        out: list[Text] = []
        for ring in self.ring:
            least, most = (f"{1000.0 * v:+.1f}" for v in ring.deviation_mm)
            out.append(
                _(
                    "Ring gear, {flank} flank: measured at {points} points, scatter {scatter} µm, "
                    "{least} to {most} µm from the design."
                ).format(
                    flank=_(ring.flank.name),
                    points=ring.points,
                    scatter=Number(1000.0 * ring.scatter_mm, ".1f"),
                    least=least,
                    most=most,
                )
            )
        for pinion in self.pinion:
            out.append(
                _(
                    "Pinion, flank that meets {flank}: measured at {points} points, scatter {scatter} µm, "
                    "ease-off up to {most} µm."
                ).format(
                    flank=_(pinion.flank),
                    points=pinion.points,
                    scatter=Number(1000.0 * pinion.scatter_mm, ".1f"),
                    most=Number(1000.0 * pinion.ease_off_range_mm[1], ".1f"),
                )
            )
            if pinion.left_out:
                out.append(
                    _("{count} points by the pinion's root, close to undercut, were left out.").format(
                        count=pinion.left_out
                    )
                )
        return out


_MESHES: OncePerKey[tuple[MeasuredSet, int, int, int], Mesh] = OncePerKey(8)


def read_measured(
    design: GearSetDesign,
    ring: Source | Iterable[Source] = (),
    pinion: Source | Iterable[Source] = (),
) -> MeasuredSet:
    """Read measured flanks of a set.

    Parameters
    ----------
    design : GearSetDesign
        What the points are measured against.
    ring, pinion : path, text of a file, or several of them
        Each file holds one flank or, with a column ``flank``, both; docs/designs.md describes them. A ring
        gear's flank without that column is told by its shape, a pinion's as well.

    Returns
    -------
    MeasuredSet
        For the argument `measured` of `roll` and `sweep`.

    Raises
    ------
    DesignError
        In one sentence that names file and place: no points, a hole, an outlier, another unit, points of the
        other flank or of another gear, a flank given twice.

    Examples
    --------
    >>> import axlewright as aw
    >>> design = aw.load_design("TY-222")
    >>> from axlewright.gearset import build_geometry
    >>> from axlewright.gearset.measured import flank_csv
    >>> text = flank_csv(build_geometry(design).drive)
    >>> measured = aw.read_measured(design, ring=text)
    >>> print(aw.roll(design, "drive", measured=measured).pattern.describe())
    centred in profile, centred lengthwise, 53% of the tooth length
    """
    rings: list[FlankFit] = []
    for part in _parts(ring, "ring gear"):
        name = _named(part, which_flank(design, part.points))
        rings.append(fit_flank(design, name, part.points, part.normals, where=part.where))
        _refuse_twice([fit.flank.name for fit in rings], part.where)
    pinions: list[PinionFit] = []
    for part in _parts(pinion, "pinion"):
        name = _named(part, which_pinion_flank(design, part.points))
        pinions.append(fit_pinion(design, name, part.points, part.normals, where=part.where))
        _refuse_twice([fit.flank for fit in pinions], part.where)
    return MeasuredSet(design, tuple(rings), tuple(pinions))


def _parts(sources: Source | Iterable[Source], where: str) -> list[FlankPoints]:
    many = [sources] if isinstance(sources, (str, Path)) else list(sources)
    return [part for source in many for part in read_member_points(source, where=where)]


def _named(part: FlankPoints, shape: FlankName | None) -> FlankName:
    """Return the flank a part belongs to, refusing a name that its shape belies."""
    if part.flank is not None and shape is not None and part.flank != shape:
        raise DesignError(
            _("the points named {flank} have the shape of the {other} flank").format(
                flank=_(part.flank), other=_(shape)
            ),
            where=part.where,
            fix=_("give each flank its own name; drive is the ring gear's convex flank and what meets it"),
        )
    return part.flank or shape or "drive"


def _refuse_twice(names: list[FlankName], where: Text) -> None:
    if len(set(names)) < len(names):
        raise DesignError(
            _("the {flank} flank is given twice").format(flank=_(names[-1])),
            where=where,
            fix=_("give each flank once"),
        )
