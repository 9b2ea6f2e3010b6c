"""Roll a set under load: teeth bend and flatten, pairs share the torque, the axle gives way.

See docs/method-loaded.md for the model, its sources and its errors.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import compiled, loaded_kernel, loaded_reference
from axlewright.contact.loaded_setup import COLUMNS, MODULUS, POISSON_TERM, SLOPE, LoadedFlank, prepare
from axlewright.contact.marks import ContactPattern, measure_mask, onto_ring
from axlewright.contact.mesh import (
    FlankMesh,
    Kernel,
    Mesh,
    Settings,
    relieved_points,
    roll_transforms,
    y_floor,
)
from axlewright.contact.mounts import MeshForces, MountStiffness, give, resolve
from axlewright.errors import ContactError, InputError
from axlewright.gearset import EaseOff, FlankName, rotation_about
from axlewright.language import Number, Text, _

Array = NDArray[np.float64]

MOUNT_ROUNDS = 2  # times the mesh force is carried to the mounts and back
LIMIT_RAD = 0.0012  # points whose gap is larger than the least by this cannot carry
GONE = 0.9  # share of the torque on edges, mean over a pitch, from which the load has left the flanks
MARK_REACH_RAD = 2e-4  # gap beyond the deepest approach that marking still follows


@dataclass(frozen=True, slots=True)
class LoadedResult:
    """What one flank pair does under load.

    Attributes
    ----------
    flank : {"drive", "coast"}
    settings : Settings
        As set, without what the load adds.
    torque_nm : float
        At the ring gear [N·m].
    pattern : ContactPattern
        Marked where the separation under load falls below the film at any roll angle.
    motion_error_urad : array, shape (per_pitch,)
        Forward in time, mean removed [µrad]; on drive a twist lets the ring gear lag, on coast it leads.
    mean_twist_urad : float
        How far the load turns the ring gear into the mesh, teeth and mounts together [µrad].
    load_shares : array, shape (pairs, per_pitch)
        Share of the torque carried by each pair in turn; columns sum to 1.
    contact_force : array, shape (columns, nroll)
        Normal force of each contact point along one pair's whole path [N].
    line_load, pressure_mpa : array, shape (columns, nroll)
        Force per mm of contact line [N/mm]; peak pressure of the line there [MPa].
    places : array, shape (columns, nroll, 2)
        (lengthwise, profile) of each contact point on the unrolled tooth.
    peak_pressure_mpa : float
        Largest pressure away from the edges; at an edge the line contact law does not hold.
    edge_share : float
        Largest share of the torque that edges carry at any roll angle; not small means edge contact.
    mount_shift : Settings
        What the load adds to the settings.
    forces : MeshForces
    torque_error : float
        Largest |Σ force × lever arm − torque| over the torque.
    penetration_mm : float
        Largest overlap left anywhere on the contact lines [mm].
    """

    flank: FlankName
    settings: Settings
    torque_nm: float
    pattern: ContactPattern
    motion_error_urad: Array
    mean_twist_urad: float
    load_shares: Array
    contact_force: Array
    line_load: Array
    pressure_mpa: Array
    places: Array
    peak_pressure_mpa: float
    edge_share: float
    mount_shift: Settings
    forces: MeshForces
    torque_error: float
    penetration_mm: float

    @property
    def motion_error_pp_urad(self) -> float:
        """Peak-to-peak motion error over one pitch [µrad]."""
        return float(np.ptp(self.motion_error_urad))

    def summary(self) -> dict[str, Any]:
        """Return the results as plain data for JSON."""
        return {
            "flank": self.flank,
            "torque_nm": self.torque_nm,
            "pattern": self.pattern.summary(),
            "motion_error_pp_urad": round(self.motion_error_pp_urad, 3),
            "mean_twist_urad": round(self.mean_twist_urad, 2),
            "peak_pressure_mpa": round(self.peak_pressure_mpa, 1),
            "edge_share": round(self.edge_share, 4),
            "largest_pair_share": round(float(self.load_shares.max()), 4),
            "mount_shift": {
                "pinion_out_mm": round(self.mount_shift.pinion_out_mm, 5),
                "ring_away_mm": round(self.mount_shift.ring_away_mm, 5),
                "offset_error_mm": round(self.mount_shift.offset_error_mm, 5),
            },
            "forces_n": {
                "pinion_axial": round(self.forces.pinion_axial_n, 1),
                "ring_axial": round(self.forces.ring_axial_n, 1),
                "offset": round(self.forces.offset_n, 1),
                "pinion_radial": round(self.forces.pinion_radial_n, 1),
                "normal": round(self.forces.normal_n, 1),
            },
        }


@dataclass(slots=True)
class _Shared:
    """Fields along one pair's path after the load was shared, each shape (nc, nroll) but `twist`."""

    pair: FlankMesh
    least: Array
    row: Array
    bend: Array
    force: Array
    displacement: Array
    flat: Array
    pressure: Array
    line: Array
    twist: Array
    matrices: Array
    shifts: Array


