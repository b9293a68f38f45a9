"""The bait from its parts: outlines, axes, volumes, masses, tie path; against closed forms."""

from __future__ import annotations

import copy
import dataclasses
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from scipy.special import gamma

import sim.model
from sim.bait import frame, plates, sections, side_force
from sim.bait import tie_path as tie_path_module
from sim.bait.assembly import Assembly, assemble
from sim.bait.cached import Keyed
from sim.bait.frame import as_measured, cross, cross_matrix, from_nose, squared_lengths, total
from sim.bait.plates import broadside_coefficient, helmbold_slope, plate_axes, plate_properties
from sim.bait.sections import FORM_KEYS, SuperEllipse, body_properties, outline_at
from sim.bait.tie_path import TOP_SHARE, tie_path
from sim.config import Config, config_from_dict, with_overrides
from sim.config.models import Bill, Body
from sim.errors import ConfigError, RunError
from sim.model import body_side_force, build_model

RHO = 1000.0
WATER = {"density_kg_m3": 1000.0, "viscosity_m2_s": 1.0e-6}
ELLIPSOID = {"form": "ellipsoid", "length_mm": 60.0, "height_mm": 20.0, "width_mm": 12.0}
ELLIPSOID_CM3 = 4.0 / 3.0 * math.pi * 3.0 * 1.0 * 0.6


def bill(**changes: Any) -> Bill:
    values = {"from_nose_mm": 5.0, "above_centreline_mm": -6.0, "length_mm": 20.0, "width_mm": 16.0,
              "angle_deg": 60.0, "outline": "square"}  # fmt: skip
    return Bill(**{**values, **changes})


def plate(cant_deg: float = 0.0, **changes: Any):
    return plate_properties(bill(**changes), "bill", cant_deg, 4, 6, RHO)


def body(**values: Any) -> Body:
    return Body(**{"density_g_cm3": 0.5, **values})


def stations(*rows: tuple[float, float, float, float]) -> list[dict[str, float]]:
    keys = ("from_nose_mm", "upper_mm", "lower_mm", "half_width_mm")
    return [dict(zip(keys, row, strict=True)) for row in rows]


def prism(length: float, up: float, low: float, half: float, **values: Any) -> dict[str, Any]:
    """A body of constant section."""
    rows = stations(*[(x * length, up, low, half) for x in (0.0, 0.5, 1.0)])
    return {"length_mm": length, "station": rows, "density_g_cm3": 1.0, **values}


def assembled(**bait: Any) -> Assembly:
    return assemble(config_from_dict({"bait": bait, "water": WATER}))


# ------------------------------------------------------------------------------------------- frame


def test_from_nose_turns_aft_up_right_into_forward_starboard_down() -> None:
    np.testing.assert_allclose(from_nose(30.0, 5.0, 2.0), [-0.030, 0.002, -0.005], rtol=1e-15)
    assert as_measured(np.array([-0.030, 0.002, -0.005])) == pytest.approx((30.0, 5.0, 2.0))


def test_cross_matrix_is_the_cross_product() -> None:
    r, v = np.array([1.0, -2.0, 3.0]), np.array([0.4, 0.5, -0.6])
    np.testing.assert_allclose(cross_matrix(r) @ v, np.cross(r, v), rtol=1e-15)


@pytest.mark.parametrize("count", [1, 3, 9, 40])
def test_sums_and_products_of_many_vectors_are_those_of_single_ones_to_the_last_bit(
    count: int,
) -> None:
    a, b = np.random.default_rng(count).normal(size=(2, count, 3))
    one_by_one = np.zeros(3)
    for row in a:
        one_by_one = one_by_one + row
    assert total(a).tobytes() == one_by_one.tobytes()
    assert squared_lengths(a).tobytes() == np.array([row @ row for row in a]).tobytes()
    assert cross(a, b).tobytes() == np.cross(a, b).tobytes()
    assert cross(a[0], b[0]).tobytes() == np.cross(a[0], b[0]).tobytes()
    assert cross(a[0], b).tobytes() == np.cross(a[0], b).tobytes()


# ------------------------------------------------------------------------------------------ plates


@pytest.mark.parametrize(
    ("changes", "area_mm2", "centroid_mm"),
    [
        ({"outline": "square"}, 20.0 * 16.0, 10.0),
        # rectangle 10 x 16 and half an ellipse with half axes 10 and 8, centroid at 4 a / (3 pi)
        (
            {"outline": "rounded"},
            160.0 + 0.5 * math.pi * 80.0,
            (160.0 * 5.0 + 40.0 * math.pi * (10.0 + 40.0 / (3.0 * math.pi)))
            / (160.0 + 40.0 * math.pi),
        ),
        # trapezium: mean width times length; centroid L/3 (a + 2 b) / (a + b)
        ({"outline": "tapered", "taper": 0.5}, 20.0 * 12.0, 20.0 / 3.0 * (1 + 1.0) / 1.5),
        ({"outline": "tapered", "taper": 1.6}, 20.0 * 13.0, 20.0 / 3.0 * (1 + 3.2) / 2.6),
        # two trapezia, 8 mm and 12 mm long, from 0.5 to 1 and back
        (
            {"outline": "coffin", "taper": 0.5},
            20.0 * 12.0,
            (96.0 * 8.0 / 3.0 * 2.5 / 1.5 + 144.0 * (8.0 + 4.0 * 2.0 / 1.5)) / 240.0,
        ),
        (
            {"outline": "polygon", "outline_mm": ((0.0, 0.0), (20.0, -8.0), (20.0, 8.0))},
            160.0,
            40.0 / 3.0,
        ),
    ],
)
def test_area_and_centroid_of_the_outline(
    changes: dict[str, Any], area_mm2: float, centroid_mm: float
) -> None:
    found = plate(angle_deg=0.0, **changes)
    # the half ellipse is drawn with 23 chords, which cut off 0.1 %
    tolerance = 1e-3 if changes["outline"] == "rounded" else 1e-12
    assert found.area * 1e6 == pytest.approx(area_mm2, rel=tolerance)
    aft, up, right = as_measured(found.centroid)
    assert 5.0 - aft == pytest.approx(centroid_mm, rel=tolerance)
    assert (up, right) == pytest.approx((-6.0, 0.0), abs=1e-9)
    assert found.mean_width * found.length == pytest.approx(found.area)
    assert found.volume == pytest.approx(found.area * 1e-3)
    assert found.mass == pytest.approx(1.20 * found.volume * 1e3)


