"""Rolling under load: statics, limits, convergence and the facts of the trade."""

import math
from functools import lru_cache

import numpy as np
import pytest

from axlewright.contact import complementarity, loaded_reference
from axlewright.contact.hertz import line_peak_pressure
from axlewright.contact.loaded import LoadedResult, roll_loaded
from axlewright.contact.loaded_setup import MODULUS, POISSON_TERM, SLOPE, prepare
from axlewright.contact.mesh import Settings, build_mesh
from axlewright.contact.mounts import RIGID, MountStiffness, resolve
from axlewright.contact.rolling import roll
from axlewright.errors import ContactError, InputError
from axlewright.gearset import load_design, shipped_designs
from axlewright.gearset.flank import blade_angle

NAMES = shipped_designs()
FLANKS = ("drive", "coast")


@lru_cache(maxsize=128)
def loaded(
    name: str, flank: str, torque: float, rigid: bool = False, settings: Settings | None = None
) -> LoadedResult:
    design = load_design(name)
    return roll_loaded(
        build_mesh(design), flank, settings or Settings(), design.ease_off(flank),  # type: ignore[arg-type]
        design.compound_film_mm, torque, mounts=RIGID if rigid else None,
    )  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("flank", FLANKS)
@pytest.mark.parametrize("torque", [20.0, 300.0, 800.0])
def test_statics(name: str, flank: str, torque: float) -> None:
    """Forces times lever arms make the torque; no tension; no overlap; shares sum to one."""
    r = loaded(name, flank, torque)
    assert r.torque_error < 1e-6
    assert r.contact_force.min() >= 0.0
    assert r.penetration_mm < 1e-9
    assert r.load_shares.sum(axis=0) == pytest.approx(1.0, abs=1e-9)
    assert r.line_load.min() >= 0.0


