"""Mass, inertia, displacement and added mass of random baits obey the laws of rigid bodies."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
import pytest
from random_baits import changed, generator, mass_matrix, random_bait, ready

from sim.bait.assembly import Assembly, assemble
from sim.bait.frame import as_measured, from_nose
from sim.config import config_from_dict

SEEDS = range(20)


def bait_of(data: dict[str, Any]) -> Assembly:
    return assemble(config_from_dict(data))


def hardware_mass(bait: Assembly) -> float:
    """Mass of everything that does not belong to the body [kg]."""
    return sum(p.mass for p in bait.parts if p.kind != "body")


def moved(data: dict[str, Any], aft_mm: float, up_mm: float, right_mm: float) -> dict[str, Any]:
    """Every part but the body moved."""
    copied = copy.deepcopy(data)
    bait = copied["bait"]
    for part in [bait["bill"], *bait["plate"], *bait["ballast"], *bait["hook"], bait["tie"]]:
        part["from_nose_mm"] += aft_mm
        part["above_centreline_mm"] += up_mm
        part["right_mm"] += right_mm
    return copied


# ------------------------------------------------------------------------------------------ matrix


@pytest.mark.parametrize("seed", SEEDS)
def test_mass_matrix_is_symmetric_and_positive_definite(seed: int) -> None:
    case = ready(random_bait(generator(16, seed)))
    mass = mass_matrix(case)
    assert np.abs(mass - mass.T).max() < 1e-14 * np.abs(mass).max()
    # lengths made dimensionless with the body's, so that blocks of unlike units compare
    scale = np.diag([1.0] * 3 + [1.0 / case.bait.body.length] * 3)
    assert np.linalg.eigvalsh(scale @ mass @ scale)[0] > 1e-4 * case.bait.mass
    assert np.linalg.eigvalsh(scale @ case.bait.added_mass @ scale)[0] > -1e-15
    identity = mass @ case.model.mass[1, :, :, 0]
    np.testing.assert_allclose(identity, np.eye(6), atol=1e-10)


@pytest.mark.parametrize("seed", SEEDS)
def test_inertia_obeys_the_triangle_inequality(seed: int) -> None:
    bait = bait_of(random_bait(generator(16, seed)))
    a, b, c = np.linalg.eigvalsh(bait.inertia)
    assert a > 0.0
    assert a + b > c * (1.0 - 1e-12)
    np.testing.assert_array_equal(bait.rigid_mass[3:, 3:], bait.inertia)
    np.testing.assert_array_equal(bait.rigid_mass[:3, :3], bait.mass * np.eye(3))


@pytest.mark.parametrize("seed", SEEDS)
def test_added_mass_is_largest_across_the_body(seed: int) -> None:
    # a body longer than high and higher than wide: surge < heave < sway; of the order of the
    # water displaced (Lamb 1932: 0 to 1 times it for slender bodies, more for flat ones)
    data = random_bait(generator(16, seed))
    data["bait"].pop("bill")
    data["bait"].pop("plate")
    bait = bait_of(data)
    surge, sway, heave = np.diag(bait.added_mass)[:3] / (bait.water.density * bait.body.volume)
    assert 0.0 < surge < heave < sway < 3.0
    assert surge < 0.2


# ------------------------------------------------------------------------------------------ weighed


@pytest.mark.parametrize("seed", SEEDS)
def test_weighed_total_is_reproduced_and_gives_the_density_back(seed: int) -> None:
    data = random_bait(generator(17, seed))
    given = bait_of(data)
    weighed = copy.deepcopy(data)
    weighed["bait"]["total_mass_g"] = given.mass * 1e3
    del weighed["bait"]["body"]["density_g_cm3"]
    bait = bait_of(weighed)
    assert bait.mass == pytest.approx(given.mass, rel=1e-12)
    assert bait.body_density == pytest.approx(data["bait"]["body"]["density_g_cm3"] * 1e3, rel=1e-9)
    np.testing.assert_allclose(bait.centre_of_gravity, given.centre_of_gravity, atol=1e-12)
    np.testing.assert_allclose(bait.inertia, given.inertia, rtol=1e-9, atol=1e-18)


@pytest.mark.parametrize("seed", SEEDS)
def test_heavier_total_goes_into_the_body_alone(seed: int) -> None:
    data = random_bait(generator(17, seed))
    base = bait_of(data)
    data["bait"]["total_mass_g"] = base.mass * 1e3 + 1.0
    bait = bait_of(data)
    assert bait.mass == pytest.approx(base.mass + 1e-3, rel=1e-12)
    assert hardware_mass(bait) == pytest.approx(hardware_mass(base), rel=1e-12)
    assert bait.body_density > base.body_density
    assert bait.volume == pytest.approx(base.volume, rel=1e-12)
    assert bait.reserve_buoyancy == pytest.approx(base.reserve_buoyancy - 1e-3, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_parts_add_up(seed: int) -> None:
    bait = bait_of(random_bait(generator(17, seed)))
    parts = bait.parts
    mass = np.array([p.mass for p in parts])
    at = np.array([p.position for p in parts])
    volume = np.array([p.volume for p in parts])
    buoyant = np.array([p.buoyant_at for p in parts])
    assert bait.mass == pytest.approx(mass.sum(), rel=1e-14)
    np.testing.assert_allclose(bait.centre_of_gravity, mass @ at / mass.sum(), atol=1e-15)
    np.testing.assert_allclose(bait.centre_of_buoyancy, volume @ buoyant / volume.sum(), atol=1e-15)
    np.testing.assert_allclose(
        bait.r_b_cb, bait.centre_of_buoyancy - bait.centre_of_gravity, atol=1e-15
    )
    assert bait.volume == pytest.approx(volume.sum(), rel=1e-14)
    # parallel axes, about the nose tip and back: the same inertia by another way
    about_nose = sum(
        p.inertia + p.mass * (r @ r * np.eye(3) - np.outer(r, r))
        for p, r in zip(parts, at, strict=True)
    )
    g = bait.centre_of_gravity
    back = about_nose - bait.mass * (g @ g * np.eye(3) - np.outer(g, g))
    np.testing.assert_allclose(bait.inertia, back, rtol=0.0, atol=1e-12 * np.trace(about_nose))


# ---------------------------------------------------------------------------------- shell and solid


def hollow(data: dict[str, Any], wall_mm: float, filling: float) -> dict[str, Any]:
    copied = copy.deepcopy(data)
    copied["bait"]["body"] |= {"wall_mm": wall_mm, "filling_density_g_cm3": filling}
    return copied


def solid(seed: int) -> dict[str, Any]:
    data = random_bait(generator(18, seed))
    data["bait"]["body"].pop("wall_mm", None)
    data["bait"]["body"]["density_g_cm3"] = 0.6
    return data


@pytest.mark.parametrize("seed", SEEDS)
def test_shell_filled_with_its_own_material_is_the_solid(seed: int) -> None:
    data = solid(seed)
    whole, filled = bait_of(data), bait_of(hollow(data, 1.5, 0.6))
    assert filled.mass == pytest.approx(whole.mass, rel=1e-10)
    np.testing.assert_allclose(filled.centre_of_gravity, whole.centre_of_gravity, atol=1e-11)
    np.testing.assert_allclose(
        filled.inertia, whole.inertia, rtol=0.0, atol=1e-9 * np.trace(whole.inertia)
    )
    assert filled.volume == pytest.approx(whole.volume, rel=1e-12)
    np.testing.assert_allclose(filled.centre_of_buoyancy, whole.centre_of_buoyancy, atol=1e-12)
    np.testing.assert_allclose(filled.added_mass, whole.added_mass, rtol=1e-6, atol=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_thicker_walls_are_heavier_up_to_the_solid(seed: int) -> None:
    data = solid(seed)
    # without weights inside, which push air out of a shell and wood out of a solid
    data["bait"]["ballast"] = [w for w in data["bait"]["ballast"] if not w.get("inside", True)]
    masses = [bait_of(hollow(data, wall, 0.0)).mass for wall in (0.5, 1.0, 2.0, 3.0)]
    masses.append(bait_of(data).mass)
    assert (np.diff(masses) > 0.0).all()


@pytest.mark.parametrize(("slenderness", "tolerance"), [(0.2, 0.02), (0.3, 0.04), (0.45, 0.08)])
def test_thin_wall_weighs_its_surface_times_its_thickness(
    slenderness: float, tolerance: float
) -> None:
    # The wall is measured across the axis, not along the normal of the surface: too thin where the
    # outline slopes, so a shell is too light, by more the rounder it is (a sphere by a fifth).
    length, height, wall = 60.0, 60.0 * slenderness, 0.2
    body = {"form": "ellipsoid", "length_mm": length, "height_mm": height, "width_mm": height}
    bait = bait_of({"bait": {"body": body | {"density_g_cm3": 1.0, "wall_mm": wall}}})
    a, c = 0.5 * length, 0.5 * height
    e = np.sqrt(1.0 - (c / a) ** 2)
    surface = 2.0 * np.pi * c * c * (1.0 + a / (c * e) * np.arcsin(e))  # prolate spheroid [mm2]
    # Steiner's formula for a body moved inward, V - S t + H t^2 - ..., H its mean curvature
    curvature = np.pi * a * (2.0 + c * c / (a * a * e) * np.log((1.0 + e) / (1.0 - e)))
    grams = 1e-3 * (surface * wall - curvature * wall**2)
    assert grams * (1.0 - tolerance) < bait.mass * 1e3 < grams * (1.0 + 1e-3)


# ------------------------------------------------------------------------------------------ frames


@pytest.mark.parametrize("seed", SEEDS)
def test_measured_positions_become_the_bait_frame_and_back(seed: int) -> None:
    aft, up, right = generator(19, seed).uniform(-50.0, 50.0, 3)
    at = from_nose(aft, up, right)
    np.testing.assert_allclose(at, np.array([-aft, right, -up]) * 1e-3, rtol=1e-15)
    np.testing.assert_allclose(as_measured(at), (aft, up, right), rtol=1e-14)


@pytest.mark.parametrize("seed", range(6))
def test_moving_all_hardware_moves_it_by_that_in_the_bait_frame(seed: int) -> None:
    data = random_bait(generator(19, seed))
    for weight in data["bait"]["ballast"]:
        weight["inside"] = False
    before, after = bait_of(data), bait_of(moved(data, 4.0, -3.0, 2.0))
    step = np.array([-4.0, 2.0, 3.0]) * 1e-3
    for a, b in zip(before.parts, after.parts, strict=True):
        expected = np.zeros(3) if a.kind == "body" else step
        np.testing.assert_allclose(b.position - a.position, expected, atol=1e-14, err_msg=a.name)
    shift = hardware_mass(before) / before.mass * step
    np.testing.assert_allclose(
        after.centre_of_gravity - before.centre_of_gravity, shift, atol=1e-13
    )
    # the tie point is given from the centre of gravity, which moved as well
    np.testing.assert_allclose(after.r_b_tie - before.r_b_tie, step - shift, atol=1e-13)


@pytest.mark.parametrize("seed", range(6))
def test_units_of_density_and_temperature_reach_the_water(seed: int) -> None:
    data = random_bait(generator(19, seed))
    water = {"density_kg_m3": 1025.0, "viscosity_m2_s": 1.2e-6}
    salt, fresh = bait_of(changed(data, water=water)), bait_of(data)
    assert salt.water.density == 1025.0
    ratio = 1025.0 / fresh.water.density
    np.testing.assert_allclose(salt.added_mass, fresh.added_mass * ratio, rtol=1e-9, atol=1e-15)
    assert salt.mass == fresh.mass
