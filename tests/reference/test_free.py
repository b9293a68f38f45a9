"""Sinking, rising and floating without a line, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

import sim
from sim.hydrostatics import rest, terminal_speed

from .cases import GRAVITY, config, ellipsoid

MM = 1e-3
RHO = 1000.0
WATER = {"density_kg_m3": RHO, "viscosity_m2_s": 1.0e-6}
# Without the linear lift, which belongs to slender bodies: a sphere has none.
LOADS = ("weight", "buoyancy", "added_mass", "body_drag", "axial_drag", "plates")


def sphere(radius: float, density: float, **tables: dict[str, object]) -> sim.Config:
    """A free sphere; radius in mm."""
    tables.setdefault("water", WATER)
    return config({"body": ellipsoid(2 * radius, 2 * radius, 2 * radius, density)}, LOADS, **tables)


# --- terminal speed ----------------------------------------------------------------------------


@pytest.mark.parametrize("density", [3.0, 1.2, 0.5])
def test_sphere_terminal_speed(density):
    # U = sqrt[(8/3) |s - 1| g R / C_d], C_d = 0.47 at Re 1e4 to 1e5 (White, Fluid Mechanics, table
    # 7.3; from memory, high confidence); closed form. Positive sinks.
    radius = 15.0
    expected = math.sqrt(8.0 / 3.0 * abs(density - 1.0) * GRAVITY * radius * MM / 0.47)
    found = terminal_speed(sphere(radius, density))
    assert found.settled
    assert found.speed_m_s == pytest.approx(math.copysign(expected, density - 1.0), rel=0.01)
    assert 1e4 < expected * 2 * radius * MM / 1e-6 < 1e5


# --- floating ----------------------------------------------------------------------------------


@pytest.mark.parametrize("density", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_floating_sphere_draught(density):
    # Archimedes with the cap's volume pi h^2 (3R - h) / 3; closed form.
    radius = 20.0
    draught = brentq(
        lambda h: h**2 * (3.0 * radius - h) / (4.0 * radius**3) - density, 0.0, 2.0 * radius
    )
    cfg = sphere(radius, density)
    found = rest(cfg, sim.assemble(cfg))
    assert found.kind == "floats"
    assert found.depth_m / MM == pytest.approx(draught - radius, abs=0.01 * radius)
    assert found.reserve_buoyancy == pytest.approx(
        (RHO - 1000.0 * density) * 4.0 / 3.0 * math.pi * (radius * MM) ** 3, rel=1e-6
    )


def test_floating_ellipsoid_of_half_density():
    # By symmetry half of it is under water: the surface runs through its centre. Wider than high,
    # so level is stable.
    cfg = config({"body": ellipsoid(80.0, 26.0, 16.0, 0.5)}, LOADS, water=WATER)
    found = rest(cfg, sim.assemble(cfg))
    assert found.kind == "floats"
    assert found.depth_m == pytest.approx(0.0, abs=1e-5)
    assert found.pitch_deg == pytest.approx(0.0, abs=0.01)
    assert found.heel_deg == pytest.approx(0.0, abs=0.1)
    assert found.waterline_nose_mm == pytest.approx(0.0, abs=0.02)
    assert found.waterline_tail_mm == pytest.approx(0.0, abs=0.02)


def test_a_high_body_falls_on_its_side():
    # Bouguer's metacentre (next test): a body of one density, half under, higher than wide, has
    # it below the centre of gravity and lies down.
    cfg = config({"body": ellipsoid(80.0, 14.0, 20.0, 0.5)}, LOADS, water=WATER)
    found = rest(cfg, sim.assemble(cfg))
    assert abs(found.heel_deg) == pytest.approx(90.0, abs=1.0)


# The usual number of sections and a fine one: 5 % and 2 degrees off is what the usual number gives
# when each section is also given its own length as spread, which the Gauss sum holds already.
SECTIONS = pytest.mark.parametrize(
    "solver", [{"body_strips": 64}, {}], ids=["64 sections", "usual sections"]
)


def afloat(size: tuple[float, float, float], solver: dict[str, int]) -> sim.Config:
    """A half-floating ellipsoid."""
    return config(
        {"body": ellipsoid(*size, 0.5)},
        ("weight", "buoyancy"),
        water={**WATER, "surface": True},
        start={"depth_m": 0.0},
        solver=solver,
    )


FLOATERS = [(80.0, 26.0, 16.0), (80.0, 14.0, 20.0), (60.0, 20.0, 20.0)]
SMALL = 1e-3  # rad

# Half-floating ellipsoid, semi-axes a, b, c: waterplane an ellipse with I = pi a b^3 / 4, volume
# (2/3) pi a b c, its centroid 3c/8 deep: GM = (3/8)(b^2 - c^2) / c in heel, with a for b in trim
# (Bouguer 1746; closed form, exact).


@pytest.mark.parametrize("size", FLOATERS, ids=str)
def test_metacentric_height_in_heel(size):
    _, b, c = (0.5 * s * MM for s in size)
    cfg = afloat(size, {})
    found = sim.captive(cfg, (0, 0, 0), attitude_deg=(math.degrees(SMALL), 0, 0))
    weight = sim.assemble(cfg).mass * GRAVITY
    height = -found.moment[0] / (weight * SMALL)
    assert height == pytest.approx(0.375 * (b * b - c * c) / c, abs=1e-3 * b)
    assert np.abs(found.force).max() < 1e-5 * weight


@SECTIONS
@pytest.mark.parametrize("size", FLOATERS, ids=str)
def test_metacentric_height_in_trim(size, solver):
    a, _, c = (0.5 * s * MM for s in size)
    cfg = afloat(size, solver)
    found = sim.captive(cfg, (0, 0, 0), attitude_deg=(0, math.degrees(SMALL), 0))
    height = -found.moment[1] / (sim.assemble(cfg).mass * GRAVITY * SMALL)
    assert height == pytest.approx(0.375 * (a * a - c * c) / c, rel=0.01)


@pytest.mark.parametrize("pitch_deg", [10.0, 20.0, 30.0, 40.0, 60.0, 75.0])
def test_still_water_does_no_work_around_a_loop(pitch_deg):
    # Weight and buoyancy come from a potential, so the vertical force changes with pitch as the
    # trimming moment changes with depth (C_35 = C_53: Newman 1977, Marine Hydrodynamics, ch. 6;
    # from memory, high confidence; exact, whatever the number of sections). Otherwise a bait at
    # the surface would gain or lose energy in every cycle.
    weight = {"mass_g": 2.0, "from_nose_mm": 25.0, "above_centreline_mm": -6.0}
    bait = {"body": ellipsoid(80.0, 14.0, 20.0, 0.6), "ballast": [weight]}

    def loads(depth_m: float, pitch: float) -> tuple[float, float]:
        """Force downward and moment nose up."""
        cfg = config(
            bait,
            ("weight", "buoyancy"),
            water={**WATER, "surface": True},
            start={"depth_m": depth_m},
        )
        found = sim.captive(cfg, (0.0, 0.0, 0.0), attitude_deg=(0.0, pitch, 0.0))
        a = math.radians(pitch)
        return -math.sin(a) * found.force[0] + math.cos(a) * found.force[2], found.moment[1]

    depth, step_m, step_deg = 0.004, 1e-5, 0.01
    by_depth = np.subtract(loads(depth + step_m, pitch_deg), loads(depth - step_m, pitch_deg))
    by_pitch = np.subtract(loads(depth, pitch_deg + step_deg), loads(depth, pitch_deg - step_deg))
    by_depth, by_pitch = by_depth / (2.0 * step_m), by_pitch / math.radians(2.0 * step_deg)
    # in units of the heave stiffness times a tenth of the length
    scale = abs(by_depth[0]) * 8.0 * MM
    assert by_pitch[0] == pytest.approx(by_depth[1], abs=1e-4 * scale)


# --- attitude ----------------------------------------------------------------------------------


def weighted(
    density: float, ahead: float, below: float, right: float, solver: dict[str, int]
) -> sim.Config:
    """A ballasted sphere of 20 mm radius; the weight's place from its centre, in mm."""
    weight = {
        "mass_g": 5.0,
        "from_nose_mm": 20.0 - ahead,
        "above_centreline_mm": -below,
        "right_mm": right,
    }
    bait = {"body": ellipsoid(40.0, 40.0, 40.0, density), "ballast": [weight]}
    return config(bait, LOADS, water=WATER, solver=solver)