def _share(
    mesh: Mesh,
    ready: LoadedFlank,
    pair: FlankMesh,
    settings: Settings,
    shift: Settings,
    points: Array,
    torque_nm: float,
    fast: bool,
) -> _Shared:
    """Share the torque at every roll angle of `pair` with the members at `settings` moved by `shift`."""
    matrices, shifts = roll_transforms(mesh.geometry, settings.plus(shift), pair.roll)
    floor = y_floor(mesh)
    cols = ready.columns
    coarse = np.ascontiguousarray(points[:, cols])
    if fast:
        least, row, bend = loaded_kernel.column_gaps(
            coarse, np.ascontiguousarray(pair.valid[:, cols]), compiled.nearest_roll(pair)[:, cols],
            matrices, shifts,
            compiled.ring_parameters(pair), pair.ring.patches.coef, float(pair.ring.outward), floor,
            pair.per_pitch // 2, compiled.REACH,
        )  # fmt: skip
    else:
        least, row, bend = loaded_reference.column_gaps(ready, pair, points, matrices, shifts, floor)
    if not np.all(np.isfinite(_fold(least.min(axis=0), pair.per_pitch))):
        raise _left(
            _("the teeth leave contact for part of each pitch"), shift, torque_nm, f"{pair.name} flank"
        )
    force, displacement, flat, pressure, line = (np.zeros(least.shape) for _ in range(5))
    twist = np.full(pair.per_pitch, np.nan)
    out = _Shared(
        pair, least, row, bend, force, displacement, flat, pressure, line, twist, matrices, shifts
    )  # fmt: skip
    phases = np.arange(pair.per_pitch, dtype=np.int64)
    iterations = np.zeros(len(phases), dtype=np.int64)
    run = loaded_kernel.share_load if fast else loaded_reference.share_load
    run(
        least, row, bend, coarse, np.ascontiguousarray(pair.lever[:, cols]), ready.radius, ready.across,
        ready.depth, ready.weight, ready.influence, ready.weights, pair.per_pitch, phases,
        torque_nm * 1e3, LIMIT_RAD, MODULUS, SLOPE, POISSON_TERM,
        out.force, out.displacement, out.flat, out.pressure, out.line, out.twist, iterations,
    )  # fmt: skip
    if np.any(iterations < 0):
        failed = _("the load could not be shared at {failed} of {all} roll angles").format(
            failed=int((iterations < 0).sum()), all=len(phases)
        )
        raise _left(failed, shift, torque_nm, f"torque_nm = {torque_nm:g}")
    return out


def _left(what: Text, shift: Settings, torque_nm: float, where: str) -> ContactError:
    """Return the error of a load that is no longer on the flanks, with the torque and what it moves."""
    if shift != Settings():
        what = _(
            "{what} at {torque} N·m, which moves the pinion {out} mm along its axis "
            "and {offset} mm along the offset"
        ).format(
            what=what,
            torque=Number(torque_nm, "g"),
            out=Number(shift.pinion_out_mm, "+.3f"),
            offset=Number(shift.offset_error_mm, "+.3f"),
        )
    return ContactError(
        what, where=where, fix=_("use a smaller torque or bring the settings errors nearer to zero")
    )