@pytest.mark.parametrize("outline", ["square", "rounded", "tapered", "coffin"])
@pytest.mark.parametrize("along", [1, 3, 4, 16])
def test_elements_share_out_the_plate_about_its_centroid(outline: str, along: int) -> None:
    found = plate_properties(bill(outline=outline), "bill", 0.0, along, 6, RHO)
    x1, x2, share = found.elements.T
    assert share.sum() == pytest.approx(1.0, rel=1e-12)
    assert (share > 0.0).all()
    assert abs(share @ x1) < 1e-12 and abs(share @ x2) < 1e-12
    assert np.abs(x2).max() < 8e-3
    assert found.elements.shape == (6 * along, 3)


def test_inertia_of_a_square_plate_is_that_of_a_slab() -> None:
    found = plate(angle_deg=0.0, thickness_mm=2.0)
    l, b, t = 20e-3, 16e-3, 2e-3  # noqa: E741
    expected = found.mass / 12.0 * np.diag([b * b + t * t, l * l + t * t, l * l + b * b])
    np.testing.assert_allclose(found.inertia, expected, rtol=1e-9, atol=1e-18)


@pytest.mark.parametrize(
    ("angle", "cant", "e1", "e2", "normal"),
    [
        (0.0, 0.0, (1, 0, 0), (0, 1, 0), (0, 0, 1)),
        (90.0, 0.0, (0, 0, 1), (0, 1, 0), (-1, 0, 0)),
        (180.0, 0.0, (-1, 0, 0), (0, 1, 0), (0, 0, -1)),
        (-90.0, 0.0, (0, 0, -1), (0, 1, 0), (1, 0, 0)),
        (0.0, 90.0, (1, 0, 0), (0, 0, 1), (0, -1, 0)),
        (90.0, 90.0, (0, 0, 1), (-1, 0, 0), (0, -1, 0)),
        (180.0, -90.0, (-1, 0, 0), (0, 0, 1), (0, 1, 0)),
    ],
)
def test_axes_of_a_plate(angle: float, cant: float, e1, e2, normal) -> None:
    found = plate_axes(bill(angle_deg=angle), cant)
    np.testing.assert_allclose(found, [e1, e2, normal], atol=1e-15)


@pytest.mark.parametrize("angle", [0.0, 37.0, 90.0, 180.0])
@pytest.mark.parametrize("cant", [0.0, 45.0, 90.0, -30.0])
def test_axes_stay_a_right_handed_frame_with_mounting_errors(angle: float, cant: float) -> None:
    found = plate_axes(bill(angle_deg=angle, yaw_error_deg=5.0, roll_error_deg=-4.0), cant)
    np.testing.assert_allclose(found @ found.T, np.eye(3), atol=1e-14)
    assert np.linalg.det(found) == pytest.approx(1.0)


def test_mounting_errors_turn_the_bill_the_way_they_say() -> None:
    ahead = plate_axes(bill(angle_deg=0.0, yaw_error_deg=10.0), 0.0)
    assert ahead[0] == pytest.approx(
        [math.cos(math.radians(10)), math.sin(math.radians(10)), 0.0]
    )  # nose to starboard
    rolled = plate_axes(bill(angle_deg=0.0, roll_error_deg=10.0), 0.0)
    assert rolled[1][2] == pytest.approx(math.sin(math.radians(10)))  # starboard edge down
    hanging = plate_axes(bill(angle_deg=90.0, roll_error_deg=10.0), 0.0)
    assert hanging[0][1] == pytest.approx(-math.sin(math.radians(10)))  # its tip to port


def test_slopes_and_broadside_of_a_square_plate() -> None:
    # Helmbold at aspect ratio 1: 2 pi / (2 + sqrt 5) = 1.483; limits 2 pi (wide), pi/2 AR (narrow)
    found = plate(length_mm=16.0)
    assert found.slopes == pytest.approx((1.48326, 1.48326), rel=1e-4)
    assert helmbold_slope(1e6) == pytest.approx(2.0 * math.pi, rel=1e-5)
    assert helmbold_slope(1e-3) == pytest.approx(0.5 * math.pi * 1e-3, rel=1e-3)
    wide = plate(length_mm=8.0)  # 8 along the stream, 16 across: aspect ratio 2, and 1/2 sideways
    assert wide.slopes == pytest.approx((helmbold_slope(2.0), helmbold_slope(0.5)))
    assert found.broadside == pytest.approx(1.17, abs=0.005)
    assert broadside_coefficient(0.2) == broadside_coefficient(5.0)
    assert broadside_coefficient(1e9) == pytest.approx(1.98)


