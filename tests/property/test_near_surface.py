"""At the surface: buoyancy in closed form, no jump, nothing left in the air."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from random_baits import (
    Set,
    changed,
    generator,
    mass_matrix,
    random_bait,
    random_state,
    rates,
    ready,
)
from scipy.spatial.transform import Rotation

from sim.kernels import layout as lo
from sim.kernels.body import body_load, hook_load, immersed_share, weight_and_buoyancy
from sim.kernels.plate import plate_load

RADIUS = 20.0e-3
DOWN = {
    "level": (0.0, 0.0, 1.0),
    "heeled": (0.0, 0.6, 0.8),
    "on its side": (0.0, 1.0, 0.0),
    "upside down": (0.0, 0.0, -1.0),
    "nose down 37": (0.6, 0.0, 0.8),
    "nose up": (-1.0, 0.0, 0.0),
}


def ball(strips: int = 8, **size: float) -> Set:
    body = {"form": "ellipsoid", "length_mm": 40.0, "height_mm": 40.0, "width_mm": 40.0, **size}
    return ready({
        "bait": {"body": {**body, "density_g_cm3": 0.5}},
        "solver": {"body_strips": strips},
    })  # fmt: skip


def hydrostatic(case: Set, down: tuple[float, ...], depth: float) -> np.ndarray:
    """Force and moment of buoyancy alone at a depth of the centre of gravity, bait frame."""
    scalar = case.model.scalar.copy()
    scalar[lo.WEIGHT] = 0.0
    wet = np.ones_like(case.scratch.wet)
    load, _ = weight_and_buoyancy(*down, depth, scalar, case.model.volumes, 0, wet)
    return np.array(load)


def upward(case: Set, down: tuple[float, ...], depth: float) -> float:
    return -float(hydrostatic(case, down, depth)[:3] @ np.array(down))


def cap(depth: float) -> float:
    """Share of a sphere that is under water, by the height of the spherical cap."""
    h = min(2.0 * RADIUS, max(0.0, depth + RADIUS))
    return h * h * (3.0 * RADIUS - h) / (4.0 * RADIUS**3)


# ---------------------------------------------------------------------------------------- buoyancy


@pytest.mark.parametrize("attitude", DOWN)
def test_buoyancy_of_a_sphere_is_that_of_the_spherical_cap(attitude: str) -> None:
    # within 2 % of the whole when the slabs are cut across the surface, 3 % end on, where each
    # slab goes under as one smooth piece
    case = ball()
    whole = case.bait.water.density * 9.80665 * 4.0 / 3.0 * math.pi * RADIUS**3
    for depth in np.linspace(-1.1 * RADIUS, 1.1 * RADIUS, 45):
        share = upward(case, DOWN[attitude], float(depth)) / whole
        tolerance = 0.03 if attitude == "nose up" else 0.02
        assert share == pytest.approx(cap(float(depth)), abs=tolerance), depth


def test_more_strips_come_nearer_to_the_cap() -> None:
    worst = []
    for strips in (4, 8, 16, 32):
        case = ball(strips)
        whole = upward(case, DOWN["level"], 1.0)
        depths = np.linspace(-RADIUS, RADIUS, 41)
        gap = [upward(case, DOWN["level"], float(d)) / whole - cap(float(d)) for d in depths]
        worst.append(float(np.abs(gap).max()))
    assert worst[-1] < 0.001
    assert worst[-1] < worst[1] < worst[0]


@pytest.mark.parametrize("attitude", DOWN)
def test_buoyancy_of_a_slowly_raised_ellipsoid_is_continuous(attitude: str) -> None:
    case = ball(length_mm=80.0, height_mm=20.0, width_mm=14.0)
    down = np.array(DOWN[attitude])
    reach = float(np.linalg.norm(down * np.array([40.0, 7.0, 10.0]) * 1e-3))
    step = 1e-5
    depths = np.arange(0.06, -0.06, -step)
    force = np.array([upward(case, DOWN[attitude], float(d)) for d in depths])
    whole = force[0]
    # steepest where the waterline is largest: 3/4 of V over the half depth, times 3 for the slabs
    # that stand end on
    assert np.abs(np.diff(force)).max() < 3.0 * 0.75 * whole * step / reach
    assert (np.diff(force) <= 1e-12 * whole).all()
    assert force[-1] == pytest.approx(0.0, abs=1e-12 * whole)
    middle = upward(case, DOWN[attitude], 0.0)
    assert middle == pytest.approx(0.5 * whole, rel=0.01)


@pytest.mark.parametrize(
    "down", [(0.0, 0.5, 0.8), (0.05, 0.0, 1.0), (0.2, 0.0, 1.0), (0.6, 0.0, 0.8), (0.5, 0.5, 0.7)]
)
def test_half_immersed_ellipsoid_is_righted_as_in_closed_form(down: tuple[float, ...]) -> None:
    # centroid of half an ellipsoid with half axes A: 3/8 of the way to where the water's surface,
    # moved down, would touch it, at A^2 g / |A g| (a stretched half ball, elementary)
    case = ball(length_mm=80.0, height_mm=20.0, width_mm=14.0)
    g = np.array(down) / np.linalg.norm(down)
    load = hydrostatic(case, tuple(g), 0.0)
    squares = np.array([40.0, 7.0, 10.0]) ** 2 * 1e-6
    centre = 0.375 * squares * g / math.sqrt(float(squares @ (g * g)))
    expected = np.cross(centre, load[:3])
    assert np.linalg.norm(load[3:] - expected) < 0.05 * np.linalg.norm(expected)


@pytest.mark.parametrize("down", [(0.6, 0.0, 0.8), (0.36, 0.48, 0.8)])
def test_floating_ball_of_cork_is_not_turned(down: tuple[float, ...]) -> None:
    # buoyancy of a ball acts through its centre, however deep; it is its own centre of gravity
    cork = {"mass_g": 20.0, "from_nose_mm": 0.0, "above_centreline_mm": 0.0, "inside": False,
            "density_g_cm3": 0.5}  # fmt: skip
    case = ready({"bait": {"ballast": [cork]}})
    load = hydrostatic(case, down, 0.0)
    assert np.linalg.norm(load[:3]) == pytest.approx(0.5 * 0.04 * 9.80665 * 0.9991, rel=1e-2)
    assert np.abs(load[3:]).max() < 1e-3 * np.linalg.norm(load[:3]) * 21.2e-3


def test_square_plate_is_righted_in_pitch_as_in_heel() -> None:
    plate = {"from_nose_mm": 0.0, "above_centreline_mm": 0.0, "length_mm": 20.0, "width_mm": 20.0,
             "angle_deg": 0.0, "outline": "square"}  # fmt: skip
    case = ready({"bait": {"bill": plate}})
    pitched = hydrostatic(case, (0.6, 0.0, 0.8), 0.0)
    heeled = hydrostatic(case, (0.0, 0.6, 0.8), 0.0)
    assert abs(heeled[3]) > 1e-6
    assert abs(pitched[4]) == pytest.approx(abs(heeled[3]), rel=1e-6)


def test_upright_and_heeled_ball_feel_no_turning_moment() -> None:
    case = ball()
    whole = upward(case, DOWN["level"], 1.0)
    for attitude in ("level", "heeled", "on its side", "upside down"):
        for depth in np.linspace(-RADIUS, RADIUS, 11):
            moment = hydrostatic(case, DOWN[attitude], float(depth))[3:]
            assert np.abs(moment).max() < 1e-3 * whole * RADIUS


@pytest.mark.parametrize("seed", range(6))
def test_weight_and_buoyancy_come_from_one_potential(seed: int) -> None:
    # else a rocking and heaving bait would gain from the water: the change of the force with the
    # attitude is the change of the moment with the depth
    rng = generator(24, seed)
    case = ready(changed(random_bait(rng), line=None))

    def loads(g: np.ndarray, depth: float) -> np.ndarray:
        return hydrostatic(case, tuple(g), depth)

    for _ in range(20):
        g, turn = rng.normal(size=3), rng.normal(size=3)
        g /= np.linalg.norm(g)
        depth = rng.uniform(-0.3, 0.3) * case.model.scalar[lo.RADIUS, 0]
        small = 1e-6
        turned = [g - side * small * np.cross(turn, g) for side in (1.0, -1.0)]
        turned = [t / np.linalg.norm(t) for t in turned]
        force = [loads(t, depth)[:3] @ t for t in turned]
        moment = [loads(g, depth + side * small)[3:] @ turn for side in (1.0, -1.0)]
        scale = case.bait.mass * 9.80665  # [N]
        assert force[0] - force[1] == pytest.approx(
            moment[0] - moment[1], rel=1e-3, abs=1e-3 * scale * small
        )


def test_immersed_share_of_an_ellipse_in_closed_form() -> None:
    # circular segment (elementary): area r^2 acos(d/r) - d sqrt(r^2 - d^2) is dry above the centre
    for depth in np.linspace(-1.0, 1.0, 21):
        share, moment = immersed_share(depth * 3.0, 3.0)
        dry = math.acos(depth) - depth * math.sqrt(1.0 - depth * depth)
        assert share == pytest.approx(1.0 - dry / math.pi, abs=1e-12)
        # first moment of the immersed segment about the centre, 2/3 (r^2 - d^2)^(3/2)
        first = 2.0 / 3.0 * (1.0 - depth * depth) ** 1.5 / math.pi
        assert moment == pytest.approx(first, abs=1e-12)
    assert immersed_share(5.0, 3.0) == (1.0, 0.0)
    assert immersed_share(-5.0, 3.0) == (0.0, 0.0)


# --------------------------------------------------------------------------------- switch and jumps


def surfaced(seed: int, **bait: Any) -> tuple[Set, np.ndarray]:
    rng = generator(23, seed)
    data = changed(random_bait(rng), line=None, bait=bait)
    case = ready(data)
    return case, random_state(rng, case)


@pytest.mark.parametrize("seed", range(12))
def test_no_jump_where_the_bait_counts_as_deep(seed: int) -> None:
    case, state = surfaced(seed)
    switch = float(case.model.scalar[lo.RADIUS, 0])
    above, below = state.copy(), state.copy()
    above[lo.Z], below[lo.Z] = switch * (1.0 - 1e-12), switch * (1.0 + 1e-12)
    a, b = rates(case, above)[lo.U :], rates(case, below)[lo.U :]
    # 1e-9 of the largest acceleration
    np.testing.assert_allclose(a, b, rtol=0.0, atol=1e-9 * np.abs(b[:-1]).max())
    deeper = below.copy()
    deeper[lo.Z] += 5.0
    np.testing.assert_array_equal(rates(case, deeper)[lo.U :], b)


def test_bulky_float_outside_reaches_no_further_than_the_switch() -> None:
    # a 20 g block of foam at 0.05 g/cm3 is a ball of 46 mm radius
    foam = {"name": "foam", "mass_g": 20.0, "from_nose_mm": 40.0, "above_centreline_mm": 0.0,
            "density_g_cm3": 0.05, "inside": False}  # fmt: skip
    case, state = surfaced(0, ballast=[foam])
    switch = float(case.model.scalar[lo.RADIUS, 0])
    jump = []
    for side in (-1e-9, 1e-9):
        state[lo.Z] = switch + side
        jump.append(rates(case, state)[lo.U : lo.R + 1])
    assert np.abs(jump[1] - jump[0]).max() < 1e-6 * np.abs(jump[1]).max()


@pytest.mark.parametrize("seed", range(12))
def test_loads_are_continuous_through_the_surface(seed: int) -> None:
    # without hooks, which are points and go under at once
    case, state = surfaced(seed, hook=[])
    reach = float(case.model.scalar[lo.RADIUS, 0])
    step = 1e-5
    depths = np.arange(reach, -reach, -step)
    found = []
    for depth in depths:
        state[lo.Z] = depth
        found.append(rates(case, state)[lo.U : lo.R + 1])
    found_array = np.array(found)
    jump = np.abs(np.diff(found_array, axis=0)).max(axis=0)
    span = np.ptp(found_array, axis=0)
    # one load element goes under over about 1 mm when a plate lies flat: 1 % of the span a step
    assert (jump < 0.02 * span + 1e-9).all()


def test_loads_on_a_square_plate_are_continuous_on_its_corner() -> None:
    plate = {"from_nose_mm": 0.0, "above_centreline_mm": 0.0, "length_mm": 20.0, "width_mm": 20.0,
             "angle_deg": 0.0, "outline": "square"}  # fmt: skip
    case = ready({"bait": {"bill": plate}})
    state = case.start.copy()
    corner = Rotation.align_vectors([[0.0, 0.0, 1.0]], [[1.0, 1.0, 0.0]])[0]  # points down
    state[lo.QW : lo.QZ + 1] = corner.as_quat(scalar_first=True)
    state[lo.U : lo.R + 1] = 0.1, 0.1, 1.0, 3.0, 2.0, 1.0
    found = []
    for depth in np.arange(0.02, -0.02, -1e-5):
        state[lo.Z] = depth
        found.append(rates(case, state)[lo.U : lo.R + 1])
    jump = np.abs(np.diff(found, axis=0)).max(axis=0)
    assert (jump <= 0.003 * np.ptp(found, axis=0) + 1e-9).all()  # 0.025 of it in roll, 14.1 mm deep


def test_loads_on_a_t_shaped_plate_are_continuous_through_the_surface() -> None:
    tee = [[0, -1], [18, -1], [18, -10], [20, -10], [20, 10], [18, 10], [18, 1], [0, 1]]
    bill = {"from_nose_mm": 0.0, "above_centreline_mm": 0.0, "length_mm": 20.0, "width_mm": 20.0,
            "angle_deg": 0.0, "outline": "polygon", "outline_mm": tee}  # fmt: skip
    case = ready({"bait": {"bill": bill}, "start": {"roll_deg": 90.0}})
    state = case.start.copy()
    state[lo.U : lo.R + 1] = 0.1, 0.1, 1.0, 3.0, 2.0, 0.0
    heave = []
    for depth in np.arange(0.02, -0.02, -1e-5):
        state[lo.Z] = depth
        heave.append(rates(case, state)[lo.W])
    assert np.abs(np.diff(heave)).max() < 0.02 * np.ptp(heave)  # 0.17 of it at 3.8 mm


def test_hook_is_all_or_nothing() -> None:
    case, _ = surfaced(0)
    hooks = case.model.hooks
    velocity = (1.0, 0.2, 0.1, 2.0, 3.0, 4.0)
    dry, wet = (
        hook_load(*velocity, 0.0, 0.0, 1.0, side - hooks[0, lo.HK_Z, 0], hooks, 0, 0)
        for side in (-1e-9, 1e-9)
    )
    assert dry == pytest.approx((0.0,) * 6, abs=0.0)
    assert wet[0] < 0.0


# -------------------------------------------------------------------------------------- in the air


@pytest.mark.parametrize("seed", range(6))
def test_out_of_the_water_only_weight_is_left(seed: int) -> None:
    case, state = surfaced(seed)
    u = state[lo.U : lo.W + 1]
    w = state[lo.P : lo.R + 1]
    g = np.array([0.36, 0.48, 0.8])
    depth = -1.0
    model, wet = case.model, case.scratch.wet
    load, deep = weight_and_buoyancy(*g, depth, model.scalar, model.volumes, 0, wet)
    assert not deep
    np.testing.assert_allclose(load[:3], case.bait.mass * 9.80665 * g, rtol=1e-12)
    np.testing.assert_allclose(load[3:], 0.0, atol=1e-15)
    body = body_load(*u, *w, deep, wet, model.scalar, model.strips, model.slices, 0)
    np.testing.assert_array_equal(body, 0.0)
    for i in range(2):
        hook = hook_load(*u, *w, *g, depth, model.hooks, i, 0)
        np.testing.assert_array_equal(hook, 0.0)
        plate = plate_load(*u, *w, *g, depth, state[lo.S], model.plates, model.elements, i, 0)
        np.testing.assert_array_equal(plate[:3], 0.0)


@pytest.mark.parametrize("seed", range(3))
def test_out_of_the_water_a_plate_has_no_couple(seed: int) -> None:
    case, state = surfaced(seed)
    u, w = state[lo.U : lo.W + 1], state[lo.P : lo.R + 1]
    for i in range(2):
        load = plate_load(
            *u, *w, 0.36, 0.48, 0.8, -1.0, state[lo.S], case.model.plates, case.model.elements, i, 0
        )
        np.testing.assert_allclose(load, 0.0, atol=1e-15)


def test_line_in_the_air_has_no_drag() -> None:
    data = random_bait(generator(23, 0))
    data["line"]["rod_tip_height_m"] = 0.0
    dragged = ready(data)
    no_drag = {"normal_drag_coefficient": 0.0, "tangential_drag_coefficient": 0.0}
    free = ready(changed(data, line=no_drag))
    state = dragged.start.copy()
    state[lo.Z] = -0.3
    np.testing.assert_array_equal(rates(dragged, state), rates(free, state))


def test_line_with_the_rod_tip_above_leaves_the_water_with_the_bait() -> None:
    data = random_bait(generator(23, 0))
    data["line"]["rod_tip_height_m"] = 0.5
    dragged = ready(data)
    no_drag = {"normal_drag_coefficient": 0.0, "tangential_drag_coefficient": 0.0}
    free = ready(changed(data, line=no_drag))
    state = dragged.start.copy()
    assert (rates(dragged, state) != rates(free, state)).any()
    state[lo.Z] = -0.3
    np.testing.assert_array_equal(rates(dragged, state), rates(free, state))


def test_thrown_bait_without_plates_flies_a_parabola() -> None:
    data = changed(random_bait(generator(23, 0)), line=None, loads={"added_mass": False})
    for key in ("bill", "plate"):
        data["bait"].pop(key)
    case = ready(data)
    state = case.start.copy()
    state[lo.Z] = -3.0
    state[lo.P : lo.R + 1] = 0.0
    rate = rates(case, state)
    assert np.abs(rate[lo.P : lo.R + 1]).max() < 1e-9
    assert np.linalg.norm(rate[lo.U : lo.W + 1]) == pytest.approx(9.80665, rel=1e-12)
    nu = state[lo.U : lo.R + 1]
    fed = float(nu @ mass_matrix(case) @ rate[lo.U : lo.R + 1])
    # power is weight times the speed downward
    assert fed == pytest.approx(case.bait.mass * 9.80665 * rate[lo.Z], rel=1e-9, abs=1e-12)