def _edge_moment(shared: _Shared, moment: Array) -> Array:
    """Return the torque that edges carry at each phase [N·mm]."""
    return _pair_shares(np.where(shared.bend < 0.0, moment, 0.0), shared.pair.per_pitch)[1]


def _refuse_edges_only(
    shared: _Shared, moment: Array, unloaded: _Shared, torque_nm: float, shift: Settings
) -> None:
    """Refuse a torque under which edges carry the load of flanks that touch inside without it."""
    at = np.argmin(unloaded.least, axis=0)
    k = np.arange(unloaded.least.shape[1])
    low = unloaded.least[at, k]
    first = low <= _fold(low, unloaded.pair.per_pitch)[k % unloaded.pair.per_pitch]
    inside = float(np.mean(unloaded.bend[at, k][first] > 0.0))
    if inside > 0.5 and _edge_moment(shared, moment).mean() > GONE * torque_nm * 1e3:
        raise _left(
            _("the load leaves the flanks and edges of the teeth carry it"), shift, torque_nm,
            f"torque_nm = {torque_nm:g}",
        )  # fmt: skip


def _fold(curve: Array, per_pitch: int) -> Array:
    out = np.full(per_pitch, np.inf)
    np.minimum.at(out, np.arange(len(curve)) % per_pitch, curve)
    return out


def _at_rows(values: Array, row: Array) -> Array:
    """Return values[row, column] at fractional rows, shape (nc, n) or (nc, n, 3)."""
    b = np.clip(row.astype(np.intp), 0, values.shape[0] - 2)
    t = row - b
    c = np.arange(values.shape[1])[:, None]
    if values.ndim == 3:
        t = t[..., None]
    return np.asarray((1 - t) * values[b, c] + t * values[b + 1, c])


def _forces(mesh: Mesh, ready: LoadedFlank, shared: _Shared) -> MeshForces:
    """Return the mesh force, mean over one pitch."""
    pair = shared.pair
    turn = rotation_about(mesh.geometry.cones.pinion_axis, -mesh.geometry.design.ratio * pair.roll)
    a, k = np.nonzero(shared.force > 0.0)
    b = np.minimum(shared.row[a, k].astype(np.intp), len(pair.y) - 2)
    t = (shared.row[a, k] - b)[:, None]
    fine = ready.offset + ready.stride * a
    normals = (1 - t) * pair.normals[b, fine] + t * pair.normals[b + 1, fine]
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    f = shared.force[a, k]
    total = np.einsum("m,mij,mj->i", f, turn[k], normals)
    return resolve(mesh.geometry, total / pair.per_pitch, float(f.sum()) / pair.per_pitch)


