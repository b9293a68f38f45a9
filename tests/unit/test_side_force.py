"""Size, place and spread of the linear side force, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sim
from sim.bait.side_force import side_force

L, W, H = 0.08, 0.014, 0.020
OFF = dict.fromkeys(
    (
        "weight", "buoyancy", "added_mass", "bill", "plates", "wake", "body_drag", "axial_drag",
        "hooks", "line",
    ),
    False,
)  # fmt: skip


def bait(body: dict, **coefficients: float) -> sim.Config:
    return sim.config_from_dict(
        {
            "bait": {"body": {"length_mm": L * 1e3, "density_g_cm3": 0.8, **body}},
            "loads": OFF,
            "water": {"surface": False},
            "coefficients": coefficients,
        }
    )


ELLIPSOID = {"form": "ellipsoid", "width_mm": W * 1e3, "height_mm": H * 1e3}
CLUB = {  # grows to a blunt tail, as thick as wide
    "station": [
        {"from_nose_mm": x, "upper_mm": r, "lower_mm": r, "half_width_mm": r}
        for x, r in ((0.0, 0.5), (20.0, 5.0), (60.0, 7.0), (80.0, 8.0))
    ]
}


def found(config: sim.Config, heave: bool = False):
    return side_force(sim.assemble(config).body, heave)


@pytest.mark.parametrize("heave", [False, True])
def test_ellipsoid_by_hand(heave):
    # a^2 goes with 1 - t^2, t from mid-length in half lengths: the fall 2 t has its centre at 2/3
    # and its mean square at 1/2, the body itself 0 and 1/5; C_B = pi/6
    across, along = (W, H) if heave else (H, W)
    k = 1.0 + 0.40 * math.pi / 6.0 * along / (0.5 * across)
    got = found(bait(ELLIPSOID), heave)
    assert got.factor == pytest.approx(k, rel=1e-4)
    assert got.tail_share == pytest.approx(1.0 / k, rel=1e-4)
    centre = 0.5 * 2.0 / 3.0 / k
    assert got.aft_of_mid == pytest.approx(centre, rel=1e-3)
    square = 0.25 * (0.5 + 0.2 * (k - 1.0)) / k - centre**2
    assert got.spread == pytest.approx(math.sqrt(square), rel=1e-3)


def test_both_planes_of_two_bodies_met_before_are_told_apart():
    turned = {**ELLIPSOID, "width_mm": H * 1e3, "height_mm": W * 1e3}
    first = [found(bait(body), heave) for body in (ELLIPSOID, turned) for heave in (False, True)]
    again = [found(bait(body), heave) for body in (ELLIPSOID, turned) for heave in (False, True)]
    assert first == again
    # width and height exchanged, the sideways force of the one is the lift of the other
    assert first[0].factor == pytest.approx(first[3].factor, rel=1e-12)
    assert first[1].factor == pytest.approx(first[2].factor, rel=1e-12)
    assert first[0].factor != pytest.approx(first[1].factor, rel=0.1)


def test_blunt_tail_loses_its_share_at_the_end():
    got = found(bait(CLUB))
    # nothing falls off ahead of the end, and the rest is spread over the body
    assert got.tail_share < 1.0
    own = (got.aft_of_mid + 0.5 - got.tail_share) / (1.0 - got.tail_share)
    assert 0.5 < own < 0.8  # centre of a^2 along the club


def test_coefficients_of_the_config_scale_and_move_it():
    plain = found(bait(ELLIPSOID))
    factor, shift = 0.7 / plain.factor, -0.05 - plain.aft_of_mid
    config = bait(ELLIPSOID, side_force_factor=factor, side_force_shift=shift)
    got = sim.captive(config, (1.0, 0.02, 0.0))
    density = sim.assemble(config).water.density
    assert got.force[1] == pytest.approx(-0.7 * density * math.pi * (0.5 * H) ** 2 * 0.02, rel=1e-5)
    assert got.moment[2] == pytest.approx(got.force[1] * 0.05 * L)
    lift = sim.captive(config, (1.0, 0.0, 0.02))
    other = found(bait(ELLIPSOID), heave=True)
    place = -(other.aft_of_mid + shift) * L
    assert lift.moment[1] == pytest.approx(-lift.force[2] * place)


@pytest.mark.parametrize("speed", [1.0, -1.0])
def test_turning_meets_every_place_with_its_own_velocity(speed):
    # the integral over the body of a load that is in proportion to the local side velocity
    config = bait(ELLIPSOID)
    side, density = found(config), sim.assemble(config).water.density
    slope = side.factor * density * math.pi * (0.5 * H) ** 2
    got = sim.captive(config, (speed, 0.0, 0.0), (0.0, 0.0, 0.3))
    x = -math.copysign(side.aft_of_mid, speed) * L  # downstream of mid-length
    mean_square = x**2 + (side.spread * L) ** 2
    assert got.force[1] == pytest.approx(-slope * x * 0.3, rel=1e-5)
    assert got.moment[2] == pytest.approx(-slope * mean_square * 0.3, rel=1e-5)


def test_power_is_taken_out_of_the_water_by_any_turning():
    # damping: whatever the turning rates, a body that is led straight ahead is slowed in turning
    config = bait(ELLIPSOID)
    rng = np.random.default_rng(5)
    for _ in range(20):
        v, w, q, r = rng.normal(size=4) * (0.1, 0.1, 5.0, 5.0)
        got = sim.captive(config, (1.0, v, w), (0.0, q, r))
        power = got.force[1] * v + got.force[2] * w + got.moment[1] * q + got.moment[2] * r
        assert power < 0.0
