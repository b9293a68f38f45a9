"""Loads on a flat plate (bill, fin, keel) against measured plates and thin-aerofoil theory.

All cases are a lone plate in steady motion through the full right-hand side, so that the couple
of the added mass counts as well. The plate lies flat; the stream meets it at the incidence ``a``.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import sim

from .cases import (
    COMPUTED,
    MEMORY_HIGH,
    READ,
    SECONDARY,
    FluidLoads,
    config,
    crossings,
    flat_plate,
    fluid_loads,
    lone_plate,
)

MM = 1e-3
SIDE = 20.0  # mm


def stream(a_deg: float, speed: float = 1.0, slip_deg: float = 0.0) -> np.ndarray:
    """Velocity of the plate; slip turns the part along the plate toward starboard."""
    a, slip = math.radians(a_deg), math.radians(slip_deg)
    along = speed * math.cos(a)
    return np.array([along * math.cos(slip), along * math.sin(slip), speed * math.sin(a)])


def towed(a_deg: float, length: float = SIDE, width: float = SIDE, **more: float) -> FluidLoads:
    """A plate towed at an incidence."""
    return fluid_loads(lone_plate(length, width), stream(a_deg, **more))


def normal_coefficient(a_deg: float, length: float = SIDE, width: float = SIDE) -> float:
    """C_N on the plate's area; positive against the motion."""
    found = towed(a_deg, length, width)
    head = 0.5 * found.bait.water.density * length * width * MM**2
    return -float(found.force[2]) / head


def pressure_centre(a_deg: float, length: float = SIDE, width: float = SIDE) -> float:
    """Where the normal force acts, in chords behind the leading edge.

    From the turning that really comes about: loads and the momentum equations together.
    """
    found = towed(a_deg, length, width)
    return 0.5 + float(found.rate[4] / found.force[2]) / (length * MM)


# --- normal force ------------------------------------------------------------------------------


def holmes(a_deg: float) -> tuple[float, float]:
    """C_N and centre of pressure behind the leading edge of a square plate.

    Holmes, Letchford & Lin 2006, J. Wind Eng. Ind. Aero. 94, 21-39: CD = 0.75 [1 + 0.65
    sin(2a - 90 deg)], CL = 1.2 sin 2a, moment about the centre 0.2 cos a (CD sin a + CL cos a).
    First page read in the source, formulas from memory, high confidence.
    """
    a = math.radians(a_deg)
    drag = 0.75 * (1.0 + 0.65 * math.sin(2.0 * a - 0.5 * math.pi))
    lift = 1.2 * math.sin(2.0 * a)
    return drag * math.sin(a) + lift * math.cos(a), 0.5 - 0.2 * math.cos(a)


@pytest.mark.parametrize("a_deg", [20, 30, 40, 50, 60, 70, 80, 90], ids=lambda a: f"{a} deg")
def test_square_plate_holmes(a_deg):
    # 15 % is the scatter recommended against measured plates. Below 20 degrees this fit keeps a
    # slope of 2.7 per radian at zero, Helmbold's lifting line has 1.48 (next test): they cannot
    # both be met. The program starts from Helmbold's and reaches the fit at 20 degrees, so at 10
    # degrees it is a fifth below it.
    assert normal_coefficient(a_deg) == pytest.approx(holmes(a_deg)[0], rel=0.15)


def test_square_plate_below_twenty_degrees_lies_between():
    # The disagreement stated above, in figures: never below Helmbold's line, never above Holmes.
    for a_deg in (2.0, 5.0, 10.0, 15.0):
        line = 1.483 * math.sin(math.radians(a_deg))
        assert line < normal_coefficient(a_deg) < holmes(a_deg)[0]


@pytest.mark.parametrize(
    ("aspect_ratio", "slope"),
    [(0.5, 0.773), (1.0, 1.483), (1.5, 2.094), (2.0, 2.603), (3.0, 3.363)],
)
def test_slope_at_zero_helmbold(aspect_ratio, slope):
    # Helmbold 1942: 2 pi AR / (2 + sqrt(4 + AR^2)) a radian; formula from memory, high
    # confidence, values computed. 8 % is its own scatter.
    small = 0.02
    found = normal_coefficient(small, SIDE, SIDE * aspect_ratio) / math.radians(small)
    assert found == pytest.approx(slope, rel=0.08)