@pytest.mark.parametrize(("angle", "cant"), [(0.0, 0.0), (57.0, 0.0), (90.0, 90.0)])
def test_added_mass_of_a_plate_acts_along_its_normal_only(angle: float, cant: float) -> None:
    found = plate(cant, angle_deg=angle)
    force = found.added_mass[:3, :3]
    n = found.axes[2]
    np.testing.assert_allclose(force, found.fluid_mass * np.outer(n, n), atol=1e-15)
    assert np.linalg.eigvalsh(found.added_mass)[0] > -1e-15


# ------------------------------------------------------------------------------------------ bodies


def test_volume_and_inertia_of_an_ellipsoid() -> None:
    found = body_properties(body(**ELLIPSOID), 8, RHO)
    assert found.volume * 1e6 == pytest.approx(ELLIPSOID_CM3, rel=1e-12)
    np.testing.assert_allclose(found.centroid, [-0.030, 0.0, 0.0], atol=1e-9)
    a, b, c = 0.030, 0.006, 0.010  # forward, to the side, down
    expected = found.volume / 5.0 * np.diag([b * b + c * c, a * a + c * c, a * a + b * b])
    np.testing.assert_allclose(found.solid_inertia, expected, rtol=1e-9, atol=1e-20)
    assert found.frontal_area == pytest.approx(math.pi * b * c, rel=1e-3)
    assert (found.half_height, found.half_width) == pytest.approx((c, b), rel=1e-4)


@pytest.mark.parametrize("exponent", [2.0, 2.5, 4.0, 10.0, 20.0])
def test_volume_of_a_prism_with_superelliptic_section(exponent: float) -> None:
    # area of |y/a|^n + |z/b|^n = 1: 4 a b Gamma(1 + 1/n)^2 / Gamma(1 + 2/n) (standard)
    found = body_properties(body(**prism(50.0, 8.0, 8.0, 5.0, exponent=exponent)), 8, RHO)
    n = exponent
    area = 4.0 * 8.0 * 5.0 * gamma(1.0 + 1.0 / n) ** 2 / gamma(1.0 + 2.0 / n)
    assert found.volume * 1e9 == pytest.approx(50.0 * area, rel=1e-9)
    assert SuperEllipse(n).fullness == pytest.approx(area / 160.0, rel=1e-9)


def test_shape_numbers_of_the_ellipse_and_the_box() -> None:
    ellipse, box = SuperEllipse(2.0), SuperEllipse(2000.0)
    assert ellipse.fullness == pytest.approx(math.pi / 4.0)
    assert ellipse.centroid == pytest.approx(4.0 / (3.0 * math.pi))
    assert ellipse.second == pytest.approx(0.25)
    assert (box.fullness, box.centroid, box.second) == pytest.approx((1.0, 0.5, 1 / 3), rel=2e-3)


def test_shape_numbers_by_summing_up_a_section() -> None:
    n = 3.7
    z = (np.arange(200_000) + 0.5) / 200_000
    width = (1.0 - z**n) ** (1.0 / n)
    shape = SuperEllipse(n)
    assert shape.fullness == pytest.approx(width.mean(), rel=1e-6)
    assert shape.centroid == pytest.approx((z * width).sum() / width.sum(), rel=1e-6)
    assert shape.second == pytest.approx((z * z * width).sum() / width.sum(), rel=1e-6)


def test_inertia_of_an_elliptic_cylinder() -> None:
    found = body_properties(body(**prism(50.0, 8.0, 8.0, 5.0)), 8, RHO)
    v, l, a, b = found.volume, 50e-3, 5e-3, 8e-3  # noqa: E741
    assert v == pytest.approx(math.pi * a * b * l, rel=1e-9)
    expected = v * np.diag(
        [(a * a + b * b) / 4.0, b * b / 4.0 + l * l / 12.0, a * a / 4.0 + l * l / 12.0]
    )
    np.testing.assert_allclose(found.solid_inertia, expected, rtol=1e-9, atol=1e-20)


def test_inertia_of_half_an_elliptic_cylinder() -> None:
    # a flat-bottomed body: second moments about the centroid 4 b / (3 pi) above the flat side
    found = body_properties(body(**prism(50.0, 8.0, 0.0, 5.0)), 8, RHO)
    v, l, a, b = found.volume, 50e-3, 5e-3, 8e-3  # noqa: E741
    yy, zz = a * a / 4.0, b * b / 4.0 - (4.0 * b / (3.0 * math.pi)) ** 2
    expected = v * np.diag([yy + zz, zz + l * l / 12.0, yy + l * l / 12.0])
    np.testing.assert_allclose(found.solid_inertia, expected, rtol=1e-9, atol=1e-20)
    np.testing.assert_allclose(found.strips.reach[:, 2], 2.0 * math.sqrt(zz), rtol=1e-9)


