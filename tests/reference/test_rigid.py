"""Rigid-body motion and Kirchhoff's equations against closed forms, and the solver's order."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.special import ellipj, ellipk

import sim

from .cases import config, crossings, ellipsoid, flat_plate


def free_run(cfg: sim.Config) -> sim.RunResult:
    """A run without a line that must come to its end."""
    run = sim.simulate(cfg)
    assert run.status == "free", run.message
    assert np.isfinite(run.velocity).all()
    return run


def solver(duration_s: float, step_ms: float, every: int = 1, **more: object) -> dict[str, object]:
    """Solver table."""
    return {
        "duration_s": duration_s,
        "max_duration_s": max(duration_s, 0.1),
        "step_ms": step_ms,
        "output_step_ms": step_ms * every,
        **more,
    }


# --- free rotation -----------------------------------------------------------------------------

# Semi-axes 30 x 20 x 10 mm along x, y, z: the smallest moment of inertia is about x.
TOP = ellipsoid(60.0, 40.0, 20.0)


def jacobi_rates(
    inertia: np.ndarray, a: float, c: float, t: np.ndarray
) -> tuple[np.ndarray, float]:
    """Rates of a free asymmetric top that starts with (a, 0, c), and the period of the rates.

    Landau & Lifshitz, Mechanics, section 37, for I1 < I2 < I3; from memory, high confidence.
    """
    i1, i2, i3 = inertia
    energy2 = i1 * a * a + i3 * c * c  # 2 E
    spin2 = (i1 * a) ** 2 + (i3 * c) ** 2  # L^2
    swap = spin2 < energy2 * i2
    if swap:
        i1, i3 = i3, i1
    rate = math.sqrt((i3 - i2) * (spin2 - energy2 * i1) / (i1 * i2 * i3))
    m = (i2 - i1) * (energy2 * i3 - spin2) / ((i3 - i2) * (spin2 - energy2 * i1))
    sn, cn, dn, _ = ellipj(rate * t, m)
    first = math.sqrt((energy2 * i3 - spin2) / (i1 * (i3 - i1))) * cn
    second = math.sqrt((energy2 * i3 - spin2) / (i2 * (i3 - i2))) * sn
    third = math.sqrt((spin2 - energy2 * i1) / (i3 * (i3 - i1))) * dn
    if swap:
        first, second, third = third, second, first
    return np.column_stack([first, second, third]), 4.0 * float(ellipk(m)) / rate


@pytest.mark.parametrize(
    "start", [(4.0, 9.0), (12.0, 3.0)], ids=["about the greatest", "about the smallest"]
)
def test_asymmetric_top_jacobi(start):
    # Closed form of the free top, computed from the formula; over more than one period.
    rates = [math.degrees(start[0]), 0.0, math.degrees(start[1])]
    cfg = config({"body": TOP}, start={"rates_deg_s": rates}, solver=solver(2.0, 0.5))
    inertia = np.diag(sim.assemble(cfg).inertia)
    run = free_run(cfg)
    expected, period = jacobi_rates(inertia, *start, run.time)
    assert 0.3 < period < run.time[-1]
    assert run.velocity[:, 3:] == pytest.approx(expected, abs=1e-8)
    # the angular momentum stays put in the earth frame: the attitude is right as well
    rotation = Rotation.from_quat(run.attitude, scalar_first=True)
    spin = rotation.apply(run.velocity[:, 3:] * inertia)
    assert np.abs(spin - spin[0]).max() < 1e-8 * np.abs(spin).max()
    assert np.abs(run.velocity[:, :3]).max() == 0.0


# Full periods of I = (1, 2, 3) starting with rates (eps, 1, 0) rad/s: the tennis racket. Landau &
# Lifshitz, section 37; from memory, high confidence; computed from the formula.
RACKET = [
    (1e-1, 25.51097788, 1e-6),
    (1e-2, 41.50921953, 1e-6),
    (1e-3, 57.46284887, 1e-6),
    (1e-6, 105.32088600, 1e-4),
]


@pytest.mark.parametrize(("eps", "period", "tolerance"), RACKET)
def test_tennis_racket(eps, period, tolerance):
    # A thin plate sqrt(2) times as long as wide has I = (1, 2, 3) but for the square of its
    # thickness (1e-9 here). Turning a hundred times as fast takes a hundredth of the time.
    fast = 100.0
    plate = flat_plate(20.0 * math.sqrt(2.0), 20.0, thickness_mm=1e-3)
    cfg = config(
        {"plate": [plate]},
        start={"rates_deg_s": [math.degrees(eps * fast), math.degrees(fast), 0.0]},
        solver=solver(math.ceil(140.0 * period / fast) / 100.0, 0.05, 4),
    )
    inertia = np.diag(sim.assemble(cfg).inertia)
    assert inertia / inertia[0] == pytest.approx([1.0, 2.0, 3.0], rel=1e-8)
    run = free_run(cfg)
    # down through zero a quarter of a period after the start, down again a whole one later
    times = crossings(run.time, -run.velocity[:, 4])
    assert fast * times[0] == pytest.approx(period / 4.0, rel=tolerance)
    assert fast * (times[1] - times[0]) == pytest.approx(period, rel=tolerance)


def test_growth_about_the_middle_axis():
    # Linear growth w0 sqrt[(I3 - I2)(I2 - I1) / (I1 I3)] = 0.577350269 w0 for I = (1, 2, 3),
    # exact: while small, the rate about x is eps cosh of it.
    fast, eps = 100.0, 1e-5
    plate = flat_plate(20.0 * math.sqrt(2.0), 20.0, thickness_mm=1e-3)
    cfg = config(
        {"plate": [plate]},
        start={"rates_deg_s": [math.degrees(eps * fast), math.degrees(fast), 0.0]},
        solver=solver(0.1, 0.1),
    )
    run = free_run(cfg)
    grown = math.acosh(run.velocity[-1, 3] / run.velocity[0, 3])
    assert grown / (fast * run.time[-1]) == pytest.approx(0.577350269, rel=1e-6)


@pytest.mark.parametrize("shape", [(60.0, 20.0, 20.0), (20.0, 50.0, 50.0)], ids=["long", "flat"])
def test_symmetric_top(shape):
    # The rates turn about the axis of symmetry at (I3 - I1) / I1 times the spin; Landau & Lifshitz,
    # section 33; from memory, high confidence; exact.
    spin = 30.0
    cfg = config(
        {"body": ellipsoid(*shape)},
        start={"rates_deg_s": [math.degrees(spin), math.degrees(4.0), 0.0]},
        solver=solver(1.0, 0.25),
    )
    inertia = np.diag(sim.assemble(cfg).inertia)
    run = free_run(cfg)
    turn = (inertia[0] - inertia[1]) / inertia[1] * spin
    # q' = (I_z - I_x) / I_y p r: with I_x the greatest the rates turn with the spin
    angle = turn * run.time
    turned = 4.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    expected = np.column_stack([np.full_like(angle, spin), turned])
    assert run.velocity[:, 3:] == pytest.approx(expected, abs=1e-7)


# --- a body in ideal fluid ---------------------------------------------------------------------

# Kirchhoff's equations (Lamb 1932, Art. 124) for the ellipsoid 3 : 2 : 1 that weighs what it
# displaces. The unit of length is 10 mm, of time 10 ms, so that a speed of 1 is 1 m/s.
UNIT_M, UNIT_S = 0.01, 0.01
KIRCHHOFF_START = {
    "velocity_m_s": [1.0, 0.2, -0.1],
    "rates_deg_s": [math.degrees(w / UNIT_S) for w in (0.3, 0.2, 0.5)],
}
IDEAL_WATER = {"density_kg_m3": 1000.0, "viscosity_m2_s": 1e-6}


def ideal_ellipsoid(table: dict[str, object]) -> sim.Config:
    """The neutral ellipsoid with its added mass and no other load."""
    return config(
        {"body": TOP}, ("added_mass",), start=KIRCHHOFF_START, water=IDEAL_WATER, solver=table
    )


def test_ellipsoid_in_ideal_fluid_totals():
    # Solid plus added, rho = 1: Lamb's integrals, computed from the formula.
    bait = sim.assemble(ideal_ellipsoid(solver(1.0, 0.1)))
    total = np.diag(bait.rigid_mass + bait.added_mass)
    mass = 1000.0 * UNIT_M**3
    assert total[:3] / mass == pytest.approx([29.7887425, 34.2947121, 59.3516589], rel=2e-6)
    assert total[3:] / (mass * UNIT_M**2) == pytest.approx(
        [34.7652989, 85.8653130, 69.2593187], rel=2e-6
    )


def test_kirchhoff_invariants():
    # Exact: 2T, |P|^2, P.H; and in the earth frame the impulse and the angular impulse about a
    # fixed point. Lamb (1932), Arts. 124, 125; from memory, high confidence.
    run = free_run(ideal_ellipsoid(solver(2.0, 0.1, 10)))
    bait = sim.assemble(run.config)
    momentum = run.velocity @ (bait.rigid_mass + bait.added_mass)
    impulse, angular = momentum[:, :3], momentum[:, 3:]
    rotation = Rotation.from_quat(run.attitude, scalar_first=True)
    in_earth = rotation.apply(impulse)
    about_origin = rotation.apply(angular) + np.cross(run.position, in_earth)
    size = float(np.linalg.norm(impulse[0]))
    turning = float(np.linalg.norm(angular[0]))
    assert size > 0.0
    assert turning > 0.0
    energy = (run.velocity * momentum).sum(axis=1)
    assert energy == pytest.approx(np.full_like(energy, energy[0]), rel=1e-8)
    squared = (impulse**2).sum(axis=1)
    assert squared == pytest.approx(np.full_like(squared, squared[0]), rel=1e-8)
    product = (impulse * angular).sum(axis=1)
    assert np.abs(product - product[0]).max() < 1e-8 * size * turning
    assert np.abs(in_earth - in_earth[0]).max() < 1e-8 * size
    # the path is some metres long: the arm multiplies the impulse's own error
    reach = turning + size * float(np.linalg.norm(run.position, axis=1).max())
    assert np.abs(about_origin - about_origin[0]).max() < 1e-8 * reach
    # and it is no dull case: the body tumbles
    assert np.ptp(run.velocity[:, 0]) > 0.5


def test_kirchhoff_in_a_current():
    # Galileo, exact: water that moves as a whole carries the motion with it.
    still = free_run(ideal_ellipsoid(solver(0.5, 0.1, 10)))
    speed, toward = 0.7, math.radians(40.0)
    current = speed * np.array([math.cos(toward), math.sin(toward), 0.0])
    moved = sim.with_overrides(
        ideal_ellipsoid(solver(0.5, 0.1, 10)),
        {
            "water.current_m_s": speed,
            "water.current_toward_deg": 40.0,
            "start.velocity_m_s": list(np.array(KIRCHHOFF_START["velocity_m_s"]) + current),
        },
    )
    run = free_run(moved)
    assert run.attitude == pytest.approx(still.attitude, abs=1e-6)
    assert run.velocity[:, 3:] == pytest.approx(still.velocity[:, 3:], abs=1e-4)
    carried = still.position + run.time[:, None] * current
    assert run.position == pytest.approx(carried, abs=1e-7)


def last_state(run: sim.RunResult) -> np.ndarray:
    """State at the end, each part over a size of its own."""
    linear, rates = run.velocity[-1, :3], run.velocity[-1, 3:]
    return np.concatenate([run.position[-1] / 0.1, run.attitude[-1], linear, rates / 30.0])


def test_kirchhoff_order_of_the_solver():
    # Classical Runge-Kutta is of order 4 (Hairer, Norsett & Wanner 1993, Solving Ordinary
    # Differential Equations I; from memory, high confidence), also with the quaternion scaled
    # every step.
    end = 0.4
    exact = last_state(
        free_run(ideal_ellipsoid(solver(end, 0.1, 500, method="dop853", rtol=1e-13, atol=1e-15)))
    )
    error = [
        float(np.abs(last_state(free_run(ideal_ellipsoid(solver(end, step, every)))) - exact).max())
        for step, every in ((2.0, 25), (1.0, 50), (0.5, 100))
    ]
    order = np.log2(np.divide(error[:-1], error[1:]))
    assert order == pytest.approx(np.full(2, 4.0), abs=0.2)
    assert error[-1] < 1e-5


def test_translation_without_turning_is_steady_only_along_the_axes():
    # Lamb (1932), Art. 124: three directions of permanent translation; of these only the one
    # broadside on, with the greatest added mass, is stable. Along the long axis a small error
    # grows at (Munk) U sqrt[(M_z - M_x) M_x / (I_y M_z)] at first; computed from the formula.
    rate = 1e-4
    speed = 1.0
    cfg = config(
        {"body": TOP},
        ("added_mass",),
        start={"velocity_m_s": [speed, 0.0, 0.0], "rates_deg_s": [0.0, math.degrees(rate), 0.0]},
        water=IDEAL_WATER,
        solver=solver(0.2, 0.1),
    )
    bait = sim.assemble(cfg)
    total = np.diag(bait.rigid_mass + bait.added_mass)
    growth = speed * math.sqrt((total[2] - total[0]) * total[0] / (total[4] * total[2]))
    run = free_run(cfg)
    pitching = run.velocity[:, 4]
    early = run.time <= 5.0 / growth
    assert early.sum() > 100
    assert pitching[early] == pytest.approx(rate * np.cosh(growth * run.time[early]), rel=1e-5)
    # broadside on it swings: the same with M_z and M_x changed over
    steady = config(
        {"body": TOP},
        ("added_mass",),
        start={"velocity_m_s": [0.0, 0.0, speed], "rates_deg_s": [0.0, math.degrees(rate), 0.0]},
        water=IDEAL_WATER,
        solver=solver(0.5, 0.1),
    )
    swing = speed * math.sqrt((total[2] - total[0]) * total[2] / (total[4] * total[0]))
    swinging = free_run(steady)
    expected = rate * np.cos(swing * swinging.time)
    assert swinging.velocity[:, 4] == pytest.approx(expected, abs=1e-4 * rate)


# --- a towed bait with everything on -----------------------------------------------------------

TOWED = {
    "name": "towed",
    "bait": {
        "body": {
            "length_mm": 70.0,
            "density_g_cm3": 0.42,
            "station": [
                {"from_nose_mm": x, "upper_mm": h, "lower_mm": h, "half_width_mm": w}
                for x, h, w in (
                    (0.0, 2.0, 1.5),
                    (5.0, 6.0, 4.5),
                    (14.0, 8.8, 6.4),
                    (26.0, 10.0, 7.0),
                    (42.0, 8.8, 6.0),
                    (58.0, 5.6, 3.6),
                    (70.0, 2.2, 1.4),
                )
            ],
        },
        "bill": flat_plate(
            20.0,
            18.0,
            from_nose_mm=7.0,
            above_centreline_mm=-6.0,
            angle_deg=60.0,
            outline="rounded",
            yaw_error_deg=1.0,
        ),
        "ballast": [{"mass_g": 2.6, "from_nose_mm": 27.0, "above_centreline_mm": -6.5}],
        "hook": [
            {
                "mass_g": 0.8,
                "from_nose_mm": x,
                "above_centreline_mm": z,
                "hang_mm": 9.0,
                "drag_area_mm2": 40.0,
            }
            for x, z in ((28.0, -10.5), (70.0, -1.0))
        ],
        "tie": {"from_nose_mm": 3.0, "above_centreline_mm": -4.0},
    },
    "line": {"length_m": 3.0},
    "retrieve": {"speed_m_s": 1.0},
    "start": {"depth_m": 0.5, "yaw_deg": 6.0, "roll_deg": 5.0, "pitch_deg": -15.0},
}


def test_towed_bait_order_of_the_solver():
    # All loads on, line included, against DOP853 at tight tolerance over the same equations (both
    # methods: Hairer, Norsett & Wanner 1993; from memory, high confidence). Order 4 wants a smooth
    # right-hand side: the line stays taut and the bait deep over these 0.8 s of wobble, and the
    # bill is never met edge on.
    def towed(**table: object) -> sim.RunResult:
        return sim.simulate(sim.config_from_dict({**TOWED, "solver": table}))

    exact = towed(**solver(0.8, 2.0, 2, method="dop853", rtol=1e-11, atol=1e-13))
    assert exact.line_tension[1:].min() > 0.0
    assert np.abs(exact.velocity[:, 3:]).max() > 5.0
    errors = []
    for step_ms, every in ((2.0, 2), (1.0, 4), (0.5, 8)):
        run = towed(**solver(0.8, step_ms, every))
        assert run.time == pytest.approx(exact.time)
        pairs = (
            (run.position, exact.position),
            (run.attitude, exact.attitude),
            (run.velocity[:, :3], exact.velocity[:, :3]),
            (run.velocity[:, 3:], exact.velocity[:, 3:]),
            (run.wake[:, 0], exact.wake[:, 0]),
        )
        errors.append([float(np.abs(a - b).max()) for a, b in pairs])
    order = np.log2(np.divide(errors[:-1], errors[1:]))
    assert order == pytest.approx(np.full(order.shape, 4.0), abs=0.2)
    # the usual step of 2 ms: attitude to 1e-5, that is less than a thousandth of a degree
    assert errors[0][1] < 1e-5
    assert errors[0][0] < 1e-6