def test_slope_of_a_slender_plate():
    # R. T. Jones 1946, NACA Report 835: pi AR / 2, for AR up to 0.5; computed from the formula.
    small = 0.02
    found = normal_coefficient(small, 4.0 * SIDE, SIDE) / math.radians(small)
    assert found == pytest.approx(0.5 * math.pi * 0.25, rel=0.08)


@pytest.mark.parametrize(
    ("a_deg", "coefficient"), [(20, 0.927), (30, 1.167), (40, 1.333)], ids=lambda v: f"{v}"
)
def test_joessel(a_deg, coefficient):
    # Joessel, water tests about 1870, C_N = 0.811 sin a / (0.195 + 0.305 sin a), as rudder
    # handbooks give it; from memory, medium confidence; values computed.
    assert normal_coefficient(a_deg) == pytest.approx(coefficient, rel=0.15)


BROADSIDE = [
    (1, 1.17, 0.05, "Aeronautical Engineer's Data Book p. 95", READ),
    (1000, 1.98, 0.05, "Aeronautical Engineer's Data Book p. 95, very long", READ),
    (1, 1.16, 0.07, "DNV RP-N103 Table B-2", SECONDARY),
    (5, 1.20, 0.07, "DNV RP-N103 Table B-2", SECONDARY),
    (1, 1.17, 0.05, "Hoerner fig. 3-23", SECONDARY),
    (3, 1.17, 0.05, "Hoerner fig. 3-23", SECONDARY),
    (5, 1.17, 0.05, "Hoerner fig. 3-23", SECONDARY),
    (1, 1.18, 0.07, "White table 7.3", MEMORY_HIGH),
    (5, 1.2, 0.07, "White table 7.3", MEMORY_HIGH),
    (10, 1.3, 0.07, "White table 7.3", MEMORY_HIGH),
    (20, 1.5, 0.07, "White table 7.3", MEMORY_HIGH),
    (1, 1.168, 0.05, "Lindenburg 2001 ECN-RX--01-004", f"{SECONDARY}, {COMPUTED}"),
    (10, 1.317, 0.05, "Lindenburg 2001 ECN-RX--01-004", f"{SECONDARY}, {COMPUTED}"),
    (50, 1.746, 0.05, "Lindenburg 2001 ECN-RX--01-004", f"{SECONDARY}, {COMPUTED}"),
]


@pytest.mark.parametrize("row", BROADSIDE, ids=lambda r: f"{r[0]} {r[3]} {r[4]}")
@pytest.mark.parametrize("turned", [False, True], ids=["long", "wide"])
def test_broadside(row, turned):
    # DNV's 1.50 at ratio 10 is left out: White (1.3) and Lindenburg (1.32) contradict it.
    ratio, coefficient, tolerance, _, _ = row
    sides = (SIDE, SIDE * ratio) if turned else (SIDE * ratio, SIDE)
    assert normal_coefficient(90.0, *sides) == pytest.approx(coefficient, rel=tolerance)


def test_square_plate_has_its_hump():
    # Eiffel about 1910; Flachsbart 1932; Hoerner 1965 ch. 3: C_N of a square plate climbs to a
    # peak near 40 degrees and falls again; from memory, medium confidence: shape only.
    angles = np.arange(20.0, 91.0, 1.0)
    found = np.array([normal_coefficient(a) for a in angles])
    peak = int(np.argmax(found))
    assert 1.2 <= found[peak] / found[-1] <= 1.5
    assert 33.0 <= angles[peak] <= 55.0
    assert (np.diff(found[:peak]) > 0.0).all()
    assert (np.diff(found[peak:]) < 1e-9).all()


# --- centre of pressure ------------------------------------------------------------------------


@pytest.mark.parametrize("a_deg", [10, 20, 30, 40, 50, 60, 70, 80, 90], ids=lambda a: f"{a} deg")
def test_centre_of_pressure_holmes(a_deg):
    # Holmes, Letchford & Lin 2006, formula from memory, high confidence: 0.5 - 0.2 cos a.
    assert pressure_centre(a_deg) == pytest.approx(holmes(a_deg)[1], abs=0.05)