def test_volume_and_centroid_of_a_cone() -> None:
    # straight between stations because three in line make a straight interpolation
    rows = stations((0.0, 0.0, 0.0, 0.0), (20.0, 4.0, 4.0, 4.0), (40.0, 8.0, 8.0, 8.0))
    found = body_properties(body(length_mm=40.0, station=rows), 8, RHO)
    assert found.volume * 1e9 == pytest.approx(math.pi * 64.0 * 40.0 / 3.0, rel=1e-5)
    assert found.centroid[0] == pytest.approx(-0.030, rel=1e-5)


def test_flat_bottomed_body_has_its_centroid_at_that_of_the_half_section() -> None:
    found = body_properties(body(**prism(50.0, 8.0, 0.0, 5.0)), 8, RHO)
    assert found.volume == pytest.approx(0.5 * math.pi * 5e-3 * 8e-3 * 50e-3, rel=1e-9)
    assert found.centroid[2] == pytest.approx(-4.0 * 8e-3 / (3.0 * math.pi), rel=1e-9)


@pytest.mark.parametrize("strips", [4, 8, 16])
def test_strips_add_up_to_the_body(strips: int) -> None:
    rows = stations((0.0, 2.0, 1.0, 1.0), (15.0, 8.0, 9.0, 6.0), (40.0, 7.0, 6.0, 5.0),
                    (60.0, 1.0, 1.0, 1.0))  # fmt: skip
    found = body_properties(body(length_mm=60.0, station=rows), strips, RHO)
    table = found.strips
    assert table.x.shape == (strips,)
    assert table.volume.sum() == pytest.approx(found.volume, rel=1e-12)
    assert table.volume @ table.x == pytest.approx(found.volume * found.centroid[0], rel=1e-12)
    assert table.volume @ table.z == pytest.approx(found.volume * found.centroid[2], rel=1e-9)
    fine = outline_at(body(length_mm=60.0, station=rows), np.linspace(0.0, 0.06, 20001))
    side = np.trapezoid(fine.upper + fine.lower, fine.aft)
    plan = np.trapezoid(2.0 * fine.half_width, fine.aft)
    tolerance = {4: 0.05, 8: 0.01, 16: 0.003}[strips]
    assert table.side_area.sum() == pytest.approx(side, rel=tolerance)
    assert table.plan_area.sum() == pytest.approx(plan, rel=tolerance)


def test_outline_passes_its_stations_and_never_overshoots() -> None:
    rows = stations((0.0, 2.0, 1.0, 1.0), (15.0, 8.0, 9.0, 6.0), (40.0, 7.0, 6.0, 5.0),
                    (60.0, 1.0, 1.0, 1.0))  # fmt: skip
    shape = body(length_mm=60.0, station=rows)
    at = outline_at(shape, np.array([0.0, 15.0, 40.0, 60.0]) * 1e-3)
    np.testing.assert_allclose(at.upper * 1e3, [2.0, 8.0, 7.0, 1.0], rtol=1e-12)
    np.testing.assert_allclose(at.lower * 1e3, [1.0, 9.0, 6.0, 1.0], rtol=1e-12)
    np.testing.assert_allclose(at.half_width * 1e3, [1.0, 6.0, 5.0, 1.0], rtol=1e-12)
    fine = outline_at(shape, np.linspace(0.0, 0.06, 601))
    assert fine.upper.max() == pytest.approx(8e-3) and fine.upper.min() >= 1e-3


@pytest.mark.parametrize("wall", [1.0, 2.5])
def test_hollow_elliptic_cylinder(wall: float) -> None:
    found = body_properties(body(**prism(50.0, 8.0, 8.0, 5.0, wall_mm=wall)), 8, RHO)
    inside = math.pi * (8.0 - wall) * (5.0 - wall) * (50.0 - 2.0 * wall)
    # the ends of the inside are cut to whole slices of 50 / 960 mm
    assert found.filling_volume * 1e9 == pytest.approx(inside, rel=3e-3)
    assert found.solid_volume == pytest.approx(found.volume - found.filling_volume, rel=1e-12)


def test_wall_of_a_body_does_not_depend_on_where_its_centreline_is() -> None:
    # nearly a box, so that moving the centreline changes nothing but the names of the heights
    middle, back = (
        body_properties(body(**prism(50.0, up, 16.0 - up, 7.0, exponent=20.0, wall_mm=1.5)), 8, RHO)
        for up in (8.0, 0.0)
    )
    assert middle.volume == pytest.approx(back.volume, rel=1e-9)
    assert back.filling_volume == pytest.approx(middle.filling_volume, rel=0.01)


# ---------------------------------------------------------------------------------------- assembly


def weight(mass_g: float, aft: float, up: float, **values: Any) -> dict[str, Any]:
    return {"mass_g": mass_g, "from_nose_mm": aft, "above_centreline_mm": up, **values}