def roll_loaded(
    mesh: Mesh,
    flank: FlankName,
    settings: Settings,
    ease_off: EaseOff,
    film_mm: float,
    torque_nm: float,
    *,
    mounts: MountStiffness | None = None,
    kernel: Kernel = "auto",
    columns: int = COLUMNS,
) -> LoadedResult:
    """Roll one flank pair under load.

    Parameters
    ----------
    mesh : Mesh
    flank : {"drive", "coast"}
    settings : Settings
    ease_off : EaseOff
    film_mm : float
        Compound film [mm].
    torque_nm : float
        Torque at the ring gear > 0 [N·m].
    mounts : MountStiffness, optional
        The design's own when None; `mounts.RIGID` holds the axle still.
    kernel : {"auto", "compiled", "reference"}
    columns : int
        Contact points over the face width, about.

    Returns
    -------
    LoadedResult

    Raises
    ------
    InputError, ContactError, DesignError
        With the number that causes it.
    """
    if not np.isfinite(torque_nm) or torque_nm <= 0.0:
        raise InputError(
            _("{torque} N·m is no load").format(torque=Number(torque_nm, "g")),
            where="torque_nm",
            fix=_("give a torque above 0 at the ring gear"),
        )
    design = mesh.geometry.design
    stiffness = MountStiffness.of(design) if mounts is None else mounts
    ready = prepare(mesh, flank, columns)
    pair = ready.pair
    fast = kernel != "reference" and compiled.AVAILABLE
    points = relieved_points(pair, ease_off)
    still = _share(mesh, ready, ready.rough, settings, Settings(), points, torque_nm, fast)
    start = float(_fold(still.least.min(axis=0), ready.rough.per_pitch).mean())
    shift = give(_forces(mesh, ready, still), stiffness)
    for _round in range(MOUNT_ROUNDS - 1):
        trial = _share(mesh, ready, ready.rough, settings, shift, points, torque_nm, fast)
        shift = give(_forces(mesh, ready, trial), stiffness)
    shared = _share(mesh, ready, pair, settings, shift, points, torque_nm, fast)
    arm = _at_rows(pair.lever[:, ready.columns], shared.row)
    moment = shared.force * arm
    _refuse_edges_only(shared, moment, still, torque_nm, shift)
    forces = _forces(mesh, ready, shared)
    floor = y_floor(mesh)
    lowest = _fold(shared.least.min(axis=0), pair.per_pitch)
    reach = min(compiled.REACH, float((shared.twist - lowest).max() + np.ptp(lowest)) + MARK_REACH_RAD)
    if fast:
        nearest, at_x, at_y = loaded_kernel.loaded_marks(
            points, pair.valid, compiled.nearest_roll(pair), pair.lever, shared.matrices, shared.shifts,
            compiled.ring_parameters(pair), pair.ring.patches.coef, float(pair.ring.outward), floor,
            pair.per_pitch // 2, reach, shared.twist, shared.displacement, shared.flat,
            ready.offset, ready.stride, pair.per_pitch,
        )  # fmt: skip
    else:
        nearest, at_x, at_y = loaded_reference.loaded_marks(
            ready, points, shared.matrices, shared.shifts, floor, shared.twist,
            shared.displacement, shared.flat,
        )  # fmt: skip
    on_ring = onto_ring(pair.x, pair.y, at_x, at_y, nearest, mesh.lengthwise, mesh.profile)
    pattern = measure_mask(on_ring < film_mm, flank, on_ring)
    error = (shared.twist - shared.twist.mean()) * (-1e6 if flank == "drive" else 1e6)
    if pair.forward < 0:
        error = error[::-1].copy()
    shares, total = _pair_shares(moment, pair.per_pitch)
    on_edge = _edge_moment(shared, moment)
    inner = shared.bend > 0.0
    touching = np.isfinite(shared.least)
    gap = np.where(touching, shared.least, 1.0)
    phase = shared.twist[np.arange(gap.shape[1]) % pair.per_pitch]
    separation = np.where(touching, arm * (gap - phase) + shared.displacement, 1.0)
    places = np.stack(
        [
            np.broadcast_to(ready.x[:, None], shared.row.shape),
            pair.y[0] + shared.row * (pair.y[1] - pair.y[0]),
        ],
        axis=-1,
    )
    return LoadedResult(
        flank,
        settings,
        float(torque_nm),
        pattern,
        error,
        float(shared.twist.mean() - start) * 1e6,
        shares / (torque_nm * 1e3),
        shared.force,
        shared.line,
        shared.pressure,
        places,
        float(np.where(inner, shared.pressure, 0.0).max()),
        float(on_edge.max() / (torque_nm * 1e3)),
        shift,
        forces,
        float(np.abs(total / (torque_nm * 1e3) - 1.0).max()),
        max(0.0, -float(separation[ready.weight > 0.0].min())),
    )


def _pair_shares(moment: Array, per_pitch: int) -> tuple[Array, Array]:
    """Return the torque of each pair at each phase, shape (pairs, per_pitch), and the sum over pairs."""
    each = moment.sum(axis=0)
    pairs = -(-len(each) // per_pitch)
    table = np.zeros(pairs * per_pitch)
    table[: len(each)] = each
    shaped = table.reshape(pairs, per_pitch)
    return shaped, shaped.sum(axis=0)