@pytest.mark.parametrize("a_deg", [10, 20, 30, 45, 60, 90], ids=lambda a: f"{a} deg")
def test_centre_of_pressure_joessel(a_deg):
    # 0.2 + 0.3 sin a from the leading edge (Avanzini; Joessel); law from memory, high confidence.
    # Its 0.07 is the scatter between the published laws at these angles.
    law = 0.2 + 0.3 * math.sin(math.radians(a_deg))
    assert pressure_centre(a_deg) == pytest.approx(law, abs=0.07)


@pytest.mark.parametrize("a_deg", [20, 25, 30, 35, 40], ids=lambda a: f"{a} deg")
def test_centre_of_pressure_band(a_deg):
    # All published laws at hand (Joessel; Rayleigh's free streamlines, Lamb Art. 77; Holmes et al.
    # 2006; Li et al. 2022) lie between 0.27 and 0.40 here; computed from the formulas.
    assert 0.27 <= pressure_centre(a_deg) <= 0.40


def test_centre_of_pressure_ends():
    # A quarter chord on an attached thin plate (exact) and the middle across the stream.
    assert pressure_centre(0.05) == pytest.approx(0.25, abs=0.01)
    assert pressure_centre(90.0) == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize("a_deg", [5, 20, 45, 70, 89], ids=lambda a: f"{a} deg")
@pytest.mark.parametrize("slip_deg", [0.0, 35.0], ids=lambda a: f"slip {a:g}")
def test_towed_from_its_centre_of_pressure_nothing_turns(a_deg, slip_deg):
    # Statics, exact: a plate pulled at its centre of pressure, against its drag, keeps its
    # attitude. In Kirchhoff's equations the plate's own added mass brings a couple
    # m_a v_n v_t, which a measured centre of pressure already holds: it must not count twice.
    # So the angular momentum changes by the measured arm alone, and not with the added mass.
    velocity = stream(a_deg, slip_deg=slip_deg)
    cfg = lone_plate(SIDE, SIDE)
    found = fluid_loads(cfg, velocity)
    without = fluid_loads(config({"plate": [flat_plate(SIDE, SIDE)]}, ("plates",)), velocity)
    arm = np.array([-without.rate[4], without.rate[3], 0.0]) / without.force[2]
    pull = -found.force
    left = found.rate[3:] + np.cross(arm, pull)
    size = np.linalg.norm(found.force) * SIDE * MM
    assert np.abs(left).max() < 1e-12 * size
    # the couple that is taken off is no small thing: half of the moment or more
    couple = found.bait.added_mass[2, 2] * velocity[2] * np.hypot(*velocity[:2])
    assert couple > 0.5 * np.linalg.norm(found.rate[3:])
    # and that arm is the published one
    ahead = float(arm[:2] @ velocity[:2]) / np.hypot(*velocity[:2]) / (SIDE * MM)
    assert 0.5 - ahead == pytest.approx(holmes(a_deg)[1], abs=0.05)


# --- friction ----------------------------------------------------------------------------------


@pytest.mark.parametrize("speed", [0.5, 1.0, 2.0], ids=lambda v: f"{v} m/s")
def test_edge_on_friction(speed):
    # Thin sharp plates in the range of a bill: 0.01 to 0.03 on the plan area (both sides wet),
    # 30 %; from memory, high confidence.
    found = fluid_loads(lone_plate(SIDE, SIDE), (speed, 0.0, 0.0))
    head = 0.5 * found.bait.water.density * speed**2 * (SIDE * MM) ** 2
    assert 0.7 * 0.01 <= -found.force[0] / head <= 1.3 * 0.03
    # Blasius, both sides: 2 x 1.328 / sqrt(Re); from memory, high confidence
    reynolds = speed * SIDE * MM / found.bait.water.viscosity
    assert -found.force[0] / head == pytest.approx(2.656 / math.sqrt(reynolds), rel=1e-6)
    assert np.abs(found.force[1:]).max() == 0.0


