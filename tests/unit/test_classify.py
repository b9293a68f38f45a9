"""Classes on either side of every limit, their order, the margins and the nearest limit."""

from __future__ import annotations

import math

import pytest

from sim.classify import classify, margins, nearest_limit
from sim.config.models import Limits
from sim.result import MOTION_CLASSES

LIMITS = Limits()
BALANCED = {
    "yaw_amplitude_deg": 13.0,
    "roll_amplitude_deg": 21.0,
    "lean_deg": 1.0,
    "turns": 0.02,
}


def measures(**changes: float) -> dict[str, float]:
    return {**BALANCED, **changes}


def class_of(turning: bool = False, limits: Limits = LIMITS, **changes: float) -> str:
    return classify(measures(**changes), turning, limits).motion_class


# -------------------------------------------------------------------------------------- each limit


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, "balanced"),
        # roll amplitude above 35 degrees over-rolls
        ({"roll_amplitude_deg": 34.999}, "balanced"),
        ({"roll_amplitude_deg": 35.0}, "balanced"),
        ({"roll_amplitude_deg": 35.001}, "over-rolling"),
        # lean above 35 degrees to either side over-rolls
        ({"lean_deg": 35.0}, "balanced"),
        ({"lean_deg": 35.001}, "over-rolling"),
        ({"lean_deg": -35.0}, "balanced"),
        ({"lean_deg": -35.001}, "over-rolling"),
        ({"lean_deg": 180.0}, "over-rolling"),
        # yaw amplitude below 6 degrees is tight
        ({"yaw_amplitude_deg": 6.0, "roll_amplitude_deg": 10.0}, "balanced"),
        ({"yaw_amplitude_deg": 5.999, "roll_amplitude_deg": 10.0}, "tight"),
        ({"yaw_amplitude_deg": 0.0, "roll_amplitude_deg": 0.0}, "tight"),
        # more than three times the roll of the yaw over-rolls, beyond 15 degrees of roll
        ({"yaw_amplitude_deg": 7.0, "roll_amplitude_deg": 21.0}, "balanced"),
        ({"yaw_amplitude_deg": 6.999, "roll_amplitude_deg": 21.0}, "over-rolling"),
        ({"yaw_amplitude_deg": 1.0, "roll_amplitude_deg": 14.999}, "tight"),
        ({"yaw_amplitude_deg": 1.0, "roll_amplitude_deg": 15.001}, "over-rolling"),
    ],
)
def test_class_on_either_side_of_a_limit(changes: dict[str, float], expected: str) -> None:
    verdict = classify(measures(**changes), False, LIMITS)
    assert verdict.motion_class == expected
    assert expected in MOTION_CLASSES


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_one_whole_turn_spins(sense: float) -> None:
    spin = {"yaw_amplitude_deg": math.nan, "roll_amplitude_deg": math.nan, "lean_deg": math.nan}
    assert class_of(True, turns=1.0 * sense, **spin) == "spinning"
    assert class_of(True, turns=40.0 * sense, **spin) == "spinning"
    # a bait that does not keep turning in one sense does not spin, whatever it counted
    assert class_of(False, turns=1.0 * sense) == "balanced"


def test_turning_bait_short_of_a_turn_gets_no_class_silently() -> None:
    unknown = {"yaw_amplitude_deg": math.nan, "roll_amplitude_deg": math.nan, "lean_deg": math.nan}
    try:
        found = class_of(True, turns=0.999, **unknown)
    except ValueError:
        return
    assert found not in MOTION_CLASSES


@pytest.mark.parametrize("key", ["yaw_amplitude_deg", "roll_amplitude_deg", "lean_deg"])
def test_unknown_measure_never_gives_a_class_silently(key: str) -> None:
    try:
        found = class_of(**{key: math.nan})
    except ValueError:
        return
    assert found not in MOTION_CLASSES


def test_rolling_without_any_yaw_over_rolls() -> None:
    assert class_of(yaw_amplitude_deg=0.0, roll_amplitude_deg=20.0) == "over-rolling"


# ------------------------------------------------------------------------------ order of precedence


