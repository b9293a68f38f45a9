"""The retrieve against closed forms.

The line itself is compared in tests/verification/line_water.py. The bait is a sphere tied at its
centre, so that the line cannot turn it, unless said otherwise.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import sim

from .cases import config, ellipsoid

MM = 1e-3
RADIUS = 20.0  # mm
WATER = {"density_kg_m3": 1000.0, "viscosity_m2_s": 1.0e-6}
ALL_BODY = ("weight", "buoyancy", "added_mass", "body_drag", "axial_drag", "tail")
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


def runs(duration_s: float, step_ms: float, every: int = 1) -> dict[str, float]:
    """Solver table of a run that is not prolonged."""
    return {
        "duration_s": duration_s,
        "max_duration_s": duration_s,
        "step_ms": step_ms,
        "output_step_ms": step_ms * every,
    }


def level_tow(speed: float, **retrieve: object) -> dict[str, dict[str, object]]:
    """Tables of a bait behind a rod tip at its own depth."""
    return {
        "start": {"depth_m": 2.0, "yaw_deg": 0.0},
        "retrieve": {"speed_m_s": speed, **retrieve},
    }


def test_a_line_pulls_but_never_pushes():
    # A weight that flies toward the rod tip keeps its speed: Newton, exact.
    line = {"length_m": 1.0, "rod_tip_height_m": math.cos(0.5) - 1.0, **NO_DRAG}
    start = {"depth_m": 1.0, "yaw_deg": 0.0, "velocity_m_s": [0.3, 0.0, 0.0]}
    still = {"speed_m_s": 0.0}
    cfg = on_a_line((), 2.0, line, solver=runs(0.5, 1.0), start=start, retrieve=still)
    run = sim.simulate(cfg)
    assert run.line_tension.max() == 0.0
    assert run.velocity[-1, 0] == pytest.approx(0.3, rel=1e-12)


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