# --- symmetry ----------------------------------------------------------------------------------


@pytest.mark.parametrize("a_deg", [7.0, 38.0, 80.0], ids=lambda a: f"{a:g} deg")
def test_reversed_flow(a_deg):
    # A flat plate has no front: exact, by symmetry.
    cfg = lone_plate(SIDE, 0.7 * SIDE)
    ahead, astern = (fluid_loads(cfg, s * stream(a_deg)) for s in (1.0, -1.0))
    assert astern.force == pytest.approx(-ahead.force, rel=1e-12, abs=1e-18)
    # the force turns round and so does its place: the moment stays
    assert astern.rate[3:] == pytest.approx(ahead.rate[3:], rel=1e-12, abs=1e-18)
    from_above = fluid_loads(cfg, stream(-a_deg))
    assert from_above.force[2] == pytest.approx(-ahead.force[2], rel=1e-12)
    assert from_above.rate[4] == pytest.approx(-ahead.rate[4], rel=1e-12)
    past_ninety = fluid_loads(cfg, stream(180.0 - a_deg))
    assert past_ninety.force[2] == pytest.approx(ahead.force[2], rel=1e-12)
    assert past_ninety.rate[4] == pytest.approx(-ahead.rate[4], rel=1e-12)


@pytest.mark.parametrize("a_deg", [7.0, 38.0, 80.0], ids=lambda a: f"{a:g} deg")
def test_side_slip(a_deg):
    # By symmetry, exact: a square plate met from the side is one met from ahead, turned round;
    # slip to the other side mirrors; the centre of pressure moves toward the side the plate slips
    # to, which is upstream.
    cfg = lone_plate(SIDE, SIDE)
    ahead, side = fluid_loads(cfg, stream(a_deg)), fluid_loads(cfg, stream(a_deg, slip_deg=90.0))
    assert side.force[2] == pytest.approx(ahead.force[2], rel=1e-12)
    assert side.force[1] == pytest.approx(ahead.force[0], rel=1e-9)
    assert side.rate[3] == pytest.approx(-ahead.rate[4], rel=1e-12)
    right, left = (fluid_loads(cfg, stream(a_deg, slip_deg=s)) for s in (25.0, -25.0))
    assert left.force * [1, -1, 1] == pytest.approx(right.force, rel=1e-12)
    assert left.rate[3:] * [-1, 1, -1] == pytest.approx(right.rate[3:], rel=1e-12, abs=1e-18)
    # r x F with F up (-z): a force to starboard of the centre turns by -K
    assert right.rate[3] / right.force[2] > 0.0


# --- turning -----------------------------------------------------------------------------------


def test_rotational_lift_of_a_long_wing():
    # Thin-aerofoil theory about mid-chord, two dimensions: L = rho (c^2 / 2) C_R w v a span with
    # C_R = pi / 2 (exact; Fung 1955, Theory of Aeroelasticity, quasi-steady, without the terms of
    # the added mass, which the momentum equations bring); computed from the formula. Helmbold's
    # slope of a wing of AR 1000 is 0.2 % short of 2 pi.
    chord, span = 10.0, 10000.0
    speed, pitching = 1.0, 3.0
    found = fluid_loads(lone_plate(chord, span), (speed, 0.0, 0.0), (0.0, pitching, 0.0))
    scale = found.bait.water.density * (chord * MM) ** 2 / 2.0 * pitching * speed * span * MM
    # nose up: lift is upward, that is along -z
    assert -found.force[2] / scale == pytest.approx(0.5 * math.pi, rel=5e-3)


@pytest.mark.parametrize(("ratio", "low", "high"), [(1.0, 0.2, 1.6), (2.0, 0.4, 1.6)])
def test_rotational_lift_of_a_short_plate(ratio, low, high):
    # Below the two-dimensional value; fitted ones lie from 1.1 (Li et al. 2022, JFM 937, read in a
    # secondary copy, 2-D) to 1.6. No published value for a bill: sign and size only.
    found = fluid_loads(lone_plate(SIDE, SIDE * ratio), (1.0, 0.0, 0.0), (0.0, 3.0, 0.0))
    scale = found.bait.water.density * (SIDE * MM) ** 3 * ratio / 2.0 * 3.0
    assert low <= -found.force[2] / scale <= high