def test_spinning_comes_before_everything() -> None:
    assert class_of(True, turns=3.0, roll_amplitude_deg=90.0, lean_deg=90.0) == "spinning"
    assert class_of(True, turns=3.0, yaw_amplitude_deg=0.1, roll_amplitude_deg=0.1) == "spinning"


def test_over_rolling_comes_before_tight() -> None:
    for change in ({"roll_amplitude_deg": 36.0}, {"lean_deg": 36.0}, {"roll_amplitude_deg": 16.0}):
        assert class_of(yaw_amplitude_deg=3.0, **change) == "over-rolling"


def test_reason_names_the_limit_that_decided_first() -> None:
    def reason(turning: bool = False, **changes: float) -> str:
        return classify(measures(**changes), turning, LIMITS).reason

    assert reason(True, turns=-3.21) == "3.2 net turns about the track in one sense, limit 1"
    assert reason(roll_amplitude_deg=40.25, lean_deg=50.0) == "roll amplitude 40.2 deg above 35 deg"
    assert reason(lean_deg=-50.0) == "leans 50.0 deg to port, limit 35 deg"
    assert reason(yaw_amplitude_deg=5.0, roll_amplitude_deg=20.0) == (
        "rolls 4.0 times as far as it yaws, limit 3"
    )
    assert reason(yaw_amplitude_deg=5.0, roll_amplitude_deg=10.0) == (
        "yaw amplitude 5.0 deg below 6 deg"
    )
    assert reason() == "yaw amplitude 13.0 deg at or above 6 deg, roll 21.0 deg within 35 deg"


@pytest.mark.parametrize(
    ("yaw", "roll", "silent"),
    [(0.999, 0.999, True), (1.0, 0.2, False), (0.2, 1.0, False), (0.0, 0.0, True)],
)
def test_no_visible_action_is_said_below_one_degree(yaw: float, roll: float, silent: bool) -> None:
    verdict = classify(measures(yaw_amplitude_deg=yaw, roll_amplitude_deg=roll), False, LIMITS)
    assert verdict.motion_class == "tight"
    assert verdict.reason.endswith("; no visible action") is silent


# ----------------------------------------------------------------------------------------- margins


def test_margins_are_distances_in_the_unit_of_the_limit() -> None:
    found = margins(measures(lean_deg=-10.0, turns=-0.25), LIMITS)
    ratio = 3.0 - 21.0 / 13.0
    assert found == pytest.approx(
        {"spin": 0.75, "roll": 14.0, "lean": 25.0, "roll_to_yaw": ratio, "tight_yaw": 7.0}
    )


def test_margins_are_negative_beyond_the_limit() -> None:
    found = margins(
        measures(turns=4.0, roll_amplitude_deg=50.0, lean_deg=60.0, yaw_amplitude_deg=2.0), LIMITS
    )
    assert found == pytest.approx(
        {"spin": -3.0, "roll": -15.0, "lean": -25.0, "roll_to_yaw": -22.0, "tight_yaw": -4.0}
    )


def test_ratio_counts_beyond_its_least_roll_only() -> None:
    assert math.isnan(margins(measures(roll_amplitude_deg=15.0), LIMITS)["roll_to_yaw"])
    assert margins(measures(roll_amplitude_deg=15.1), LIMITS)["roll_to_yaw"] == pytest.approx(
        3.0 - 15.1 / 13.0
    )


def test_ratio_without_any_yaw_is_finite_and_far_beyond() -> None:
    found = margins(measures(yaw_amplitude_deg=0.0), LIMITS)["roll_to_yaw"]
    assert math.isfinite(found) and found < -1e6


def test_verdict_carries_the_margins() -> None:
    for turning, changes in ((False, {}), (True, {"turns": 2.0}), (False, {"lean_deg": 40.0})):
        verdict = classify(measures(**changes), turning, LIMITS)
        assert verdict.margins == margins(measures(**changes), LIMITS)


