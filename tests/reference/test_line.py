"""The chord line and the retrieve against closed forms.

The bait is a sphere tied at its centre, so that the line cannot turn it, unless said otherwise.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

import sim

from .cases import GRAVITY, config, crossings, ellipsoid

MM = 1e-3
RADIUS = 20.0  # mm
VOLUME = 4.0 / 3.0 * math.pi * (RADIUS * MM) ** 3
RHO = 1000.0
WATER = {"density_kg_m3": RHO, "viscosity_m2_s": 1.0e-6}
NO_DRAG = {"normal_drag_coefficient": 0.0, "tangential_drag_coefficient": 0.0}


def on_a_line(
    loads: tuple[str, ...],
    density_g_cm3: float,
    line: dict[str, float],
    tie_from_nose_mm: float = RADIUS,
    **tables: object,
) -> sim.Config:
    """A sphere on a line."""
    return config(
        {
            "body": ellipsoid(2 * RADIUS, 2 * RADIUS, 2 * RADIUS, density_g_cm3),
            "tie": {"from_nose_mm": tie_from_nose_mm, "above_centreline_mm": 0.0},
        },
        ("line", *loads),
        line=line,
        water=WATER,
        **tables,
    )


def hanging(angle_rad: float, length: float) -> dict[str, dict[str, object]]:
    """Tables of a bait at rest below the rod tip, off the vertical by an angle."""
    return {
        "line": {"length_m": length, "rod_tip_height_m": length * math.cos(angle_rad) - 1.0},
        "start": {"depth_m": 1.0, "yaw_deg": 0.0, "velocity_m_s": [0.0, 0.0, 0.0]},
        "retrieve": {"speed_m_s": 0.0},
    }


def runs(duration_s: float, step_ms: float, every: int = 1) -> dict[str, float]:
    """Solver table of a run that is not prolonged."""
    return {
        "duration_s": duration_s,
        "max_duration_s": duration_s,
        "step_ms": step_ms,
        "output_step_ms": step_ms * every,
    }


def stiffness(line: sim.config.models.Line) -> float:
    """E A / L [N/m]."""
    return line.modulus_gpa * 1e9 * math.pi * (line.diameter_mm * MM) ** 2 / 4.0 / line.length_m


# --- stretching --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("damping", "wet"),
    [(0.0, False), (0.1, False), (0.1, True)],
    ids=["undamped, no water", "damped, no water", "damped, with added mass"],
)
def test_stretching_oscillation(damping, wet):
    # A weight let go on an unstretched spring: m x'' + c x' + k x = m g; k = EA/L, c the damping
    # ratio times 2 sqrt(k m), and in water half of the displaced mass more to move (Lamb 1932,
    # Art. 92). Closed form, exact; period 2 pi sqrt(m / k) undamped.
    tables = hanging(1e-4, 1.0)
    tables["line"] |= {**NO_DRAG, "damping_ratio": damping}
    loads = ("weight", "added_mass") if wet else ("weight",)
    cfg = on_a_line(loads, 2.0, solver=runs(1.0, 0.2), **tables)
    run = sim.simulate(cfg)
    mass, k = 2000.0 * VOLUME, stiffness(cfg.line)
    moved = mass + (0.5 * RHO * VOLUME if wet else 0.0)
    c = 2.0 * damping * math.sqrt(k * mass)
    decay = c / (2.0 * moved)
    omega = math.sqrt(k / moved - decay**2)
    cosine, sine = np.cos(omega * run.time), np.sin(omega * run.time)
    falling = np.exp(-decay * run.time)
    weight = mass * GRAVITY
    x = weight / k * (1.0 - falling * (cosine + decay / omega * sine))
    speed = weight / k * falling * (decay**2 / omega + omega) * sine
    assert run.time[-1] * omega > 4.0 * math.pi
    assert run.line_tension == pytest.approx(k * x + c * speed, abs=2e-4 * weight)
    if not damping:
        times = crossings(run.time, run.line_tension - weight)
        assert np.diff(times) == pytest.approx(2.0 * math.pi * math.sqrt(mass / k), rel=1e-4)


def test_a_line_pulls_but_never_pushes():
    # A weight that flies toward the rod tip keeps its speed: Newton, exact.
    tables = hanging(0.5, 1.0)
    tables["start"]["velocity_m_s"] = [0.3, 0.0, 0.0]
    tables["line"] |= NO_DRAG
    run = sim.simulate(on_a_line((), 2.0, solver=runs(0.5, 1.0), **tables))
    assert run.line_tension.max() == 0.0
    assert run.velocity[-1, 0] == pytest.approx(0.3, rel=1e-12)


# --- hanging and swinging ----------------------------------------------------------------------

ALL_BODY = ("weight", "buoyancy", "added_mass", "body_drag", "axial_drag", "tail")


def test_hanging_weight():
    # Archimedes: tension = (m - m_f) g; closed form. Tied at the nose and let go askew, it comes to
    # rest with its nose straight up.
    tables = hanging(0.05, 0.5)
    tables["start"] |= {"pitch_deg": 60.0}
    cfg = on_a_line(ALL_BODY, 3.0, tie_from_nose_mm=0.0, solver=runs(24.0, 1.0, 10), **tables)
    run = sim.simulate(cfg)
    expected = (3000.0 - RHO) * VOLUME * GRAVITY
    assert run.line_tension[-1] == pytest.approx(expected, rel=1e-3)
    assert run.measures["pitch_deg"] == pytest.approx(90.0, abs=3.0)
    below = run.position[-1] - run.rod_tip[-1]
    stretch = expected / stiffness(cfg.line)
    assert below[2] == pytest.approx(0.5 + stretch + RADIUS * MM, abs=2e-3)


@pytest.mark.parametrize("density", [1.5, 3.0, 8.0])
def test_pendulum_in_water(density):
    # Small swing about a fixed point, no drag: T = 2 pi sqrt{(m + m_a) L / [(m - m_f) g]}, with
    # m_a half of the displaced mass m_f (Lamb 1932, Art. 92); closed form. L is the stretched
    # length. A swing of 2 degrees lengthens the period by 1e-4.
    tables = hanging(math.radians(2.0), 0.5)
    tables["line"] |= {**NO_DRAG, "modulus_gpa": 60.0}
    loads = ("weight", "buoyancy", "added_mass")
    cfg = on_a_line(loads, density, solver=runs(10.0, 0.5, 4), **tables)
    run = sim.simulate(cfg)
    mass, fluid = density * 1000.0 * VOLUME, RHO * VOLUME
    pull = (mass - fluid) * GRAVITY
    length = 0.5 + pull / stiffness(cfg.line)
    expected = 2.0 * math.pi * math.sqrt((mass + 0.5 * fluid) * length / pull)
    times = crossings(run.time, run.position[:, 0] - run.rod_tip[:, 0])
    assert times.size >= 3
    assert (times[-1] - times[0]) / (times.size - 1) == pytest.approx(expected, rel=1e-3)


# --- towing ------------------------------------------------------------------------------------


def level_tow(speed: float, **retrieve: object) -> dict[str, dict[str, object]]:
    """Tables of a bait behind a rod tip at its own depth."""
    return {
        "start": {"depth_m": 2.0, "yaw_deg": 0.0},
        "retrieve": {"speed_m_s": speed, **retrieve},
    }


@pytest.mark.parametrize("speed", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("friction", [0.0, 0.03])
def test_towed_sphere(speed, friction):
    # Deep, neutral, level: the line carries the sphere's drag 0.5 rho A C_d U^2, with the axial
    # coefficient of Hoerner 1965 ch. 6 at l/d = 1, 0.44 + 8 C_f and C_f = 1.328 / sqrt(Re) (from
    # memory, medium confidence), and half of the friction on the line, 0.5 rho pi d L C_t U^2.
    cfg = on_a_line(
        ALL_BODY,
        1.0,
        {
            "length_m": 3.0,
            "rod_tip_height_m": -2.0,
            "tangential_drag_coefficient": friction,
        },
        tie_from_nose_mm=0.0,
        solver=runs(4.0, 1.0, 10),
        **level_tow(speed),
    )
    run = sim.simulate(cfg)
    reynolds = speed * 2 * RADIUS * MM / 1e-6
    coefficient = 0.44 + 8.0 * 1.328 / math.sqrt(reynolds)
    head = 0.5 * RHO * speed**2
    drag = head * math.pi * (RADIUS * MM) ** 2 * coefficient
    on_line = head * math.pi * 0.28 * MM * 3.0 * friction
    assert run.line_tension[-1] == pytest.approx(drag + 0.5 * on_line, rel=2e-3)
    # the measured sphere, Re 1e4 to 1e5: 0.47 (White table 7.3; from memory, high confidence)
    assert drag == pytest.approx(head * math.pi * (RADIUS * MM) ** 2 * 0.47, rel=0.15)
    assert run.measures["speed_m_s"] == pytest.approx(speed, rel=1e-3)


def test_leaning_line():
    # A straight line hinged at the rod tip, a weight W in water at its end, both moved sideways at
    # U: W sin a = 0.25 rho C_n d L U^2 cos^2 a for the angle a from the vertical (moments about
    # the rod tip; normal load by the independence principle, Hoerner 1965 ch. 3); closed form. It
    # shows that half of the line's drag belongs at the bait.
    length, speed, diameter = 2.0, 0.8, 0.5
    tables = hanging(0.2, length)
    tables["line"] |= {
        "diameter_mm": diameter,
        "tangential_drag_coefficient": 0.0,
        "normal_drag_coefficient": 1.2,
        "modulus_gpa": 60.0,
    }
    tables["retrieve"] = {"speed_m_s": speed}
    tables["start"] |= {"velocity_m_s": [speed, 0.0, 0.0]}
    cfg = on_a_line(("weight", "buoyancy", "added_mass"), 2.0, solver=runs(40.0, 2.0, 10), **tables)
    run = sim.simulate(cfg)
    weight = (2000.0 - RHO) * VOLUME * GRAVITY
    load = 0.25 * RHO * 1.2 * diameter * MM * length * speed**2
    angle = brentq(lambda a: weight * math.sin(a) - load * math.cos(a) ** 2, 0.0, 1.5)
    behind = run.rod_tip - run.position
    found = np.arctan2(behind[:, 0], run.position[:, 2] - run.rod_tip[:, 2])
    late = run.time > 30.0
    assert found[late].mean() == pytest.approx(angle, rel=2e-3)


def test_reel_shortens_the_line():
    # Kinematics: reeled at V, the bait comes in at V once the stretch stays; closed form.
    speed = 0.8
    cfg = on_a_line(
        ALL_BODY,
        1.0,
        {"length_m": 4.0, "rod_tip_height_m": -2.0, **NO_DRAG},
        tie_from_nose_mm=0.0,
        solver=runs(3.0, 1.0, 10),
        **level_tow(speed, mode="reel"),
    )
    run = sim.simulate(cfg)
    assert np.abs(run.rod_tip - run.rod_tip[0]).max() == 0.0
    tie = run.position + np.array([RADIUS * MM, 0.0, 0.0])
    span = np.linalg.norm(run.rod_tip - tie, axis=1)
    late = run.time > 1.5
    slope, _ = np.polyfit(run.time[late], span[late], 1)
    # the line stiffens as it shortens, so the stretch goes down: a thousandth of V here
    assert slope == pytest.approx(-speed, rel=3e-3)
    modulus = cfg.line.modulus_gpa * 1e9 * math.pi * (0.28 * MM) ** 2 / 4.0
    out = 4.0 - speed * run.time
    stretch = out * run.line_tension / modulus
    assert span[late] == pytest.approx((out + stretch)[late], abs=1e-4)


def test_ramp_of_the_retrieve():
    # The rod tip of a tow that takes t_r to come to speed U has gone U (t - t_r / 2); closed form.
    cfg = on_a_line(
        ALL_BODY,
        1.0,
        {"length_m": 3.0, "rod_tip_height_m": -2.0},
        solver=runs(3.0, 1.0, 10),
        **level_tow(1.2, ramp_s=1.5),
    )
    run = sim.simulate(cfg)
    gone = run.rod_tip[:, 0] - run.rod_tip[0, 0]
    t = run.time
    expected = np.where(t < 1.5, 0.4 * t**2, 1.2 * (t - 0.75))
    assert gone == pytest.approx(expected, abs=1e-12)
    assert np.abs(run.velocity[0]).max() == 0.0
    assert run.velocity[-1, 0] == pytest.approx(1.2, rel=0.02)


def test_heading_of_the_retrieve():
    # The water is the same in every direction; by symmetry, exact.
    found = []
    for heading in (0.0, 120.0):
        cfg = on_a_line(
            ALL_BODY,
            1.0,
            {"length_m": 3.0, "rod_tip_height_m": -2.0},
            tie_from_nose_mm=0.0,
            solver=runs(1.0, 1.0, 10),
            **level_tow(1.0, heading_deg=heading),
        )
        found.append(sim.simulate(cfg))
    assert found[1].line_tension == pytest.approx(found[0].line_tension, rel=1e-9, abs=1e-9)
    turn = math.radians(120.0)
    assert found[1].position[-1, :2] == pytest.approx(
        found[0].position[-1, 0] * np.array([math.cos(turn), math.sin(turn)]), abs=1e-9
    )