@pytest.mark.parametrize("axis", ["along", "across"])
def test_spin_damping(axis):
    # About mid-length, a span: -rho Cd w |w| L^4 / 64; strip integral, computed from the formula
    # (the same in Li et al. 2022, JFM 937, read in a secondary copy), Cd the plate's broadside
    # value. The kink at the middle makes the Gauss sums converge slowly but surely.
    spin, error = 20.0, []
    for count in (4, 8, 16):
        solver = {"plate_elements_along": count, "plate_elements_across": count}
        cfg = lone_plate(SIDE, SIDE, solver=solver)
        rates = (0.0, spin, 0.0) if axis == "along" else (spin, 0.0, 0.0)
        found = fluid_loads(cfg, (0.0, 0.0, 0.0), rates)
        drag = normal_coefficient(90.0)
        exact = -found.bait.water.density * drag * spin**2 * (SIDE * MM) ** 5 / 64.0
        row = 1 if axis == "along" else 0
        error.append(abs(found.moment[row] / exact - 1.0))
        assert found.moment[row] < 0.0
    assert error[2] < error[1] < error[0]
    assert error[0] < 0.01
    assert error[2] < 1e-4


def test_spin_damping_off_the_middle():
    # -(rho Cd w |w| L^4 / 128) [(1 + 2d/L)^4 + (1 - 2d/L)^4] a span for an axis at d from the
    # middle, inside the plate: strip integral, computed from the formula. The axis is a strut at
    # rest, so the plate's centre moves by w d; d = L/4.
    spin, length = 20.0, SIDE * MM
    d = 0.25 * length
    solver = {"plate_elements_along": 16, "plate_elements_across": 2}
    # turning nose up about an axis d ahead of the centre carries the centre down
    cfg = lone_plate(SIDE, SIDE, solver=solver)
    found = fluid_loads(cfg, (0.0, 0.0, spin * d), (0.0, spin, 0.0))
    drag = normal_coefficient(90.0)
    about_axis = found.moment[1] + d * found.force[2]
    exact = (
        -found.bait.water.density * drag * spin**2 * length**5 / 128.0
        * ((1.0 + 2.0 * d / length) ** 4 + (1.0 - 2.0 * d / length) ** 4)
    )  # fmt: skip
    assert about_axis == pytest.approx(exact, rel=5e-3)


# --- shedding ----------------------------------------------------------------------------------


@pytest.mark.parametrize("a_deg", [90.0, 60.0, 30.0], ids=lambda a: f"{a:g} deg")
def test_shedding_frequency(a_deg):
    # Plate across the stream: f width / U = 0.14 to 0.15 (Roshko 1954, NACA TN 3169; Blevins);
    # inclined 30 to 90 degrees: f c sin a / U = 0.148 (Fage & Johansen 1927); from memory, high
    # confidence. The program takes the width of the bill for the length that sheds.
    speed, width = 1.2, 18.0
    bill = flat_plate(20.0, width, angle_deg=a_deg)
    cfg = config(
        {"bill": bill},
        ("wake",),
        start={"velocity_m_s": [speed, 0.0, 0.0]},
        solver={"duration_s": 4.0, "max_duration_s": 4.0, "step_ms": 1.0, "output_step_ms": 1.0},
    )
    run = sim.simulate(cfg)
    times = crossings(run.time, run.wake[:, 0])[-10:]
    frequency = 9.0 / (times[-1] - times[0])
    strouhal = frequency * width * MM / (speed * math.sin(math.radians(a_deg)))
    assert 0.14 <= strouhal <= 0.15
    # van der Pol's limit cycle has the amplitude 2 and, to second order, the frequency 1 - eps^2/16
    # (Nayfeh & Mook 1979, Nonlinear Oscillations; from memory, high confidence)
    assert strouhal == pytest.approx(0.15 * (1.0 - 0.3**2 / 16.0), rel=1e-3)
    assert np.abs(run.wake[run.time > 2.0, 0]).max() == pytest.approx(2.0, rel=0.01)