def test_unknown_measures_have_unknown_margins() -> None:
    found = margins(measures(roll_amplitude_deg=math.nan, lean_deg=math.nan), LIMITS)
    assert math.isnan(found["roll"]) and math.isnan(found["lean"])
    assert math.isnan(found["roll_to_yaw"])
    assert found["tight_yaw"] == 7.0


# ----------------------------------------------------------------------------------- nearest limit


@pytest.mark.parametrize(
    ("changes", "name", "distance"),
    [
        ({"roll_amplitude_deg": 34.0}, "roll", 1.0),
        ({"roll_amplitude_deg": 36.0}, "roll", -1.0),
        ({"lean_deg": -33.0}, "lean", 2.0),
        ({"yaw_amplitude_deg": 6.1, "roll_amplitude_deg": 10.0}, "tight_yaw", 0.1),
        ({"yaw_amplitude_deg": 5.9, "roll_amplitude_deg": 10.0}, "tight_yaw", -0.1),
        ({"turns": 0.99}, "spin", 0.01),
        ({"yaw_amplitude_deg": 8.0, "roll_amplitude_deg": 23.8}, "roll_to_yaw", 0.025),
    ],
)
def test_nearest_limit(changes: dict[str, float], name: str, distance: float) -> None:
    found = nearest_limit(margins(measures(**changes), LIMITS), LIMITS)
    assert found[0] == name
    assert found[1] == pytest.approx(distance)


def test_nearest_is_relative_to_the_limit() -> None:
    # 2 of 35 degrees of roll are nearer than 0.5 of 6 degrees of yaw
    found = nearest_limit({"roll": 2.0, "tight_yaw": 0.5, "spin": 1.0}, LIMITS)
    assert found == ("roll", 2.0)


def test_nearest_leaves_out_what_is_unknown() -> None:
    distance = {"roll": math.nan, "lean": math.nan, "roll_to_yaw": math.nan, "spin": -4.0,
                "tight_yaw": 30.0}  # fmt: skip
    assert nearest_limit(distance, LIMITS) == ("spin", -4.0)


# ------------------------------------------------------------------------------ limits from config


def test_limits_of_the_configuration_are_honoured() -> None:
    for name, value, changes, before, after in (
        ("roll_deg", 20.0, {}, "balanced", "over-rolling"),
        ("lean_deg", 0.9, {}, "balanced", "over-rolling"),
        ("tight_yaw_deg", 13.1, {}, "balanced", "tight"),
        ("roll_to_yaw", 1.5, {}, "balanced", "over-rolling"),
        ("roll_deg", 50.0, {"roll_amplitude_deg": 38.0}, "over-rolling", "balanced"),
        ("lean_deg", 50.0, {"lean_deg": 45.0}, "over-rolling", "balanced"),
        ("tight_yaw_deg", 2.0, {"yaw_amplitude_deg": 5.0, "roll_amplitude_deg": 9.0}, "tight",
         "balanced"),
        ("roll_to_yaw_from_deg", 25.0, {"yaw_amplitude_deg": 6.5}, "over-rolling", "balanced"),
    ):  # fmt: skip
        assert class_of(**changes) == before, name
        assert class_of(limits=Limits(**{name: value}), **changes) == after, name


def test_limit_on_turns_is_honoured() -> None:
    assert class_of(True, turns=1.5) == "spinning"
    assert class_of(True, limits=Limits(spin_turns=2.0), turns=1.5) != "spinning"
    assert class_of(True, limits=Limits(spin_turns=0.5), turns=0.5) == "spinning"


def test_limit_of_visible_action_is_honoured() -> None:
    small = measures(yaw_amplitude_deg=2.0, roll_amplitude_deg=2.0)
    assert "no visible action" not in classify(small, False, LIMITS).reason
    assert "no visible action" in classify(small, False, Limits(no_action_deg=3.0)).reason


def test_every_limit_is_used() -> None:
    used = {"roll_deg", "lean_deg", "tight_yaw_deg", "roll_to_yaw", "roll_to_yaw_from_deg",
            "no_action_deg", "spin_turns"}  # fmt: skip
    # running off decides no class: tests/unit/test_risk.py
    assert set(Limits.model_fields) == used | {"run_off_deg"}