def test_torque_is_balanced_by_the_forces_independently() -> None:
    """Moment of every normal force about the ring gear's axis from its place and normal, not the kernel's."""
    design = load_design("TY-222")
    mesh = build_mesh(design)
    r = loaded("TY-222", "drive", 300.0)
    pair = mesh.drive
    X = r.places[..., 0]
    Y = r.places[..., 1]
    points, normals = pair.ring.points(X, Y)
    arm = np.abs(np.cross(points, normals)[..., 2])
    moment = r.contact_force * arm
    table = np.zeros(-(-moment.shape[1] // pair.per_pitch) * pair.per_pitch)
    table[: moment.shape[1]] = moment.sum(axis=0)
    total = table.reshape(-1, pair.per_pitch).sum(axis=0) / 300e3
    assert total == pytest.approx(1.0, rel=2e-3)  # between the rows lever arms are interpolated


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("flank", FLANKS)
def test_no_torque_no_difference(name: str, flank: str) -> None:
    """Torque → 0 tends to the unloaded pattern and motion error."""
    r = loaded(name, flank, 1e-3)
    free = roll(load_design(name), flank)
    assert r.pattern.center == pytest.approx(free.pattern.center, abs=0.01)
    assert r.pattern.length_fraction == pytest.approx(free.pattern.length_fraction, abs=0.03)
    assert r.motion_error_pp_urad == pytest.approx(free.motion_error_pp_urad, rel=0.05, abs=0.5)
    assert abs(r.mount_shift.pinion_out_mm) < 1e-5
    assert r.mean_twist_urad < 1.0


@pytest.mark.parametrize("flank", FLANKS)
@pytest.mark.parametrize("settings", [Settings(), Settings(0.1, -0.05, 0.02, 0.02)])
def test_compiled_and_reference_agree(flank: str, settings: Settings) -> None:
    """Active-set Newton against non-negative least squares and bracketing: the same answer."""
    design = load_design("TY-222")
    mesh = build_mesh(design, 48, 24, 64)
    a, b = (
        roll_loaded(mesh, flank, settings, design.ease_off(flank), 0.00635, 200.0, kernel=kernel)  # type: ignore[arg-type]
        for kernel in ("auto", "reference")
    )
    assert a.contact_force == pytest.approx(b.contact_force, abs=1e-6 * a.contact_force.max())
    assert a.motion_error_urad == pytest.approx(b.motion_error_urad, abs=1e-5)
    assert np.array_equal(np.isfinite(b.pattern.nearness), np.isfinite(a.pattern.nearness))  # type: ignore[arg-type]
    near = b.pattern.nearness < 1.0  # type: ignore[operator]
    assert a.pattern.nearness[near] == pytest.approx(b.pattern.nearness[near], abs=1e-9)  # type: ignore[index]
    assert np.array_equal(a.pattern.mask, b.pattern.mask)


@pytest.mark.parametrize("seed", range(6))
def test_complementarity_on_random_problems(seed: int) -> None:
    """Both solvers on random compliances, gaps and flattening laws."""
    rng = np.random.default_rng(seed)
    m = 40
    q = rng.normal(size=(m, m))
    C = (q @ q.T) * 1e-8
    lever = rng.uniform(60, 90, m)
    gap = rng.uniform(0, 3e-4, m)
    cell = rng.uniform(0.8, 2.5, m)
    c0 = np.full(m, 2 * math.log(16.0 * math.pi * MODULUS / 25.0) - POISSON_TERM)
    force = np.zeros(m)
    twist, u, took = complementarity.solve_complementarity(C, lever, gap, c0, SLOPE, cell, 2e5, force)
    assert took > 0
    other, forces, v = loaded_reference.solve_complementarity(C, lever, gap, c0, SLOPE, cell, 2e5)
    assert twist == pytest.approx(other, rel=1e-9)
    assert force == pytest.approx(forces, abs=1e-6 * forces.max())
    separation = lever * (gap - twist) + u
    assert np.all(force >= 0.0)
    assert separation.min() > -1e-9
    assert np.abs(separation * force).max() < 1e-6
    assert u == pytest.approx(v, abs=1e-10)


@pytest.mark.parametrize("deep", [1e-11, 1e-10, 1e-9, 2e-9, 1e-8])
def test_a_point_that_only_just_touches_is_settled(deep: float) -> None:
    """A second point overlaps by a hair's hair [mm] when the first carries all: no to and fro about it."""
    lever, cell, torque = np.array([75.0, 80.0]), np.array([1.0, 1.0]), 2e4
    C = np.diag([1e-6, 1e-6])
    c0 = np.full(2, 2 * math.log(16.0 * math.pi * MODULUS / 25.0) - POISSON_TERM)
    alone = torque / lever[0]
    u = C[0, 0] * alone + alone * SLOPE * (c0[0] - 2.0 * math.log(alone))
    gap = np.array([0.0, u / lever[0] - deep / lever[1]])
    force = np.zeros(2)
    twist, v, took = complementarity.solve_complementarity(C, lever, gap, c0, SLOPE, cell, torque, force)
    assert took > 0
    assert np.all(force >= 0.0)
    assert force @ lever == pytest.approx(torque, rel=1e-9)
    assert (lever * (gap - twist) + v).min() > -1e-11


@pytest.mark.parametrize("name", NAMES)
def test_heel_shift_and_growth(name: str) -> None:
    """More load: toward the heel and larger on both flanks, drive more than coast (shop practice, no source).

    The heel shift comes from the mounts: it is tested while the pattern is free of the tooth's ends.
    """
    shift = {}
    for flank in FLANKS:
        light, heavy = loaded(name, flank, 20.0), loaded(name, flank, 300.0)
        shift[flank] = heavy.pattern.center[0] - light.pattern.center[0]
        assert heavy.pattern.area_fraction > light.pattern.area_fraction
        assert heavy.pattern.length_fraction > light.pattern.length_fraction
    assert shift["drive"] > 0.02
    assert shift["coast"] > 0.02
    assert shift["drive"] > shift["coast"]


@pytest.mark.parametrize("name", NAMES)
def test_coast_grows_less_under_the_smaller_load_it_sees(name: str) -> None:
    """Larger and more distinct on drive, less so on coast (shop practice, no source).

    At one and the same torque both flanks grow alike (docs/method-loaded.md, 9); an engine holds back with
    less torque than it drives with, a third of it here.
    """

    def distinct(r: LoadedResult) -> float:
        near = r.pattern.nearness
        assert near is not None
        return float(np.mean(near[r.pattern.mask] < 0.1 * load_design(name).compound_film_mm))

    grown, clearer = {}, {}
    for flank, torque in (("drive", 300.0), ("coast", 100.0)):
        light, heavy = loaded(name, flank, 20.0), loaded(name, flank, torque)
        grown[flank] = heavy.pattern.area_fraction / light.pattern.area_fraction
        clearer[flank] = distinct(heavy) / distinct(light)
        assert clearer[flank] > 1.1
    assert grown["drive"] > grown["coast"] > 1.1
    assert clearer["drive"] > clearer["coast"]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("flank", FLANKS)
def test_mesh_force_against_the_standard_formula(name: str, flank: str) -> None:
    """Axial forces: N (sin α sin δ ± cos α sin β cos δ) with N = Ft/(cos α cos β).

    The usual bevel and hypoid force formulas (Shigley's force analysis chapter), with the blade angle of
    the flank as α. They hold at the pitch point, which lies above mid-profile on the ring gear's tooth;
    the roll's mean force belongs to the pattern's middle and must agree to some per cent of N. On tapered
    teeth the flanks are cut in the tilted root plane, which turns their spiral angle a little.
    """
    design = load_design(name)
    geometry = build_mesh(design).geometry
    cones, blank = geometry.cones, geometry.blank
    sign = 1.0 if flank == "drive" else -1.0
    # At the pitch point, where the flanks touch at roll angle zero.
    _, high = blank.to_tooth(np.array(blank.pitch_radius), np.array(blank.pitch_height))
    point, normal = geometry.flank(flank).points(np.array(0.0), high)  # type: ignore[arg-type]

    def spiral(generator: np.ndarray) -> float:
        around = abs(float(normal @ np.cross(cones.normal, generator)))
        return math.atan2(abs(float(normal @ generator)), around)

    alpha = math.asin(abs(float(normal @ cones.normal)))
    beta1, beta2 = spiral(cones.pinion_generator()), spiral(cones.ring_generator())
    if design.depth_taper == "constant":  # nothing tilted: the nominal angles themselves
        assert alpha == pytest.approx(blade_angle(cones, flank, design.mean_pressure_angle_deg))  # type: ignore[arg-type]
        assert (beta1, beta2) == pytest.approx((cones.spiral1, cones.spiral2))
    N = 1e3 / (cones.radius2 * math.cos(alpha) * math.cos(beta2))

    def axial(delta: float, beta: float, sense: float) -> float:
        return N * (
            math.sin(alpha) * math.sin(delta) + sense * math.cos(alpha) * math.sin(beta) * math.cos(delta)
        )

    pinion, wheel = axial(cones.delta1, beta1, sign), axial(cones.delta2, beta2, -sign)
    force = 1e3 / abs(float(np.cross(point, normal)[2]))
    there = resolve(geometry, force * normal, force)
    assert there.normal_n == pytest.approx(N, rel=1e-6)
    assert there.pinion_axial_n == pytest.approx(pinion, abs=1e-6 * N)
    assert there.ring_axial_n == pytest.approx(wheel, abs=1e-6 * N)
    # Over the roll.
    r = loaded(name, flank, 1.0, True)
    assert r.forces.normal_n == pytest.approx(N, rel=0.05)
    assert r.forces.pinion_axial_n == pytest.approx(pinion, abs=0.08 * N)
    assert r.forces.ring_axial_n == pytest.approx(wheel, abs=0.08 * N)
    assert math.copysign(1.0, r.forces.pinion_axial_n) == sign
    whole = math.hypot(r.forces.pinion_axial_n, r.forces.pinion_radial_n)
    assert whole == pytest.approx(r.forces.normal_n, rel=0.02)


def test_mounts_give_by_force_over_stiffness() -> None:
    r = loaded("TY-222", "drive", 200.0)
    soft = MountStiffness.of(load_design("TY-222"))
    # The shift was found from the force one round earlier and at fewer roll angles.
    assert r.mount_shift.pinion_out_mm == pytest.approx(
        r.forces.pinion_axial_n / soft.pinion_axial / 1e3, rel=0.02
    )
    assert r.mount_shift.offset_error_mm == pytest.approx(r.forces.offset_n / soft.offset / 1e3, rel=0.02)
    assert r.mount_shift.pinion_out_mm > 0.0
    assert loaded("TY-222", "coast", 200.0).mount_shift.pinion_out_mm < 0.0
    assert loaded("TY-222", "coast", 200.0).mount_shift.ring_away_mm > 0.0
    rigid = loaded("TY-222", "drive", 200.0, True)
    assert rigid.mount_shift == Settings()
    assert rigid.mean_twist_urad < r.mean_twist_urad


def test_pressure_is_hertz_for_the_line_load() -> None:
    """Peak pressure follows from line load and relative radius; it grows about as the square root."""
    design = load_design("TY-222")
    r = loaded("TY-222", "drive", 100.0, True)
    ready = prepare(build_mesh(design), "drive")
    a, k = np.unravel_index(int(np.argmax(r.pressure_mpa)), r.pressure_mpa.shape)
    row = round((r.places[a, k, 1] - ready.pair.y[0]) / (ready.pair.y[1] - ready.pair.y[0]))
    plain = line_peak_pressure(r.line_load[a, k], ready.radius[row, a], MODULUS)
    assert r.pressure_mpa[a, k] == pytest.approx(plain, rel=0.15)  # the ease-off adds a little curvature
    more = loaded("TY-222", "drive", 200.0, True)
    exponent = math.log2(more.peak_pressure_mpa / r.peak_pressure_mpa)
    assert 0.25 < exponent < 0.5  # line-like 1/2, less because the line grows longer


def test_grid_refinement_converges() -> None:
    design = load_design("TY-222")
    found = []
    for grid, columns in (((48, 24, 64), 16), ((96, 48, 128), 30), ((192, 96, 256), 60)):
        r = roll_loaded(
            build_mesh(design, *grid), "drive", Settings(), design.ease_off("drive"), 0.00635, 200.0,
            columns=columns,
        )  # fmt: skip
        found.append((r.mean_twist_urad, r.motion_error_pp_urad, r.pattern.center[0]))
    coarse, middle, fine = found
    assert middle[0] == pytest.approx(fine[0], rel=0.005)
    assert middle[1] == pytest.approx(fine[1], rel=0.05, abs=0.5)
    assert middle[2] == pytest.approx(fine[2], abs=0.01)
    assert abs(middle[0] - fine[0]) <= abs(coarse[0] - fine[0]) + 0.05


@pytest.mark.parametrize("torque", [0.0, -5.0, math.nan, math.inf])
def test_no_load_is_refused(torque: float) -> None:
    design = load_design("TY-222")
    with pytest.raises(InputError, match="torque"):
        roll_loaded(build_mesh(design), "drive", Settings(), design.ease_off("drive"), 0.00635, torque)


def test_a_torque_that_lifts_contact_off_is_said_with_its_number() -> None:
    design = load_design("TY-222")
    soft = MountStiffness(0.05, 0.05, 0.05)
    with pytest.raises(ContactError, match=r"2000 N·m, which moves the pinion \+\d+\.\d+ mm along its axis"):
        roll_loaded(
            build_mesh(design), "drive", Settings(), design.ease_off("drive"), 0.00635, 2000.0, mounts=soft
        )


@pytest.mark.parametrize("torque", [30e3, 100e3])
def test_a_torque_that_leaves_only_edges_is_said_with_its_number(torque: float) -> None:
    """The design's own mounts give so far that the flanks no longer carry: one sentence, the torque in it."""
    design = load_design("TY-222")
    with pytest.raises(ContactError, match=f"{torque:g} N·m, which moves the pinion"):
        roll_loaded(
            build_mesh(design), "drive", Settings(), design.ease_off("drive"), design.compound_film_mm, torque
        )


def test_edge_contact_that_the_settings_make_is_still_rolled() -> None:
    """Wrong settings put the contact on an edge without any load: that is a reading, not an error."""
    r = loaded("TY-222", "drive", 100.0, settings=Settings(offset_error_mm=2.0))
    assert r.edge_share > 0.5
    assert r.torque_error < 1e-6