@SECTIONS
@pytest.mark.parametrize("density", [0.3, 0.6], ids=["floats high", "floats low"])
def test_righting_of_a_floating_ballasted_sphere(density, solver):
    # The buoyancy of a sphere, wholly or partly under water, goes through its centre: it comes to
    # rest with the weight straight below the centre; statics, exact.
    check_weight_below_centre(density, "floats", solver)


def test_righting_of_a_sunk_ballasted_sphere():
    # The buoyancy of a sphere, wholly or partly under water, goes through its centre: it comes to
    # rest with the weight straight below the centre; statics, exact.
    check_weight_below_centre(1.2, "sinks", {})


def check_weight_below_centre(density: float, kind: str, solver: dict[str, int]) -> None:
    """Attitude at rest of the ballasted sphere."""
    ahead, below, right = 6.0, 10.0, 3.0
    cfg = weighted(density, ahead, below, right, solver)
    found = rest(cfg, sim.assemble(cfg))
    assert found.kind == kind
    pitch = -math.degrees(math.asin(ahead / math.sqrt(ahead**2 + below**2 + right**2)))
    heel = math.degrees(math.atan2(right, below))
    assert found.pitch_deg == pytest.approx(pitch, abs=0.3)
    assert found.heel_deg == pytest.approx(heel, abs=0.3)


def test_hanging_attitude_of_a_sinking_body():
    # Deep, the centre of buoyancy comes to lie straight above the centre of gravity: tan(pitch) =
    # -x_g / z_g from the middle of the body; statics, exact, with the weights summed here.
    size, density = (80.0, 14.0, 20.0), 1.05
    weight = {"mass_g": 2.0, "from_nose_mm": 30.0, "above_centreline_mm": -5.0}
    cfg = config({"body": ellipsoid(*size, density), "ballast": [weight]}, LOADS, water=WATER)
    found = rest(cfg, sim.assemble(cfg))
    # lead in a hole: what it adds is its own mass less the body's that was there
    added = 2.0 * (1.0 - density / 11.34)
    total = density * math.pi / 6.0 * np.prod(size) * 1e-3 + added
    x, z = 10.0 * added / total, 5.0 * added / total
    assert found.kind == "sinks"
    assert found.pitch_deg == pytest.approx(-math.degrees(math.atan2(x, z)), abs=0.01)
    assert found.heel_deg == pytest.approx(0.0, abs=1e-6)
    assert found.reserve_buoyancy == pytest.approx(
        RHO * math.pi / 6.0 * np.prod(size) * 1e-9 - total * 1e-3, rel=1e-6
    )
