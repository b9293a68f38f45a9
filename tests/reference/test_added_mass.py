"""Added mass against Lamb's ellipsoids and discs, published plates, and potential flow."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

import sim
from sim.bait import panels
from sim.bait.added_mass import (
    ellipsoid_added_mass,
    elliptic_disc_mass,
    green_integrals,
    rectangle_mass,
    shift_matrix,
)
from sim.bait.sections import _between, _flow_about, outline_at

from .cases import (
    config,
    ellipsoid,
    flat_plate,
    lone_plate,
)
from .potential_flow import rectangle, section, slender_body

MM = 1e-3


def ellipsoid_config(a: float, b: float, c: float, **tables: object) -> sim.Config:
    """An ellipsoid with the semi-axes given in tens of mm along x, y, z."""
    return config({"body": ellipsoid(20 * a, 20 * b, 20 * c)}, ("added_mass",), **tables)


# --- ellipsoids --------------------------------------------------------------------------------


def test_triaxial_ellipsoid_lamb():
    # Lamb (1932), Arts. 114, 121a, axes 3 : 2 : 1 along x, y, z; computed from the formula.
    kappa = green_integrals(np.array([3.0, 2.0, 1.0]))
    assert kappa == pytest.approx([0.312601, 0.534308, 1.153091], abs=1e-6)
    found = ellipsoid_added_mass(np.array([3.0, 2.0, 1.0]), 1.0)
    volume = 8.0 * math.pi
    assert found.mass / volume == pytest.approx([0.18526, 0.36454, 1.36153], rel=1e-4)
    assert found.inertia / volume == pytest.approx([0.38327, 1.41647, 0.15574], rel=1e-4)


def test_green_integrals_against_quadrature():
    # Lamb (1932), Art. 114: alpha_0 = a b c times the integral of 1 / ((a^2 + s) Delta);
    # the integral itself from memory, high confidence, evaluated here.
    axes = np.array([3.1, 1.7, 0.6])

    def integrand(t: float, i: int) -> float:
        s = t / (1.0 - t)
        delta = math.sqrt(np.prod(axes**2 + s))
        return 1.0 / ((axes[i] ** 2 + s) * delta * (1.0 - t) ** 2)

    expected = [np.prod(axes) * quad(integrand, 0.0, 1.0, args=(i,))[0] for i in range(3)]
    assert green_integrals(axes) == pytest.approx(expected, rel=1e-7)


def test_green_integrals_add_up_to_two():
    # Exact: Lamb (1932), Art. 114; from memory, high confidence.
    rng = np.random.default_rng(7)
    for axes in 10.0 ** rng.uniform(-1.5, 1.5, size=(50, 3)):
        assert green_integrals(axes).sum() == pytest.approx(2.0, rel=1e-12)


@pytest.mark.parametrize(
    ("slenderness", "slope"), [(2, 0.4942), (4, 0.7782), (6, 0.8719)], ids=lambda v: f"{v}"
)
def test_munk_moment(slenderness, slope):
    # Munk 1924, NACA Report 184: rho V U^2 (k2 - k1) sin a cos a, with k1 and k2 of Lamb's
    # spheroid; computed from the formula. The momentum equations must bring it by themselves, and
    # no force with it.
    speed, incidence = 1.3, math.radians(12.0)
    cfg = ellipsoid_config(slenderness, 1.0, 1.0)
    bait = sim.assemble(cfg)
    found = sim.captive(cfg, (speed * math.cos(incidence), 0.0, speed * math.sin(incidence)))
    fluid = bait.water.density * bait.volume
    expected = fluid * speed**2 * slope * math.sin(incidence) * math.cos(incidence)
    # nose up and w > 0 (the stream hits the belly): it turns the nose farther up
    assert found.total_moment[1] == pytest.approx(expected, rel=2e-4)
    assert np.abs(found.total_force).max() < 1e-12


# --- discs -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ratio", "factor"),
    [(1.0, 0.6366), (0.8, 0.7052), (0.5, 0.8257), (0.25, 0.9326), (0.1, 0.9843)],
)
def test_elliptic_disc(ratio, factor):
    # (4/3) pi rho a b^2 / E(1 - b^2/a^2): formula from memory, high confidence; 1/E computed, and
    # confirmed here by Lamb's ellipsoid of next to no thickness.
    a, b = 3.0, 3.0 * ratio
    scale = 4.0 / 3.0 * math.pi * a * b * b
    found = elliptic_disc_mass(2 * a, 2 * b, 1.0)
    assert found / scale == pytest.approx(factor, abs=1e-4)
    thin = ellipsoid_added_mass(np.array([a, b, 1e-6]), 1.0).mass[2]
    assert thin == pytest.approx(found, rel=1e-5)


@pytest.mark.parametrize(
    ("thickness", "mass", "inertia"),
    [(0.2, 0.9449, 0.8787), (0.1, 0.9714, 0.9572), (0.05, 0.9854, 0.9834), (0.01, 0.9970, 0.9975)],
)
def test_oblate_spheroid_converges_to_the_disc(thickness, mass, inertia):
    # Lamb (1932), Arts. 114, 121a, over the disc's values; computed from the formula.
    found = ellipsoid_added_mass(np.array([1.0, 1.0, thickness]), 1.0)
    assert found.mass[2] / (8.0 / 3.0) == pytest.approx(mass, abs=1e-4)
    assert found.inertia[:2] / (16.0 / 45.0) == pytest.approx([inertia] * 2, abs=1e-4)


# --- rectangular plates ------------------------------------------------------------------------


@pytest.mark.parametrize("ratio", [1.0, 1.4, 2.0, 3.0, 5.0, 8.0])
def test_rectangular_plate_against_a_vortex_lattice(ratio):
    # Potential flow solved here; the lattice meets the published table to 0.3 %.
    mass, _, _ = rectangle(ratio, 1.0)
    assert rectangle_mass(ratio, 1.0, 1.0) == pytest.approx(mass, rel=0.01)


def test_long_rectangular_plate_against_a_vortex_lattice():
    # Potential flow solved here. Past the table (ratio 10), where no bill or fin lies.
    mass, _, _ = rectangle(20.0, 1.0)
    assert rectangle_mass(20.0, 1.0, 1.0) == pytest.approx(mass, rel=0.01)


def test_vortex_lattice_meets_the_strip_in_rotation():
    # Two-dimensional plate of chord c about its middle: pi rho c^4 / 128, exact; from memory, high
    # confidence, and read in a secondary copy. (Says that the lattice is right in rotation too.)
    mass, _, across = rectangle(1000.0, 1.0)
    assert mass * across**2 / 1000.0 == pytest.approx(math.pi / 128.0, rel=0.01)


@pytest.mark.parametrize("ratio", [1.0, 1.5, 3.0])
def test_rectangular_plate_rotation_against_a_vortex_lattice(ratio):
    # Potential flow solved here, see the test above.
    mass, along, across = rectangle(ratio, 1.0)
    bait = sim.assemble(lone_plate(10.0 * ratio, 10.0))
    scale = bait.water.density * (10 * MM) ** 5 * mass
    expected = [scale * across**2, scale * along**2]
    assert np.diag(bait.added_mass)[3:5] == pytest.approx(expected, rel=0.05)


# --- sections and bodies -----------------------------------------------------------------------


def stations_config(
    rows: list[tuple[float, float, float, float]],
    solver: dict[str, object] | None = None,
    exponent: float = 2.0,
) -> sim.Config:
    """A body from its stations: from nose, upper, lower, half width, all in mm."""
    keys = ("from_nose_mm", "upper_mm", "lower_mm", "half_width_mm")
    body = {
        "length_mm": rows[-1][0],
        "density_g_cm3": 1.0,
        "exponent": exponent,
        "station": [dict(zip(keys, row, strict=True)) for row in rows],
    }
    return config({"body": body}, ("added_mass",), solver=solver or {})


def test_long_body_has_the_sections_added_mass():
    # Ellipse of semi-axes a_z (up), a_y (sideways), per length: pi rho a_z^2 in sway, pi rho a_y^2
    # in heave, (pi/8) rho (a_z^2 - a_y^2)^2 in roll: exact in two dimensions; from memory, high
    # confidence. A body 250 times as long as thick still lacks 0.1 % at its ends, and its panels
    # are long and thin.
    length, up, side = 5000.0, 10.0, 7.0
    bait = sim.assemble(stations_config([(x, up, up, side) for x in (0.0, 0.5 * length, length)]))
    rho, along = bait.water.density, length * MM
    up, side = up * MM, side * MM
    expected = [
        math.pi * rho * up**2 * along,
        math.pi * rho * side**2 * along,
        math.pi / 8.0 * rho * (up**2 - side**2) ** 2 * along,
    ]
    found = np.diag(bait.added_mass)
    assert found[1:4] == pytest.approx(expected, rel=2e-3)
    # and about the middle, straight strips: m L^2 / 12
    assert found[4:] == pytest.approx(
        [expected[1] * along**2 / 12.0, expected[0] * along**2 / 12.0], rel=8e-3
    )


def test_section_panels_meet_the_closed_forms():
    # The solver that the next tests compare with: ellipse (exact, see above), square flat-on and
    # turning (4.754 rho a^2, 0.725 rho a^4: Newman 1977, Marine Hydrodynamics, table 4.3; from
    # memory, high confidence), the latter reached from below by a superellipse of exponent 60.
    sway, heave, roll = section(0.7, 1.0, 2.0)
    exact = [math.pi, 0.49 * math.pi, math.pi / 8.0 * 0.51**2]
    assert [sway, heave, roll] == pytest.approx(exact, rel=3e-3)
    square = section(1.0, 1.0, 60.0)
    assert square[0] == pytest.approx(4.754, rel=0.02)
    assert square[2] == pytest.approx(0.725, rel=0.07)  # the corners carry it


# Width, height [mm], exponent
SLABS = [
    (14.0, 20.0, 3.0), (14.0, 20.0, 4.0), (10.0, 20.0, 4.0), (14.0, 20.0, 6.0), (20.0, 20.0, 4.0),
    (20.0, 20.0, 20.0),
]  # fmt: skip


def slab(width: float, height: float, exponent: float) -> tuple[np.ndarray, tuple[float, ...]]:
    """Sway, heave and roll of a long slab-sided body, a length, as assembled and as solved."""
    length = 5000.0
    cfg = stations_config(
        [(x, 0.5 * height, 0.5 * height, 0.5 * width) for x in (0.0, 0.5 * length, length)],
        exponent=exponent,
    )
    bait = sim.assemble(cfg)
    found = np.diag(bait.added_mass)[1:4] / (bait.water.density * length * MM)
    return found, section(0.5 * width * MM, 0.5 * height * MM, exponent)


@pytest.mark.parametrize("size", SLABS, ids=str)
def test_slab_section_in_sway_and_heave(size):
    # Potential flow in two dimensions, solved here.
    found, solved = slab(*size)
    assert found[:2] == pytest.approx(solved[:2], rel=0.02)


@pytest.mark.parametrize("size", SLABS, ids=str)
def test_slab_section_in_roll(size):
    # Potential flow in two dimensions, solved here: it and the program's panels miss some of the
    # corners, on which all hangs in a square.
    found, solved = slab(*size)
    assert solved[2] > 0.0
    assert found[2] == pytest.approx(solved[2], rel=0.05 if size[2] < 20.0 else 0.08)


# A tapered body, 90 x 18 x 13 mm, closed to a point at both ends.
SPINDLE = [
    (0.0, 0.2, 0.2, 0.2),
    (9.0, 5.4, 5.4, 3.9),
    (18.0, 7.7, 7.7, 5.5),
    (32.0, 9.0, 9.0, 6.5),
    (50.0, 8.1, 8.1, 5.9),
    (68.0, 5.4, 5.4, 3.9),
    (81.0, 2.9, 2.9, 2.1),
    (90.0, 0.2, 0.2, 0.2),
]


def test_source_panels_meet_lamb():
    # The solver that the next test compares with, on Lamb's ellipsoid of the same size.
    axes = np.array([45.0, 6.5, 9.0])

    def sections(share):
        x = axes[0] * (1.0 - 2.0 * share)
        round_off = np.sqrt(np.maximum(0.0, 1.0 - (x / axes[0]) ** 2))
        return x, axes[1] * round_off, axes[2] * round_off, axes[2] * round_off

    exact = ellipsoid_added_mass(axes, 1.0)
    assert np.diag(slender_body(sections)) == pytest.approx([*exact.mass, *exact.inertia], rel=0.01)


@pytest.mark.parametrize("belly", [1.0, 1.35], ids=["symmetric", "deep belly"])
def test_tapered_body_against_source_panels(belly):
    # Another solver of potential flow, here: sources instead of doublets, point collocation, no
    # symmetry. The tolerance is that of this solver.
    cfg = stations_config([(x, up, belly * low, side) for x, up, low, side in SPINDLE])
    bait = sim.assemble(cfg)
    body, length = cfg.bait.body, 90.0 * MM
    assert body is not None

    def sections(share):
        at = outline_at(body, share * length)
        return -at.aft - bait.centre_of_gravity[0], at.half_width, at.upper, at.lower

    below = np.array([0.0, 0.0, bait.centre_of_gravity[2]])
    solved = bait.water.density * shift_matrix(slender_body(sections), below)
    scale = np.sqrt(np.outer(np.diag(solved), np.diag(solved)))
    assert bait.added_mass / scale == pytest.approx(solved / scale, abs=0.01)
    assert abs(solved[1, 5] / scale[1, 5]) > 0.02


# Stations that no mesh likes: from nose, upper, lower, half width [mm], and the exponent.
ODD_BODIES = {
    "flat back": ([(0, 0, 3, 4), (25, 0, 16, 8), (60, 0, 4, 2)], 2.0),
    "knife tail": ([(0, 0, 0, 0), (20, 9, 9, 7), (60, 5, 5, 0)], 2.0),
    "chisel nose": ([(0, 0, 0, 7), (20, 9, 9, 8), (60, 1, 1, 1)], 3.0),
    "box": ([(0, 9, 9, 7), (30, 9, 9, 7), (60, 9, 9, 7)], 20.0),
    "blade": ([(0, 2, 2, 0.3), (30, 12, 12, 0.8), (60, 3, 3, 0.3)], 2.0),
    "coin": ([(0, 1, 1, 5), (10, 3, 3, 15), (20, 1, 1, 5)], 2.0),
}


@pytest.mark.parametrize("name", ODD_BODIES)
def test_odd_bodies_do_not_hang_on_the_panels(name, monkeypatch):
    rows, exponent = ODD_BODIES[name]
    cfg = stations_config([tuple(map(float, row)) for row in rows], exponent=exponent)
    found = sim.assemble(cfg).added_mass
    monkeypatch.setattr(panels, "ALONG", 18)
    monkeypatch.setattr(panels, "AROUND", 12)
    _flow_about.cache_clear()
    finer = sim.assemble(cfg).added_mass
    _flow_about.cache_clear()
    scale = np.sqrt(np.outer(np.diag(finer), np.diag(finer)))
    apart = np.abs(found - finer) / scale
    assert apart[3, 3] < 0.06  # sharp edges count most in roll
    apart[3, 3] = 0.0
    assert apart.max() < 0.025
    assert np.linalg.eigvalsh(found / scale).min() > 1e-3


@pytest.mark.parametrize("exponent", [2.0, 6.0])
def test_panels_enclose_the_body(exponent):
    # Gauss's theorem: the panels' areas, as vectors, add up to nothing, and to the volume with x.
    cfg = stations_config([(0.0, 8.0, 6.0, 7.0), (30.0, 9.0, 9.0, 8.0), (60.0, 2.0, 1.0, 1.0)],
                          exponent=exponent)  # fmt: skip
    bait = sim.assemble(cfg)
    stations = cfg.bait.body.station
    grid = panels.half_surface(lambda aft: _between(stations, aft), 60 * MM, exponent)
    a, b, c, d = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    area = 0.5 * np.cross(c - a, d - b)
    x = 0.25 * (a + b + c + d)[..., 0]
    assert area[..., [0, 2]].sum(axis=(0, 1)) == pytest.approx([0.0, 0.0], abs=1e-15)
    assert 2.0 * (x * area[..., 0]).sum() == pytest.approx(bait.volume, rel=0.02)


def test_body_seen_before_is_not_solved_again():
    _flow_about.cache_clear()
    first = sim.assemble(stations_config(SPINDLE))
    other = stations_config(SPINDLE, {"body_strips": 12})
    water = {"water.density_kg_m3": 1025.0, "water.viscosity_m2_s": 1e-6}
    light = {"bait.body.density_g_cm3": 0.4}
    second = sim.assemble(sim.with_overrides(other, {**water, **light}))
    assert _flow_about.cache_info().misses == 1
    expected = first.added_mass * 1025.0 / first.water.density
    assert second.added_mass == pytest.approx(expected, rel=1e-9, abs=1e-15)


# --- the whole matrix --------------------------------------------------------------------------


def random_bait(rng: np.random.Generator) -> dict[str, object]:
    """A body with bill, fin and ballast of any plausible shape."""
    length = rng.uniform(40.0, 120.0)
    height, width = rng.uniform(0.15, 0.4) * length, rng.uniform(0.1, 0.3) * length
    taper = [0.15, 0.8, 1.0, 0.7, 0.1]
    keys = ("from_nose_mm", "upper_mm", "lower_mm", "half_width_mm")
    stations = [
        dict(
            zip(
                keys,
                (
                    length * i / 4,
                    0.5 * height * t * rng.uniform(0.6, 1.2),
                    0.5 * height * t * rng.uniform(0.6, 1.2),
                    0.5 * width * t,
                ),
                strict=True,
            )
        )
        for i, t in enumerate(taper)
    ]
    bill = flat_plate(
        0.3 * length,
        1.2 * width,
        from_nose_mm=0.1 * length,
        above_centreline_mm=-0.2 * height,
        angle_deg=rng.uniform(20.0, 95.0),
        outline=str(rng.choice(["square", "rounded", "tapered", "coffin"])),
        yaw_error_deg=rng.uniform(-10.0, 10.0),
        roll_error_deg=rng.uniform(-10.0, 10.0),
        right_mm=rng.uniform(-3.0, 3.0),
    )
    fin = flat_plate(
        0.15 * length,
        0.1 * length,
        from_nose_mm=length,
        angle_deg=rng.uniform(60.0, 175.0),
        cant_deg=rng.uniform(0.0, 90.0),
    )
    ballast = {
        "mass_g": 1.0,
        "from_nose_mm": 0.4 * length,
        "above_centreline_mm": -0.2 * height,
        "right_mm": rng.uniform(-1.0, 1.0),
    }
    body = {
        "length_mm": length,
        "station": stations,
        "density_g_cm3": 0.5,
        "exponent": rng.uniform(2.0, 8.0),
    }
    return {"body": body, "bill": bill, "plate": [fin], "ballast": [ballast]}


def test_random_baits_symmetric_and_never_negative():
    # Kinetic energy of the water: Lamb (1932), Art. 121: a symmetric form, never negative.
    rng = np.random.default_rng(20240611)
    for _ in range(40):
        added = sim.assemble(config(random_bait(rng))).added_mass
        scale = np.sqrt(np.outer(np.diag(added), np.diag(added)))
        scaled = added / np.where(scale > 0.0, scale, 1.0)
        assert np.abs(scaled - scaled.T).max() < 1e-10
        assert np.linalg.eigvalsh(scaled).min() > -1e-10
        assert np.diag(added).max() > 0.0


@pytest.mark.parametrize("bait", ["ellipsoid", "stations", "plate"])
def test_added_mass_does_not_hang_on_the_elements(bait):
    found = []
    for solver in (
        {"body_strips": 4, "plate_elements_along": 1, "plate_elements_across": 1},
        {"body_strips": 64, "plate_elements_along": 16, "plate_elements_across": 16},
    ):
        cfg = {
            "ellipsoid": lambda s: ellipsoid_config(3.0, 1.0, 1.4, solver=s),
            "stations": lambda s: stations_config(SPINDLE, s),
            "plate": lambda s: lone_plate(20.0, 15.0, solver=s),
        }[bait](solver)
        found.append(sim.assemble(cfg).added_mass)
    assert found[0] == pytest.approx(found[1], rel=1e-9, abs=1e-15)
    assert found[0].max() > 0.0
