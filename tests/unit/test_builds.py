"""Builds drawn from tolerances: what is drawn, and what an error does to the bait."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import truncnorm

import sim
from sim.bait.assembly import assemble
from sim.config import Config, with_overrides
from sim.studies.axes import NAMED_AXES
from sim.studies.builds import (
    ALL,
    BOTH,
    DOUBT,
    DOUBTS,
    ERRORS,
    MEANT,
    MIXED,
    SCALES,
    SEARCH,
    SECOND,
    SHOP,
    BuildStudy,
    Design,
    as_meant,
    build_overrides,
    doubt_overrides,
)

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
KEYS = [quantity.key for quantity in ERRORS]
YAW = KEYS.index("bill_yaw_deg")


@pytest.fixture(scope="module")
def runner() -> Config:
    return sim.load_config(CONFIGS / "shallow-runner.toml")


@pytest.fixture(scope="module")
def study(runner: Config) -> BuildStudy:
    return BuildStudy("runner", "", runner, {}, (1.0, 2.0), builds=200, few=50, pairs=16)


def built(config: Config, **errors: float) -> Config:
    meant = as_meant(config)
    return with_overrides(meant.config, build_overrides(meant, errors))


def doubted(config: Config, **changes: float) -> Config:
    meant = as_meant(config)
    return with_overrides(meant.config, doubt_overrides(meant, changes))


# ---------------------------------------------------------------------------------- what is drawn


def test_bell_errors_are_a_normal_distribution_cut_off_at_the_tolerance(study: BuildStudy) -> None:
    errors = study.errors[:, YAW]
    tolerance = study.base.build.bill_yaw_deg
    assert np.abs(study.errors).max(axis=0) == pytest.approx(study.tolerances, rel=0.1)
    assert (np.abs(study.errors) <= study.tolerances).all()
    # SciPy's own truncated normal distribution, two standard deviations to either side
    expected = truncnorm(-2.0, 2.0, scale=0.5 * tolerance)
    assert errors.mean() == pytest.approx(0.0, abs=0.02 * tolerance)
    assert errors.std() == pytest.approx(expected.std(), rel=0.03)
    assert np.quantile(errors, 0.9) == pytest.approx(expected.ppf(0.9), rel=0.05)


def test_even_errors_have_no_preference(runner: Config) -> None:
    even = with_overrides(runner, {"build.errors": "even"})
    errors = BuildStudy("even", "", even, {}, (1.0,), 256, 1, 8).errors[:, YAW]
    # uniform within +-T: standard deviation T / sqrt(3)
    assert errors.std() == pytest.approx(even.build.bill_yaw_deg / math.sqrt(3.0), rel=0.01)


def test_a_build_keeps_its_errors_however_many_there_are(study: BuildStudy) -> None:
    more = dataclasses.replace(study, builds=1000)
    assert np.array_equal(more.errors[:200], study.errors)
    assert np.array_equal(more.second_errors[:200], study.second_errors)
    assert np.array_equal(more.doubts[:200], study.doubts)
    other = dataclasses.replace(study, seed=2)
    assert not np.array_equal(other.errors, study.errors)


def test_samples_are_independent_of_each_other(study: BuildStudy) -> None:
    many = dataclasses.replace(study, builds=4096)
    columns = np.hstack([many.errors, many.second_errors, many.doubts])
    columns = columns[:, columns.std(axis=0) > 0.0]
    correlation = np.corrcoef(columns.T) - np.eye(columns.shape[1])
    # of independent draws 99.99 % lie within 3.9 / sqrt(4096) = 0.06
    assert np.abs(correlation).max() < 0.06


def test_errors_of_parts_that_are_not_there_are_nil(runner: Config) -> None:
    bare = with_overrides(runner, {"bait.hook": [], "bait.ballast": []})
    study = BuildStudy("bare", "", bare, {}, (1.0,), 8, 1, 8)
    names = [KEYS[n] for n in study.active]
    assert not any(name.startswith(("hook", "ballast")) for name in names)
    assert "bill_yaw_deg" in names and "body_density_percent" in names


@pytest.mark.parametrize(
    ("number", "expected"),
    [
        (SHOP, Design("workmanship")),
        (BOTH, Design("both")),
        (DOUBT, Design("coefficients")),
        (SECOND, Design("second")),
        (MEANT, Design("meant")),
        (MIXED + 3, Design("mixed", 3)),
        (SEARCH + 2 * len(SCALES) + 4, Design("search", 2, 0.25)),
        (SEARCH + ALL * len(SCALES) + 16, Design("search", ALL, 1.0)),
    ],
)
def test_designs_by_number(number: int, expected: Design) -> None:
    assert Design.of(number) == expected


def test_what_each_design_draws(study: BuildStudy) -> None:
    def drawn(design: int) -> tuple[np.ndarray, np.ndarray]:
        return study.drawn(Design.of(design), 7)

    nothing, own, second = np.zeros(len(ERRORS)), study.errors[7], study.second_errors[7]
    sure, doubts = np.zeros(len(DOUBTS)), study.doubts[7]
    swapped = own.copy()
    swapped[YAW] = second[YAW]
    scaled = own.copy()
    scaled[YAW] *= 0.25
    half = SEARCH + ALL * len(SCALES) + 8
    for design, errors, changes in (
        (SHOP, own, sure), (BOTH, own, doubts), (DOUBT, nothing, doubts), (SECOND, second, sure),
        (MEANT, nothing, sure), (MIXED + YAW, swapped, sure),
        (SEARCH + YAW * len(SCALES) + 4, scaled, sure), (half, 0.5 * own, sure),
    ):  # fmt: skip
        assert np.array_equal(drawn(design)[0], errors), design
        assert np.array_equal(drawn(design)[1], changes), design


def test_cases_are_numbered_by_design_build_and_speed(study: BuildStudy) -> None:
    for design, builds in ((SHOP, 200), (BOTH, 200), (DOUBT, 50), (SECOND, 16), (MEANT, 1)):
        cases = study.cases(design)
        assert cases.size == 2 * builds == 2 * study.count(design)
        where = study.place(cases)
        assert (where[0] == design).all()
        assert np.array_equal(where[1], np.repeat(np.arange(builds), 2))
        assert np.array_equal(where[2], np.tile([0, 1], builds))
    config = study.case_config(int(study.cases(SHOP)[11]))
    assert config.retrieve.speed_m_s == 2.0
    yaw = study.base.bait.bill.yaw_error_deg + study.errors[5, YAW]  # type: ignore[union-attr]
    assert config.bait.bill.yaw_error_deg == yaw  # type: ignore[union-attr]


def test_json_keeps_every_bit(study: BuildStudy) -> None:
    again = BuildStudy.from_json(study.to_json())
    assert again.study_digest == study.study_digest
    assert again.to_json() == study.to_json()
    case = int(study.cases(BOTH)[33])
    assert again.case_config(case) == study.case_config(case)


@pytest.mark.parametrize(
    "change",
    [
        {"builds": 100}, {"few": 10}, {"pairs": 8}, {"seed": 9}, {"target": 0.1},
        {"speeds": (1.0,)},
    ],
)  # fmt: skip
def test_the_digest_tells_what_decides(study: BuildStudy, change: dict[str, object]) -> None:
    assert dataclasses.replace(study, **change).study_digest != study.study_digest  # type: ignore[arg-type]
    assert dataclasses.replace(study, name="other", chunk=7).study_digest == study.study_digest


@pytest.mark.parametrize("key", ["build.bill_yaw_deg", "uncertainty.strouhal_percent"])
def test_the_digest_tells_tolerances_and_doubts(study: BuildStudy, key: str) -> None:
    base = with_overrides(study.base, {key: 0.1})
    assert dataclasses.replace(study, base=base).study_digest != study.study_digest


# -------------------------------------------------------------------------- what an error changes


def test_as_meant_is_the_same_bait_by_its_density(runner: Config) -> None:
    meant = as_meant(runner)
    assert meant.config.bait.total_mass_g is None
    ours, theirs = assemble(meant.config), assemble(runner)
    assert ours.mass == pytest.approx(theirs.mass, rel=1e-12)
    assert ours.centre_of_gravity == pytest.approx(theirs.centre_of_gravity, rel=1e-9)
    assert ours.inertia == pytest.approx(theirs.inertia, rel=1e-9, abs=1e-15)


def test_without_errors_nothing_changes(runner: Config) -> None:
    meant = as_meant(runner)
    assert build_overrides(meant, {}) == {}
    assert build_overrides(meant, dict.fromkeys(KEYS, 0.0)) == {}
    assert doubt_overrides(meant, {}) == {}


@pytest.mark.parametrize(
    ("key", "where", "error"),
    [
        ("bill_yaw_deg", "bill.yaw_error_deg", 0.7),
        ("bill_roll_deg", "bill.roll_error_deg", -0.7),
        ("bill_angle_deg", "bill.angle_deg", 0.7),
        ("bill_right_mm", "bill.right_mm", 0.2),
        ("bill_length_mm", "bill.length_mm", -0.3),
        ("bill_width_mm", "bill.width_mm", 0.3),
        ("tie_above_mm", "tie.above_centreline_mm", 0.3),
        ("tie_from_nose_mm", "tie.from_nose_mm", -0.3),
        ("tie_right_mm", "tie.right_mm", 0.3),
        ("ballast_right_mm", "ballast.0.right_mm", 0.4),
        ("ballast_from_nose_mm", "ballast.0.from_nose_mm", 0.4),
        ("body_lopsided_mm", "body.lopsided_mm", 0.1),
    ],
)
def test_an_error_moves_its_key_by_just_that(
    runner: Config, key: str, where: str, error: float
) -> None:
    def held(config: Config) -> float:
        place: object = config.bait
        for part in where.split("."):
            place = place[int(part)] if part.isdecimal() else getattr(place, part)  # type: ignore[index]
        return float(place)  # type: ignore[arg-type]

    changed = built(runner, **{key: error})
    assert held(changed) == pytest.approx(held(runner) + error, abs=1e-12)
    assert set(changed.overrides) == {f"bait.{where}"} | set(as_meant(runner).config.overrides)


def test_masses_of_builds(runner: Config) -> None:
    def mass(**errors: float) -> float:
        return assemble(built(runner, **errors)).mass * 1e3

    own = 8.0  # as weighed in the file
    assert mass(total_mass_percent=2.0) == pytest.approx(1.02 * own, rel=1e-9)
    hooks = sum(hook.mass_g for hook in runner.bait.hook)
    assert mass(hook_mass_percent=5.0) == pytest.approx(own + 0.05 * hooks, rel=1e-9)
    parts = assemble(runner).parts
    body = 1e3 * sum(part.mass for part in parts if part.kind == "body")
    assert mass(body_density_percent=-4.0) == pytest.approx(own - 0.04 * body, rel=1e-9)
    bill = next(1e3 * part.mass for part in parts if part.kind == "bill")
    wider = 1.0 + 0.5 / runner.bait.bill.width_mm  # type: ignore[union-attr]
    # a rounded bill's area is its width times a length that stays
    assert mass(bill_width_mm=0.5) == pytest.approx(own + bill * (wider - 1.0), rel=1e-3)


def test_of_a_hollow_body_the_wall_gets_denser(runner: Config) -> None:
    hollow = with_overrides(
        runner, {"bait.body.wall_mm": 1.0, "bait.body.filling_density_g_cm3": 0.1}
    )
    parts = assemble(hollow).parts
    wall = next(part.mass for part in parts if part.name == "body")
    denser = assemble(built(hollow, body_density_percent=10.0)).mass
    assert denser == pytest.approx(assemble(hollow).mass + 0.1 * wall, rel=1e-9)
    heavier = assemble(built(hollow, total_mass_percent=3.0)).mass
    assert heavier == pytest.approx(1.03 * assemble(hollow).mass, rel=1e-9)


def test_a_lopsided_body_moves_the_centre_of_gravity(runner: Config) -> None:
    lopsided = built(runner, body_lopsided_mm=0.5)
    bait = assemble(runner)
    material = next(part.mass for part in bait.parts if part.name == "body")
    expected = 0.5e-3 * material / bait.mass
    assert assemble(lopsided).centre_of_gravity[1] == pytest.approx(expected, rel=1e-9)
    assert assemble(lopsided).centre_of_buoyancy[1] == pytest.approx(0.0, abs=1e-15)


def test_a_line_tied_on_the_bill_moves_with_it(runner: Config) -> None:
    on_bill = with_overrides(runner, NAMED_AXES["tie_path_mm"].overrides(runner, 8.0))
    bill, tie = on_bill.bait.bill, on_bill.bait.tie
    assert bill is not None and tie is not None
    reach = math.hypot(
        tie.from_nose_mm - bill.from_nose_mm, tie.above_centreline_mm - bill.above_centreline_mm
    )
    moved = built(on_bill, bill_angle_deg=2.0).bait.tie
    assert moved is not None
    angle = math.radians(bill.angle_deg + 2.0)
    expected = bill.from_nose_mm - reach * math.cos(angle)
    assert moved.from_nose_mm == pytest.approx(expected, abs=1e-9)
    expected = bill.above_centreline_mm - reach * math.sin(angle)
    assert moved.above_centreline_mm == pytest.approx(expected, abs=1e-9)
    aside = built(on_bill, bill_yaw_deg=2.0, bill_right_mm=0.3).bait.tie
    assert aside is not None
    ahead = reach * math.cos(math.radians(bill.angle_deg))
    # the bill turns about its root: nose to starboard carries what lies ahead to starboard
    assert aside.right_mm == pytest.approx(0.3 + ahead * math.sin(math.radians(2.0)), abs=1e-9)
    # tied on the nose the line stays where it is
    assert built(runner, bill_yaw_deg=2.0).bait.tie == runner.bait.tie


def test_a_polygon_bill_is_stretched(runner: Config) -> None:
    corners = [[0.0, -5.0], [12.0, -9.0], [12.0, 9.0], [0.0, 5.0]]
    polygon = with_overrides(
        runner,
        {
            "bait.bill.outline": "polygon", "bait.bill.outline_mm": corners,
            "bait.bill.length_mm": 12.0, "bait.bill.width_mm": 18.0,
        },
    )  # fmt: skip
    bill = built(polygon, bill_length_mm=0.6, bill_width_mm=-0.9).bait.bill
    assert bill is not None
    assert np.array(bill.outline_mm) == pytest.approx(np.array(corners) * [1.05, 0.95])


def test_doubts_move_their_coefficients(runner: Config) -> None:
    config = doubted(
        runner,
        strouhal_percent=10.0, wake_offset_percent=-20.0, wake_damping_percent=50.0,
        wake_coupling_more=3.0, side_force_percent=25.0, side_force_shift=-0.05,
        bill_shadow_more=0.3, hook_drag_percent=-50.0, line_drag_percent=20.0,
        crossflow_percent=10.0,
    )  # fmt: skip
    held, own = config.coefficients, runner.coefficients
    assert held.strouhal == pytest.approx(1.1 * own.strouhal)
    assert held.wake_offset == pytest.approx(0.8 * own.wake_offset)
    assert held.wake_damping == pytest.approx(1.5 * own.wake_damping)
    assert held.wake_coupling == pytest.approx(own.wake_coupling + 3.0)
    assert held.side_force_factor == pytest.approx(1.25 * own.side_force_factor)
    assert held.side_force_shift == pytest.approx(own.side_force_shift - 0.05)
    assert held.bill_shadow == pytest.approx(own.bill_shadow + 0.3)
    # a long bait keeps 0.9 of its crossflow drag, docs/equations.md
    assert held.crossflow_end_factor == pytest.approx(0.99, rel=1e-3)
    for hook, before in zip(config.bait.hook, runner.bait.hook, strict=True):
        assert hook.drag_area_mm2 == pytest.approx(0.5 * before.drag_area_mm2)
    assert config.line is not None and runner.line is not None
    drag = runner.line.normal_drag_coefficient
    assert config.line.normal_drag_coefficient == pytest.approx(1.2 * drag)


def test_doubts_stay_within_the_bounds_of_their_keys(runner: Config) -> None:
    bold = with_overrides(
        runner, {"coefficients.side_force_factor": 2.8, "coefficients.wake_coupling": 45.0}
    )
    held = doubted(bold, side_force_percent=50.0, wake_coupling_more=12.0).coefficients
    assert (held.side_force_factor, held.wake_coupling) == (3.0, 50.0)


def test_tolerances_that_give_no_bait_are_told(runner: Config, study: BuildStudy) -> None:
    assert study.tolerance_problems() == []
    wide = with_overrides(runner, {"build.total_mass_percent": 60.0, "build.bill_length_mm": 20.0})
    told = dataclasses.replace(study, base=wide).tolerance_problems()
    assert len(told) == 2
    assert "build.bill_length_mm = 20: an error of -20 mm gives no bait (" in told[0]
    assert "build.total_mass_percent = 60: an error of -60 % gives no bait (" in told[1]
    assert all(text.endswith(" Give a closer tolerance.") for text in told)


@pytest.mark.parametrize("counts", [(10, 11, 8), (10, 5, 12), (10, 5, 1), (10, 5, 16), (10, 0, 8)])
def test_counts_that_make_no_sense(runner: Config, counts: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match=r"builds|power of two"):
        BuildStudy("bad", "", runner, {}, (1.0,), *counts)


def test_every_quantity_is_read(runner: Config) -> None:
    """A tolerance or a doubt that moved nothing would be a promise without a deed."""
    meant = as_meant(runner)
    for key in KEYS:
        assert build_overrides(meant, {key: 0.1}), key
    for quantity in DOUBTS:
        assert doubt_overrides(meant, {quantity.key: 0.01}), quantity.key


# ---------------------------------------------------------------------------- mirrored builds

LATERAL = ("yaw", "roll", "right", "lopsided")


def test_mirrored_errors_give_the_mirrored_drift(runner: Config) -> None:
    """Left and right are alike in physics: a bait and its mirror image run off alike far."""
    errors = {
        "bill_yaw_deg": 0.8, "bill_roll_deg": -0.5, "bill_right_mm": 0.2, "tie_right_mm": 0.1,
        "ballast_right_mm": 0.4, "body_lopsided_mm": -0.1, "bill_length_mm": 0.4,
        "tie_above_mm": 0.3, "body_density_percent": 3.0,
    }  # fmt: skip
    mirrored = {
        key: -value if any(word in key for word in LATERAL) else value
        for key, value in errors.items()
    }

    def run(errors: dict[str, float], side: float) -> dict[str, float]:
        # the kick at the start and the wake are mirrored with the bait
        config = with_overrides(
            built(runner, **errors), {"start.yaw_deg": 2.0 * side, "start.wake": 0.1 * side}
        )
        return dict(sim.simulate(config).measures)

    one, other = run(errors, 1.0), run(mirrored, -1.0)
    for key in ("side_drift_m_per_m", "lean_deg"):
        assert abs(one[key]) > 0.01
        assert other[key] == pytest.approx(-one[key], rel=1e-3), key
    assert other["yaw_amplitude_deg"] == pytest.approx(one["yaw_amplitude_deg"], rel=1e-3)


@pytest.fixture
def zero() -> Callable[[Config], Config]:
    def without(config: Config) -> Config:
        return with_overrides(config, {f"build.{key}": 0.0 for key in KEYS})

    return without


def test_without_tolerances_every_build_is_the_bait_as_meant(
    runner: Config, zero: Callable[[Config], Config]
) -> None:
    study = BuildStudy("exact", "", zero(runner), {}, (1.0, 2.0), 4, 1, 4)
    assert study.active == ()
    cases = [study.case_config(int(case)) for case in study.cases(SHOP)]
    assert all(config == cases[i % 2] for i, config in enumerate(cases))
    for speed, config in zip(study.speeds, cases, strict=False):
        own = sim.simulate(with_overrides(runner, {"retrieve.speed_m_s": speed}))
        found = sim.simulate(config)
        assert found.motion_class == own.motion_class
        for key in ("wobble_frequency_hz", "yaw_amplitude_deg"):
            assert found.measures[key] == pytest.approx(own.measures[key], rel=1e-6)