def test_lone_ellipsoid() -> None:
    bait = assembled(body={**ELLIPSOID, "density_g_cm3": 0.5})
    assert bait.mass * 1e3 == pytest.approx(0.5 * ELLIPSOID_CM3, rel=1e-12)
    assert bait.volume * 1e6 == pytest.approx(ELLIPSOID_CM3, rel=1e-12)
    assert bait.reserve_buoyancy == pytest.approx(bait.mass, rel=1e-12)
    np.testing.assert_allclose(bait.centre_of_gravity, [-0.030, 0.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(bait.r_b_cb, 0.0, atol=1e-12)
    assert bait.r_b_tie is None and bait.bill is None and bait.plates == ()


def test_weights_outside_by_hand() -> None:
    # 3.770 g of body at (30, 0), 2 g at (20, -12) and 1 g at (50, -11) with 3 mm to starboard
    bait = assembled(
        body={**ELLIPSOID, "density_g_cm3": 0.5},
        ballast=[
            weight(2.0, 20.0, -12.0, inside=False),
            weight(1.0, 50.0, -11.0, inside=False, right_mm=3.0, density_g_cm3=7.85),
        ],
    )
    body_g = 0.5 * ELLIPSOID_CM3
    total = body_g + 3.0
    aft, up, right = as_measured(bait.centre_of_gravity)
    assert bait.mass * 1e3 == pytest.approx(total, rel=1e-12)
    assert aft == pytest.approx((30.0 * body_g + 40.0 + 50.0) / total, rel=1e-9)
    assert up == pytest.approx((-24.0 - 11.0) / total, rel=1e-9)
    assert right == pytest.approx(3.0 / total, rel=1e-9)
    assert bait.volume * 1e6 == pytest.approx(ELLIPSOID_CM3 + 2.0 / 11.34 + 1.0 / 7.85, rel=1e-12)
    cb = as_measured(bait.centre_of_buoyancy)
    assert cb[0] == pytest.approx(
        (30.0 * ELLIPSOID_CM3 + 20.0 * 2.0 / 11.34 + 50.0 / 7.85)
        / (ELLIPSOID_CM3 + 2.0 / 11.34 + 1.0 / 7.85),
        rel=1e-9,
    )


def test_weight_inside_takes_the_place_of_wood_and_displaces_nothing() -> None:
    bait = assembled(body={**ELLIPSOID, "density_g_cm3": 0.5}, ballast=[weight(2.0, 20.0, -5.0)])
    hole_g = 0.5 * 2.0 / 11.34
    total = 0.5 * ELLIPSOID_CM3 - hole_g + 2.0
    assert bait.mass * 1e3 == pytest.approx(total, rel=1e-12)
    assert bait.volume * 1e6 == pytest.approx(ELLIPSOID_CM3, rel=1e-12)
    aft, up, _ = as_measured(bait.centre_of_gravity)
    assert up == pytest.approx(-5.0 * (2.0 - hole_g) / total, rel=1e-9)
    assert aft == pytest.approx(30.0 - 10.0 * (2.0 - hole_g) / total, rel=1e-9)
    names = [p.name for p in bait.parts]
    assert names == ["body", "hole for ballast", "ballast"]


def test_weight_inside_a_shell_pushes_air_or_filling_out() -> None:
    shell = {**ELLIPSOID, "density_g_cm3": 1.05, "wall_mm": 1.0}
    air = assembled(body=shell, ballast=[weight(2.0, 20.0, -3.0)])
    bare = assembled(body=shell)
    assert air.mass == pytest.approx(bare.mass + 2e-3, rel=1e-12)
    foam = {**shell, "filling_density_g_cm3": 0.1}
    foamed = assembled(body=foam, ballast=[weight(2.0, 20.0, -3.0)])
    assert foamed.mass == pytest.approx(
        assembled(body=foam).mass + 2e-3 * (1.0 - 0.1 / 11.34), rel=1e-12
    )
    # both displace the whole shell, at its centre
    for bait in (air, bare, foamed):
        assert bait.volume * 1e6 == pytest.approx(ELLIPSOID_CM3, rel=1e-12)
        np.testing.assert_allclose(bait.centre_of_buoyancy, [-0.030, 0.0, 0.0], atol=1e-9)


def test_hook_hangs_below_its_hanger_and_displaces_its_steel() -> None:
    hook = {"mass_g": 0.785, "from_nose_mm": 30.0, "above_centreline_mm": -10.0, "hang_mm": 9.0}
    bait = assembled(body={**ELLIPSOID, "density_g_cm3": 0.5}, hook=[hook])
    part = bait.parts[-1]
    assert as_measured(part.position) == pytest.approx((30.0, -19.0, 0.0))
    assert part.volume * 1e6 == pytest.approx(0.1)
    body_g = 0.5 * ELLIPSOID_CM3
    assert as_measured(bait.centre_of_gravity)[1] == pytest.approx(
        -19.0 * 0.785 / (body_g + 0.785), rel=1e-9
    )


def test_two_small_weights_make_a_dumbbell() -> None:
    # 10 g each 100 mm apart along the bait: 2 m (l/2)^2 across, and their own spheres
    ends = [weight(10.0, aft, 0.0, inside=False) for aft in (0.0, 100.0)]
    bait = assembled(ballast=ends)
    radius2 = (0.75 * (0.010 / 11340.0) / math.pi) ** (2.0 / 3.0)
    own = 2.0 * 0.4 * 0.010 * radius2
    expected = np.diag([own, own + 0.020 * 0.05**2, own + 0.020 * 0.05**2])
    np.testing.assert_allclose(bait.inertia, expected, rtol=1e-12, atol=1e-20)
    np.testing.assert_allclose(bait.centre_of_gravity, [-0.05, 0.0, 0.0], atol=1e-15)


def test_tie_point_is_counted_from_the_centre_of_gravity() -> None:
    tie = {"from_nose_mm": 2.0, "above_centreline_mm": -3.0, "right_mm": 1.0}
    bait = assembled(body={**ELLIPSOID, "density_g_cm3": 0.5}, tie=tie)
    np.testing.assert_allclose(bait.r_b_tie, [0.028, 0.001, 0.003], atol=1e-12)


def test_added_mass_of_a_lone_ellipsoid_is_diagonal_about_its_centre() -> None:
    added = assembled(body={**ELLIPSOID, "density_g_cm3": 0.5}).added_mass
    off = added - np.diag(np.diag(added))
    assert np.abs(off).max() < 1e-9 * added.max()


def test_weighed_total_gives_the_density_by_hand() -> None:
    bait = assembled(total_mass_g=8.0, body=dict(ELLIPSOID), ballast=[weight(2.0, 20.0, -5.0)])
    assert bait.mass * 1e3 == pytest.approx(8.0, rel=1e-12)
    assert bait.body_density == pytest.approx(6.0 / (ELLIPSOID_CM3 - 2.0 / 11.34) * 1e3, rel=1e-9)


# ---- errors


def problem(**bait: Any) -> str:
    with pytest.raises(ConfigError) as error:
        assembled(**bait)
    assert len(error.value.problems) == 1
    return str(error.value)


def test_error_of_ballast_larger_than_the_body() -> None:
    text = problem(body={**ELLIPSOID, "density_g_cm3": 0.5}, ballast=[weight(100.0, 30.0, 0.0)])
    assert text == (
        "<dict>: bait.ballast: the pieces inside the body take 8818 mm3, the body has room for"
        " 7540 mm3. Use fewer or denser pieces, or set inside = false."
    )


def test_error_of_ballast_larger_than_the_inside_of_a_shell() -> None:
    text = problem(
        body={**ELLIPSOID, "density_g_cm3": 1.0, "wall_mm": 3.0},
        ballast=[weight(40.0, 30.0, 0.0)],
    )
    assert text.startswith(
        "<dict>: bait.ballast: the pieces inside the body take 3527 mm3, the body has room for "
    )


def test_ballast_that_just_fits() -> None:
    fits = ELLIPSOID_CM3 * 11.34 - 0.01
    bait = assembled(body={**ELLIPSOID, "density_g_cm3": 0.5}, ballast=[weight(fits, 30.0, 0.0)])
    assert bait.mass * 1e3 == pytest.approx(fits, rel=1e-3)


def test_error_of_a_weighed_total_below_the_hardware() -> None:
    text = problem(total_mass_g=2.5, body=dict(ELLIPSOID), ballast=[weight(2.6, 30.0, 0.0)])
    assert text == (
        "<dict>: bait.total_mass_g = 2.5: must be > 2.600 g, the mass of bill, ballast and hooks"
        " alone. Weigh the rigged bait again or correct the hardware."
    )


def test_error_of_a_single_point_mass() -> None:
    # so light that its size is lost to rounding
    text = problem(hook=[weight(1e-200, 0.0, 0.0)])
    assert text == (
        "<dict>: bait: the moment of inertia about one axis is 0 kg m2: must be > 0. A single point"
        " mass cannot turn: add a body or a plate, or give the piece a lower density so that it has"
        " some size."
    )


def test_error_of_inertia_taken_away_by_a_piece_outside_the_body() -> None:
    # cork said to sit inside a leaden body, half a metre behind it
    text = problem(
        body={**ELLIPSOID, "density_g_cm3": 11.0},
        ballast=[weight(0.5, 500.0, 0.0, density_g_cm3=0.2)],
    )
    assert text.startswith("<dict>: bait: the moment of inertia about one axis is -")


def test_massless_hook_beside_massless_plate_is_refused_before() -> None:
    with pytest.raises(ConfigError, match="has no part with mass"):
        assembled(hook=[weight(0.0, 0.0, 0.0)])


# ---------------------------------------------------------------------------------------- tie path


SHAPE = {
    "length_mm": 70.0,
    "density_g_cm3": 0.42,
    "station": stations((0.0, 2.0, 2.0, 1.5), (5.0, 6.0, 6.0, 4.5), (14.0, 8.8, 8.8, 6.4),
                        (26.0, 10.0, 10.0, 7.0), (42.0, 8.8, 8.8, 6.0), (70.0, 2.2, 2.2, 1.4)),
}  # fmt: skip
BILL = {"from_nose_mm": 7.0, "above_centreline_mm": -6.0, "length_mm": 20.0, "width_mm": 18.0}


def path_of(angle_deg: float = 55.0, shape: dict[str, Any] = SHAPE, **changes: Any):
    bill_table = {**BILL, "angle_deg": angle_deg, **changes}
    return tie_path(config_from_dict({"bait": {"body": copy.deepcopy(shape), "bill": bill_table}}))


@pytest.mark.parametrize("angle", [30.0, 55.0, 85.0, 90.0])
def test_tie_path_runs_from_the_top_of_the_nose_to_the_tip_of_the_bill(angle: float) -> None:
    path = path_of(angle)
    # the top: 85 % of the greatest height, on the outline, ahead of the thickest place
    assert path.above_centreline_mm[0] == pytest.approx(TOP_SHARE * 10.0, rel=1e-4)
    assert 0.0 < path.from_nose_mm[0] < 26.0
    # past the nose tip: the foremost point, from above the centreline to below it
    on_body = path.from_nose_mm[path.distance_mm <= 0.0]
    assert on_body.min() == pytest.approx(0.0, abs=1e-12)
    crossing = int(np.argmax(path.above_centreline_mm < 0.0))
    assert abs(path.from_nose_mm[crossing - 1]) < 0.01 and abs(path.from_nose_mm[crossing]) < 0.01
    # the tip, by the sine and cosine of the bill's angle
    tip = (7.0 - 20.0 * math.cos(math.radians(angle)), -6.0 - 20.0 * math.sin(math.radians(angle)))
    assert (path.from_nose_mm[-1], path.above_centreline_mm[-1]) == pytest.approx(tip, abs=1e-9)


@pytest.mark.parametrize("angle", [30.0, 55.0, 85.0, 90.0])
def test_distance_zero_is_where_the_bill_leaves_the_body(angle: float) -> None:
    path = path_of(angle)
    x, z = path.at(0.0)
    shape = config_from_dict({"bait": {"body": copy.deepcopy(SHAPE)}}).bait.body
    lower = float(outline_at(shape, np.array([x * 1e-3])).lower[0]) * 1e3
    assert -z == pytest.approx(lower, abs=0.05)
    # and on the line of the bill: no sideways distance from it
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    assert abs((x - 7.0) * s - (z + 6.0) * c) < 0.06
    # distances are lengths along the path, growing
    steps = np.hypot(np.diff(path.from_nose_mm), np.diff(path.above_centreline_mm))
    np.testing.assert_allclose(np.diff(path.distance_mm), steps, rtol=1e-9, atol=1e-12)
    assert (np.diff(path.distance_mm) > 0.0).all()
    assert path.distance_mm[0] < 0.0 < path.distance_mm[-1] < 20.0


def test_path_out_along_the_bill_is_straight() -> None:
    path = path_of(55.0)
    for d in (3.0, 9.0, 15.0):
        x, z = path.at(d)
        slope = math.degrees(math.atan2(-(z - path.at(1.0)[1]), -(x - path.at(1.0)[0])))
        assert slope == pytest.approx(55.0, abs=0.3)
        assert path.nearest(x, z) == pytest.approx((d, 0.0), abs=1e-6)


def test_places_beyond_the_path_are_held_at_its_ends() -> None:
    path = path_of()
    assert path.at(1e3) == (path.from_nose_mm[-1], path.above_centreline_mm[-1])
    assert path.at(-1e3) == (path.from_nose_mm[0], path.above_centreline_mm[0])


def test_path_of_an_ellipsoid_starts_where_its_ellipse_has_that_height() -> None:
    path = path_of(60.0, {**ELLIPSOID, "density_g_cm3": 0.5}, above_centreline_mm=-5.0)
    # 0.85 of the half height: x = a (1 - sqrt(1 - 0.85^2))
    assert path.from_nose_mm[0] == pytest.approx(30.0 * (1.0 - math.sqrt(1.0 - 0.85**2)), rel=1e-3)
    on = (path.distance_mm < 0.0) & (path.from_nose_mm < 30.0)
    ellipse = (path.from_nose_mm[on] / 30.0 - 1.0) ** 2 + (path.above_centreline_mm[on] / 10.0) ** 2
    np.testing.assert_allclose(ellipse, 1.0, atol=1e-9)


def test_mounting_errors_do_not_move_the_path() -> None:
    straight, crooked = path_of(55.0), path_of(55.0, yaw_error_deg=3.0, right_mm=1.0)
    np.testing.assert_array_equal(straight.from_nose_mm, crooked.from_nose_mm)


def test_path_follows_a_flat_belly_to_the_bill() -> None:
    path = path_of(60.0, prism(60.0, 8.0, 8.0, 5.0), from_nose_mm=10.0, above_centreline_mm=-8.0)
    assert path.at(0.0) == pytest.approx((10.0, -8.0), abs=0.1)


def test_no_path_without_body_or_bill() -> None:
    for bait in ({"body": SHAPE}, {"bill": {**BILL, "angle_deg": 55.0}}):
        config = config_from_dict({"bait": copy.deepcopy(bait)})
        with pytest.raises(RunError) as error:
            tie_path(config)
        assert str(error.value) == "<dict>: a tie path needs [bait.body] and [bait.bill]."


# ------------------------------------------------------------------- parts that were met before


FIN = {"name": "fin", "from_nose_mm": 55.0, "above_centreline_mm": -2.0, "length_mm": 6.0,
       "width_mm": 8.0, "angle_deg": 100.0, "cant_deg": 90.0, "outline": "tapered"}  # fmt: skip
TOWED = {
    "bait": {
        "body": SHAPE,
        "bill": {**BILL, "angle_deg": 55.0, "yaw_error_deg": 1.5},
        "plate": [FIN],
        "ballast": [weight(2.0, 25.0, -4.0), weight(0.5, 40.0, -9.0, inside=False)],
        "hook": [weight(0.8, 30.0, -9.0, hang_mm=8.0, drag_area_mm2=40.0)],
        "tie": {"from_nose_mm": 1.0, "above_centreline_mm": 1.0},
    },
    "line": {},
}
ROUND = {
    "bait.body.form": "ellipsoid", "bait.body.station": [], "bait.body.height_mm": 20.0,
    "bait.body.width_mm": 14.0,
}  # fmt: skip
OTHERS: list[dict[str, Any]] = [
    {},
    {"bait.tie.from_nose_mm": 3.0},
    {"bait.bill.angle_deg": 40.0},
    {"bait.bill.angle_deg": 0.0},
    {"bait.bill.angle_deg": -0.0},
    {"bait.bill.outline": "coffin"},
    {"bait.plate.0.cant_deg": 45.0},
    {"bait.plate.0.name": "keel"},
    {"bait.body.station.0.upper_mm": 0.0},
    {"bait.body.station.0.upper_mm": -0.0},
    {"bait.body.station.3.upper_mm": 9.5},
    {"bait.body.wall_mm": 1.0},
    {"bait.body.density_g_cm3": 0.6},
    {"bait.body.crossflow_sway": 1.3},
    {"water.kind": "sea"},
    {"solver.body_strips": 5, "solver.plate_elements_along": 3},
    ROUND,
    {**ROUND, "bait.body.width_mm": 13.0},
    {**ROUND, "water.kind": "sea"},
    {"coefficients.side_force_factor": 0.5},
]


def towed(changes: dict[str, Any]) -> Config:
    return with_overrides(config_from_dict(copy.deepcopy(TOWED)), changes)


def forget() -> None:
    """Empty every cache of the parts."""
    emptied = 0
    for module in (frame, plates, sections, side_force, tie_path_module, sim.model):
        for found in vars(module).values():
            if hasattr(found, "cache_clear"):
                found.cache_clear()
                emptied += 1
    assert emptied >= 10


def arrays(item: Any) -> Iterator[np.ndarray]:
    """Every array and number in a (nested) record."""
    if isinstance(item, np.ndarray):
        yield item
    elif dataclasses.is_dataclass(item):
        for field in dataclasses.fields(item):
            yield from arrays(getattr(item, field.name))
    elif isinstance(item, tuple):
        for entry in item:
            yield from arrays(entry)
    elif isinstance(item, float):
        yield np.array(item)


def bits(config: Config) -> list[bytes]:
    """Everything that the parts of a bait give, to the last bit."""
    bait = assemble(config)
    model = build_model(config, bait, np.array([1.0, 2.0, 3.0]))
    drift = tuple(body_side_force(config, bait, heave) for heave in (False, True))
    return [a.tobytes() for a in arrays((bait, model, drift, tie_path(config)))]


def test_parts_met_before_give_the_same_bits_as_new_ones() -> None:
    configs = [towed(changes) for changes in OTHERS]
    fresh = []
    for config in configs:
        forget()
        fresh.append(bits(config))
    assert min(map(len, fresh)) > 100
    forget()
    for order in (range(len(configs)), reversed(range(len(configs)))):
        for i in order:
            assert bits(configs[i]) == fresh[i], OTHERS[i]


def test_two_baits_are_not_mixed_up() -> None:
    # a name or the sign of a zero need not show in any figure; all else here must
    others = [c for c in OTHERS if "-0.0" not in repr(c) and "bait.plate.0.name" not in c]
    told_apart = [bits(towed(changes)) for changes in others]
    for i, one in enumerate(told_apart):
        assert one not in told_apart[:i], others[i]


def test_form_of_a_body_hangs_on_its_keys_alone() -> None:
    material = {
        "density_g_cm3", "filling_density_g_cm3", "crossflow_sway", "crossflow_heave",
        "lopsided_mm",
    }  # fmt: skip
    assert set(Body.model_fields) == FORM_KEYS | material
    shape = body(**SHAPE | {"density_g_cm3": 0.9, "crossflow_sway": 2.0, "crossflow_heave": 3.0})
    first, second = (body_properties(b, 8, RHO) for b in (body(**SHAPE), shape))
    assert second.strips is first.strips  # met before
    for one, other in zip(arrays(first), arrays(second), strict=True):
        np.testing.assert_array_equal(one, other)


def test_a_key_sees_every_figure() -> None:
    assert Keyed(bill()) == Keyed(bill())
    assert hash(Keyed(bill())) == hash(Keyed(bill()))
    for other in (bill(width_mm=math.nextafter(16.0, 17.0)), bill(right_mm=-0.0)):
        assert Keyed(bill()) != Keyed(other)
    assert Keyed(bill(), {"length_mm"}) == Keyed(bill(width_mm=17.0), {"length_mm"})
    assert Keyed(bill()) != "a text"


def test_what_baits_share_cannot_be_written_to() -> None:
    for changes in ({}, {"bait.body.wall_mm": 1.0}, ROUND):
        config = towed(changes)
        bait = assemble(config)
        assert bait.body is not None
        shared = [
            *arrays(tuple(getattr(bait.body, f.name) for f in dataclasses.fields(bait.body)
                          if f.name != "added_mass")),
            *arrays(bait.plates), *arrays(tie_path(config)), *frame.gauss(4),
        ]  # fmt: skip
        shared = [a for a in shared if a.ndim > 0]
        assert len(shared) > 25
        for values in shared:
            with pytest.raises(ValueError, match="read-only"):
                values[...] = 0.0


def test_a_model_is_its_owners_to_write_to() -> None:
    config = towed({})
    bait = assemble(config)
    rod = np.array([1.0, 2.0, 3.0])
    first = build_model(config, bait, rod)
    kept = [a.copy() for a in first]
    for values in first:
        values[...] = 7.0
    for one, other in zip(build_model(config, assemble(config), rod), kept, strict=True):
        np.testing.assert_array_equal(one, other)
