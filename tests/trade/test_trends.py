"""Trends that makers of lipped baits report: common practice, no source.

Every trend has to come out of the forces; the class never sees the tie position. Each test runs on
demonstration baits from configs/, whose figures are invented: a trend is checked, not a number.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import sim
from sim.bait.tie_path import tie_path

CONFIGS = Path(__file__).parents[2] / "configs"
ALL = ("shallow-runner", "surface-runner", "deep-runner", "slab-sided", "slow-sinker")
BELOW_TOP, LOW = 3.0, 8.0  # mm along the tie path: high on the nose, and out on the bill
DEEP_WATER = {"water.surface": False, "start.depth_m": 1.0, "line.rod_tip_height_m": -1.0}


def bait(name: str, **overrides: object) -> sim.Config:
    return sim.load_config(CONFIGS / f"{name}.toml", overrides=overrides)


def tied(config: sim.Config, distance_mm: float, **overrides: object) -> sim.RunResult:
    """Run with the line tied at a distance along the tie path."""
    along, above = tie_path(config).at(distance_mm)
    tie = {"bait.tie.from_nose_mm": along, "bait.tie.above_centreline_mm": above}
    return sim.simulate(sim.with_overrides(config, {**tie, **overrides}))


def high_on_the_nose(config: sim.Config) -> float:
    return float(tie_path(config).distance_mm[0]) + BELOW_TOP


def shipped_distance(config: sim.Config) -> float:
    tie = config.bait.tie
    return tie_path(config).nearest(tie.from_nose_mm, tie.above_centreline_mm)[0]


@pytest.mark.parametrize("name", ALL)
def test_shipped_tie_point_is_balanced(name):
    run = sim.simulate(bait(name))
    assert run.status == "settled"
    assert run.motion_class == "balanced", run.class_reason


@pytest.mark.parametrize("name", ("shallow-runner", "surface-runner", "slab-sided", "slow-sinker"))
def test_tight_then_balanced_then_over_on_the_way_down(name):
    # common practice, no source: down the nose a bait goes from tight to wide to rolling over
    config = bait(name)
    order = {"tight": 0, "balanced": 1, "over-rolling": 2, "spinning": 3}
    runs = [tied(config, d) for d in np.linspace(high_on_the_nose(config), LOW, 14)]
    ranks = [order[r.motion_class] for r in runs if r.motion_class is not None]
    assert len(ranks) >= 12
    assert ranks == sorted(ranks)
    assert ranks[0] == 0 and ranks[-1] >= 2 and 1 in ranks


@pytest.mark.parametrize("name", ("shallow-runner", "surface-runner", "slab-sided", "slow-sinker"))
def test_wobble_widens_on_the_way_down(name):
    # common practice, no source: a high tie gives a tight wiggle, a low one more and more roll
    config = bait(name)
    at = shipped_distance(config)
    high, middle, low = (tied(config, d).measures for d in (high_on_the_nose(config), at, at + 7.0))
    assert high["yaw_amplitude_deg"] < middle["yaw_amplitude_deg"]
    assert high["roll_amplitude_deg"] < middle["roll_amplitude_deg"] < low["roll_amplitude_deg"]


@pytest.mark.parametrize("name", ("shallow-runner", "deep-runner", "slab-sided", "slow-sinker"))
def test_wobble_slows_on_the_way_down(name):
    # common practice, no source: fast high up, slow low down. Not shown by the surface runner,
    # whose steep bill loses stream as a high tie pulls the nose down (docs/limits.md).
    config = bait(name)
    at = shipped_distance(config)
    high, middle, low = (
        tied(config, d).measures["wobble_frequency_hz"]
        for d in (high_on_the_nose(config), at, at + 9.0)
    )
    assert high > middle > low


@pytest.mark.parametrize("name", ALL)
def test_high_tie_hardly_moves(name):
    # common practice, no source
    config = bait(name)
    measures = tied(config, high_on_the_nose(config)).measures
    assert measures["yaw_amplitude_deg"] < 6.0
    assert abs(measures["lean_deg"]) < 2.0


@pytest.mark.parametrize("name", ("shallow-runner", "surface-runner", "slab-sided", "slow-sinker"))
def test_low_tie_rolls_more_than_it_wobbles_and_goes_over(name):
    # common practice, no source
    run = tied(bait(name), LOW)
    # one that tumbles about at the surface never settles and has no class, but goes over it does
    turns = abs(run.measures["turns"]) > 1.0
    assert run.motion_class in ("over-rolling", "spinning") or turns, run.class_reason
    if run.motion_class == "over-rolling":
        assert run.measures["roll_amplitude_deg"] > 1.5 * run.measures["yaw_amplitude_deg"]


@pytest.mark.parametrize("name", ALL)
def test_high_tie_corkscrews_only_with_an_error(name):
    # common practice, no source: a slight error in bill or body makes a high tie corkscrew;
    # deep water, because near the surface the leaning bait comes up and rides on its side instead
    config = bait(name, **DEEP_WATER, **{"retrieve.speed_m_s": 2.0})
    straight = tied(config, high_on_the_nose(config))
    skewed = tied(config, high_on_the_nose(config), **{"bait.bill.yaw_error_deg": 3.0})
    assert straight.motion_class == "tight", straight.class_reason
    assert skewed.motion_class == "spinning", skewed.class_reason


@pytest.mark.parametrize("name", ("shallow-runner", "surface-runner", "slow-sinker"))
def test_an_error_matters_less_at_the_balanced_tie_than_high_up(name):
    # common practice, no source: the balanced spot is easy to tune
    config = bait(name, **DEEP_WATER, **{"bait.bill.yaw_error_deg": 1.5})
    high = tied(config, high_on_the_nose(config)).measures
    middle = tied(config, shipped_distance(config)).measures
    assert abs(middle["lean_deg"]) < 0.8 * abs(high["lean_deg"])


@pytest.mark.parametrize("name", ("shallow-runner", "surface-runner", "deep-runner", "slab-sided"))
def test_modes_tell_why(name):
    # what the linear theory makes of the same practice, no source: down the nose the wobble slows
    # and loses damping, while high up a lean comes back slowest, so that every error shows there
    config = bait(name)
    high, root = (
        sim.modes(sim.with_overrides(config, tie))
        for d in (high_on_the_nose(config), 0.0)
        for aft, above in [tie_path(config).at(d)]
        for tie in [{"bait.tie.from_nose_mm": aft, "bait.tie.above_centreline_mm": above}]
    )
    assert high.wobble.frequency_hz > 1.5 * root.wobble.frequency_hz
    assert high.wobble.growth_1_s < root.wobble.growth_1_s - 5.0
    assert high.lean.growth_1_s < 0.0 and not high.lean.oscillates
    assert high.lean.growth_1_s > 1.5 * root.lean.growth_1_s


@pytest.mark.parametrize("name", ("shallow-runner", "deep-runner", "slab-sided", "surface-runner"))
def test_frequency_in_proportion_to_speed(name):
    # common practice, no source: within 30 %
    config = bait(name)
    per_speed = []
    for speed in (0.6, 1.0, 1.4, 1.8):
        run = sim.simulate(sim.with_overrides(config, {"retrieve.speed_m_s": speed}))
        per_speed.append(run.measures["wobble_frequency_hz"] / speed)
    middle = float(np.median(per_speed))
    assert np.allclose(per_speed, middle, rtol=0.3)
    assert 3.0 < middle < 15.0  # plausible wobble rates: common practice, no source


def with_flat_sides(config: sim.Config) -> sim.Config:
    """The same bait with slab sides, its buoyancy and its share of ballast kept."""
    plain = sim.assemble(config)
    flat = sim.with_overrides(config, {"bait.body.exponent": 4.0})
    grown = sim.assemble(flat).volume / plain.volume
    return sim.with_overrides(
        flat,
        {
            "bait.total_mass_g": config.bait.total_mass_g * grown,
            "bait.ballast.0.mass_g": config.bait.ballast[0].mass_g * grown,
        },
    )


@pytest.mark.parametrize("name", ("shallow-runner", "surface-runner", "slow-sinker", "deep-runner"))
def test_tie_point_matters_more_than_flat_sides(name):
    # common practice, no source: flat sides only show a roll, the tie point makes it. Taken at
    # the upper part of the balanced stretch; at its lower edge any change may tip a bait over.
    config = bait(name)
    at = shipped_distance(config) - 6.0
    plain = tied(config, at).measures["roll_amplitude_deg"]
    flat = tied(with_flat_sides(config), at).measures["roll_amplitude_deg"]
    moved = [tied(config, at + d).measures["roll_amplitude_deg"] for d in (-6.0, 6.0)]
    assert abs(flat - plain) < 0.5 * (max(moved) - min(moved))


def test_bills_near_ninety_degrees_make_surface_baits():
    # common practice, no source: the steeper the bill, the shallower the bait
    config = bait("shallow-runner")
    depths = []
    for angle in (30.0, 48.0, 65.0, 85.0):
        run = sim.simulate(sim.with_overrides(config, {"bait.bill.angle_deg": angle}))
        depths.append(run.measures["depth_m"])
    assert depths == sorted(depths, reverse=True)
    surface = sim.simulate(bait("surface-runner")).measures["depth_m"]
    deep = sim.simulate(bait("deep-runner")).measures["depth_m"]
    shallow = sim.simulate(bait("shallow-runner")).measures["depth_m"]
    assert surface < shallow < deep


def test_class_does_not_see_the_tie_position():
    # the verdict is a function of the motion's measures and the limits alone
    from sim.classify import classify

    run = sim.simulate(bait("shallow-runner"))
    verdict = classify(run.measures, False, run.config.limits)
    assert verdict.motion_class == run.motion_class
    assert not any("tie" in name for name in run.measures)
