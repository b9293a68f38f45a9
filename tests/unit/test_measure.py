"""Measures of made-up motions with known frequency, amplitude, lean, drift and turns."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sim.bait.assembly import Assembly, assemble
from sim.config import Config, config_from_dict
from sim.kernels import motion
from sim.measure import (
    Angles,
    Stationary,
    half_range,
    mean_crossing_frequency,
    run_measures,
    run_params,
    stationary_part,
    track_angles,
    wrapped,
)

STEP = 0.004
TOLERANCE = 0.05
AHEAD = np.array([2.9, 0.0, -0.7])  # rod tip from the bait [m]


def times(duration: float) -> np.ndarray:
    return np.arange(round(duration / STEP) + 1) * STEP


def attitudes(yaw: Any, pitch: Any, roll: Any) -> np.ndarray:
    """Quaternions, scalar first, from Euler angles [deg]."""
    angles = np.column_stack(np.broadcast_arrays(yaw, pitch, roll))
    quat: np.ndarray = Rotation.from_euler("ZYX", angles, degrees=True).as_quat(scalar_first=True)
    return quat


def wobble(
    duration: float = 8.0,
    frequency: float = 7.0,
    yaw: float = 12.0,
    roll: float = 20.0,
    lean: float = 1.5,
    pitch: float = -15.0,
    turn_rate: float = 0.0,
    growth_s: float = 0.0,
    heading: float = 0.0,
) -> Angles:
    """Angles of a wobbling bait, by way of quaternions."""
    t = times(duration)
    grown = 1.0 - np.exp(-t / growth_s) if growth_s else np.ones_like(t)
    phase = 2.0 * np.pi * frequency * t
    quat = attitudes(
        heading + 0.5 + yaw * grown * np.sin(phase),
        pitch + grown * np.sin(2.0 * phase),
        lean + roll * grown * np.sin(phase - 0.7) + 360.0 * turn_rate * t,
    )
    return track_angles(quat, heading)


# ------------------------------------------------------------------------------------------ angles


@pytest.mark.parametrize("heading", [0.0, 55.0, -170.0])
def test_angles_come_back_with_the_heading_taken_off(heading: float) -> None:
    yaw, pitch = np.array([3.0, -20.0, 40.0]), np.array([-15.0, 30.0, 0.0])
    roll = np.array([5.0, -60.0, 100.0])
    found = track_angles(attitudes(yaw + heading, pitch, roll), heading)
    np.testing.assert_allclose(found.yaw, yaw, atol=1e-10)
    np.testing.assert_allclose(found.pitch, pitch, atol=1e-10)
    np.testing.assert_allclose(found.roll, roll, atol=1e-10)


def test_angles_do_not_depend_on_the_sign_of_the_quaternion() -> None:
    quat = attitudes(np.linspace(0.0, 30.0, 50), -10.0, np.linspace(0.0, 700.0, 50))
    flipped = quat * np.where(np.arange(50) % 3 == 0, -1.0, 1.0)[:, None]
    for a, b in zip(track_angles(quat, 10.0), track_angles(flipped, 10.0), strict=True):
        # turns count from an arbitrary whole number
        np.testing.assert_allclose(a - a[0], b - b[0], atol=1e-9)


@pytest.mark.parametrize("rate", [0.05, 0.5, 5.0, 20.0, -0.05, -0.5, -5.0, -20.0])
def test_turns_are_counted_slow_and_fast_in_both_senses(rate: float) -> None:
    found = wobble(duration=10.0, turn_rate=rate, roll=5.0)
    net = found.twist[-1] - found.twist[0]
    assert net == pytest.approx(10.0 * rate, abs=0.05)
    # positive is starboard side down
    assert np.sign(net) == np.sign(rate)


@pytest.mark.parametrize("pitch", [-80.0, -45.0, 0.0, 45.0, 80.0])
def test_turns_do_not_depend_on_the_pitch(pitch: float) -> None:
    t = times(4.0)
    found = track_angles(attitudes(0.0, pitch, 360.0 * 1.5 * t), 0.0)
    assert found.twist[-1] - found.twist[0] == pytest.approx(6.0, abs=1e-9)


def test_wobble_does_not_count_as_turning() -> None:
    found = wobble(yaw=30.0, roll=80.0)
    assert np.abs(found.twist - found.twist[0]).max() < 0.5
    assert abs(found.twist[-1] - found.twist[0]) < 0.05


@pytest.mark.parametrize("pitch", [90.0, -90.0, 89.999, -89.999])
def test_bait_on_its_nose_neither_warns_nor_turns(pitch: float) -> None:
    # nose straight down or up: Euler angles lose their meaning there, the count of turns does not
    t = times(4.0)
    nose_down = Rotation.from_euler("y", pitch, degrees=True)
    rock = Rotation.from_euler(
        "xz", np.column_stack([4.0 * np.sin(9.0 * t), 3.0 * np.sin(11.0 * t)]), degrees=True
    )
    quat = (nose_down * rock).as_quat(scalar_first=True)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = track_angles(quat, 0.0)
    assert all(np.isfinite(a).all() for a in found)
    assert np.ptp(found.twist) < 0.05
    assert np.abs(found.pitch - pitch).max() < 4.0


@pytest.mark.parametrize("rate", [1.5, -1.5])
def test_bait_hanging_from_the_line_and_spinning_is_counted(rate: float) -> None:
    t = times(4.0)
    hang = Rotation.from_euler("y", 89.0, degrees=True)
    turn = Rotation.from_euler("x", 360.0 * rate * t[:, None], degrees=True)
    found = track_angles((hang * turn).as_quat(scalar_first=True), 0.0)
    assert found.twist[-1] - found.twist[0] == pytest.approx(4.0 * rate, abs=0.01)


@pytest.mark.parametrize(
    ("given", "expected"),
    [(0.0, 0.0), (181.0, -179.0), (-181.0, 179.0), (370.0, 10.0), (-725.0, -5.0), (540.0, -180.0)],
)
def test_wrapped(given: float, expected: float) -> None:
    assert wrapped(given) == pytest.approx(expected)


# -------------------------------------------------------------------------- frequency and amplitude


@pytest.mark.parametrize("frequency", [0.7, 3.0, 7.3, 13.0, 25.0])
@pytest.mark.parametrize("offset", [0.0, 40.0])
def test_frequency_of_a_sine(frequency: float, offset: float) -> None:
    t = times(8.0)
    series = offset + 5.0 * np.sin(2.0 * np.pi * frequency * t + 0.3)
    # straight lines between samples miss a crossing by at most (pi f step)^2 / 6 of a sample; the
    # mean over broken wobbles moves it by some more
    assert mean_crossing_frequency(series, STEP) == pytest.approx(frequency, rel=5e-3)


def test_ripple_on_the_wobble_is_not_counted() -> None:
    t = times(20.0)
    series = 10.0 * np.sin(2.0 * np.pi * 0.6 * t) + 0.6 * np.sin(2.0 * np.pi * 57.0 * t + 0.5)
    rising = ((series[:-1] < 0.0) & (series[1:] >= 0.0)).sum()
    assert rising > 24  # counted plainly, the ripple would show
    assert mean_crossing_frequency(series, STEP) == pytest.approx(0.6, rel=0.01)


def test_noise_on_the_wobble_is_not_counted() -> None:
    t = times(8.0)
    noise = np.random.default_rng(3).normal(scale=0.5, size=t.size)
    series = 10.0 * np.sin(2.0 * np.pi * 4.0 * t) + noise
    assert mean_crossing_frequency(series, STEP) == pytest.approx(4.0, rel=0.01)


def test_slow_lean_over_does_not_hide_the_wobble() -> None:
    t = times(8.0)
    series = 10.0 * np.sin(2.0 * np.pi * 6.0 * t) + 0.5 * t
    assert mean_crossing_frequency(series, STEP) == pytest.approx(6.0, rel=0.01)


def test_no_frequency_without_two_crossings() -> None:
    t = times(1.0)
    assert math.isnan(mean_crossing_frequency(np.full(100, 3.0), STEP))
    assert math.isnan(mean_crossing_frequency(t, STEP))
    assert math.isnan(mean_crossing_frequency(np.sin(2.0 * np.pi * t), STEP))


def test_half_range() -> None:
    assert half_range(np.array([-3.0, 1.0, 9.0])) == 6.0
    swing = 30.0 + 7.0 * np.sin(np.linspace(0.0, 50.0, 5000))
    assert half_range(swing) == pytest.approx(7.0, rel=1e-4)


# ---------------------------------------------------------------------------------- stationary part


def test_steady_wobble_is_stationary_over_half_of_the_run() -> None:
    part = stationary_part(wobble(), STEP, TOLERANCE)
    assert part.found and not part.turning
    assert part.last == 2000
    assert part.first == pytest.approx(1000, abs=2)


def test_transient_is_left_out() -> None:
    # grown to 5 % at 1.5 s, which with blocks of a second leaves at most the last four
    part = stationary_part(wobble(growth_s=0.5), STEP, TOLERANCE)
    assert part.found
    assert part.first * STEP > 1.5


def test_late_change_leaves_the_part_after_it() -> None:
    early, late = wobble(yaw=20.0), wobble(yaw=8.0)
    joined = Angles(*(np.where(times(8.0) < 5.5, a, b) for a, b in zip(early, late, strict=True)))
    part = stationary_part(joined, STEP, TOLERANCE)
    assert part.found
    assert part.first * STEP >= 5.5


@pytest.mark.parametrize("name", ["yaw", "roll"])
def test_growing_wobble_is_not_stationary(name: str) -> None:
    t = times(8.0)
    found = wobble(yaw=10.0, roll=10.0)
    grown = getattr(found, name) * np.exp(0.25 * t)
    part = stationary_part(found._replace(**{name: grown}), STEP, TOLERANCE)
    assert not part.found
    assert (part.first, part.last) == (1000, 2000)


@pytest.mark.parametrize("name", ["yaw", "roll"])
def test_steadily_leaning_over_is_not_stationary(name: str) -> None:
    t = times(8.0)
    found = wobble()
    sloping = getattr(found, name) + 4.0 * t
    assert not stationary_part(found._replace(**{name: sloping}), STEP, TOLERANCE).found


def test_tolerance_decides() -> None:
    t = times(8.0)
    found = wobble(yaw=20.0, roll=30.0)
    slowly = found._replace(yaw=found.yaw * (1.0 + 0.08 * t))
    assert not stationary_part(slowly, STEP, 0.02).found
    assert stationary_part(slowly, STEP, 0.2).found


def test_still_bait_is_stationary() -> None:
    n = 2001
    still = Angles(np.zeros(n), np.full(n, -10.0), np.zeros(n), np.zeros(n))
    part = stationary_part(still, STEP, TOLERANCE)
    assert part.found and not part.turning


def test_slow_wobble_needs_a_longer_run() -> None:
    # blocks hold four wobbles: at 0.6 Hz 6.7 s, so two do not fit into 8 s
    assert not stationary_part(wobble(8.0, frequency=0.6), STEP, TOLERANCE).found
    assert stationary_part(wobble(20.0, frequency=0.6), STEP, TOLERANCE).found


def test_long_blocks_reach_into_the_first_half_but_no_more_than_two() -> None:
    # four wobbles at 1.6 Hz take 2.5 s: three blocks would fit into 8 s
    part = stationary_part(wobble(8.0, frequency=1.6), STEP, TOLERANCE)
    assert part.found
    assert part.first * STEP == pytest.approx(3.0, abs=0.05)


@pytest.mark.parametrize("rate", [0.5, 1.2, 6.0, -0.5, -1.2, -6.0])
def test_steady_corkscrew_is_stationary_and_turns(rate: float) -> None:
    found = wobble(8.0, turn_rate=rate, yaw=4.0, roll=6.0)
    part = stationary_part(found, STEP, TOLERANCE)
    assert part.found and part.turning
    turns = found.twist[part.last] - found.twist[part.first]
    assert abs(turns) > 1.0
    assert turns / ((part.last - part.first) * STEP) == pytest.approx(rate, rel=0.05)


def test_very_slow_corkscrew_is_found_in_a_longer_run_only() -> None:
    # 0.15 turns a second: half a turn in half of 8 s, but two blocks of 1.25 turns need 17 s
    short = stationary_part(wobble(8.0, turn_rate=0.15), STEP, TOLERANCE)
    assert short.turning and not short.found
    long = stationary_part(wobble(24.0, turn_rate=0.15), STEP, TOLERANCE)
    assert long.turning and long.found


def test_turning_ever_faster_is_not_stationary() -> None:
    t = times(8.0)
    found = wobble(yaw=2.0, roll=2.0)
    spun = found._replace(twist=0.1 * np.exp(0.6 * t))
    part = stationary_part(spun, STEP, TOLERANCE)
    assert part.turning and not part.found


def test_turning_there_and_back_is_not_stationary() -> None:
    # half a turn net in the second half, made of turns in both senses
    t = times(8.0)
    back = np.where(t < 7.0, 1.5 * t, 21.0 - 1.5 * t)
    part = stationary_part(wobble()._replace(twist=back), STEP, TOLERANCE)
    assert part.turning and not part.found


def test_one_roll_over_at_the_start_does_not_make_a_spinning_bait() -> None:
    t = times(8.0)
    phase = 2.0 * np.pi * 7.0 * t
    roll = 20.0 * np.sin(phase) + 10.0 + 360.0 * np.clip(t - 0.5, 0.0, 1.0)
    found = track_angles(attitudes(12.0 * np.sin(phase), -10.0, roll), 0.0)
    part = stationary_part(found, STEP, TOLERANCE)
    assert part.found and not part.turning
    assert found.twist[-1] == pytest.approx(1.0 + 10.0 / 360.0, abs=0.05)
    lean = float(found.roll[part.first : part.last + 1].mean())
    assert wrapped(lean) == pytest.approx(10.0, abs=0.3)


# ----------------------------------------------------------------------------------------- measures


def bait_on_a_line(**tables: Any) -> tuple[Config, Assembly]:
    config = config_from_dict({
        "bait": {
            "body": {"form": "ellipsoid", "length_mm": 70.0, "height_mm": 20.0, "width_mm": 14.0,
                     "density_g_cm3": 0.6},
            "tie": {"from_nose_mm": 0.0, "above_centreline_mm": 0.0},
        },
        "line": {"length_m": 3.0},
        **tables,
    })  # fmt: skip
    return config, assemble(config)


def measured(
    quat: np.ndarray,
    place: np.ndarray,
    rod: np.ndarray,
    heading: float = 0.0,
    turning: bool = False,
    line: bool = True,
) -> dict[str, float]:
    config, bait = bait_on_a_line(retrieve={"heading_deg": heading})
    if not line:
        config = config.model_copy(update={"line": None})
    n = quat.shape[0]
    angles = track_angles(quat, heading)
    part = Stationary(0, n - 1, True, turning)
    pull = 1.5 + 0.5 * np.sin(2.0 * np.pi * 14.0 * times((n - 1) * STEP))
    return run_measures(config, bait, part, angles, STEP, place, quat, pull, rod)


def straight(t: np.ndarray, depth: float = 0.7, aside: float = 0.0) -> np.ndarray:
    return np.column_stack([1.2 * t, aside * t, np.full_like(t, depth)])


def test_measures_of_a_known_wobble() -> None:
    t = times(4.0)
    phase = 2.0 * np.pi * 5.0 * t
    quat = attitudes(
        12.0 * np.sin(phase), -15.0 + 2.0 * np.cos(2.0 * phase), 4.0 + 18.0 * np.sin(phase - 1.0)
    )
    place = straight(t)
    found = measured(quat, place, place + AHEAD)
    assert found["wobble_frequency_hz"] == pytest.approx(5.0, rel=1e-3)
    assert found["yaw_amplitude_deg"] == pytest.approx(12.0, rel=0.01)
    assert found["roll_amplitude_deg"] == pytest.approx(18.0, rel=0.01)
    assert found["pitch_amplitude_deg"] == pytest.approx(2.0, rel=0.01)
    assert found["lean_deg"] == pytest.approx(4.0, abs=0.05)
    assert found["pitch_deg"] == pytest.approx(-15.0, abs=0.02)
    assert found["depth_m"] == pytest.approx(0.7)
    assert found["line_tension_n"] == pytest.approx(1.5, abs=0.01)
    assert found["speed_m_s"] == pytest.approx(1.2)
    assert found["turns"] == pytest.approx(0.0, abs=0.01)
    # nose and tail half of 70 mm from the centre of gravity: 2 * 35 * sin(12 deg) to and fro, times
    # the cosine of the mean pitch; the straight line taken off as drift tilts with the phase of a
    # wobble and adds up to 5 % over 20 wobbles
    expected = 70.0 * math.sin(math.radians(12.0)) * math.cos(math.radians(15.0))
    assert found["nose_sweep_mm"] == pytest.approx(expected, rel=0.05)
    assert found["tail_sweep_mm"] == pytest.approx(expected, rel=0.05)


def test_swaying_of_the_whole_bait_adds_at_the_nose_and_takes_off_at_the_tail() -> None:
    t = times(4.0)
    swing = np.sin(2.0 * np.pi * 5.0 * t)
    place = straight(t)
    place[:, 1] += 0.003 * swing
    found = measured(attitudes(10.0 * swing, 0.0, 0.0), place, place + AHEAD)
    own = 70.0 * math.sin(math.radians(10.0))
    assert found["nose_sweep_mm"] == pytest.approx(own + 6.0, rel=0.05)
    assert found["tail_sweep_mm"] == pytest.approx(own - 6.0, rel=0.05)


@pytest.mark.parametrize("heading", [0.0, 60.0, -135.0])
@pytest.mark.parametrize("aside", [0.08, -0.08, 0.0])
def test_side_drift_on_a_line_is_the_slope_of_the_line(heading: float, aside: float) -> None:
    # tie point a metre behind the rod tip and to starboard of its track by ``aside``
    t = times(2.0)
    turn = Rotation.from_euler("z", heading, degrees=True)
    place = turn.apply(np.column_stack([1.0 * t - 1.035, np.full_like(t, aside), 0.5 + 0.0 * t]))
    rod = turn.apply(np.column_stack([1.0 * t, 0.0 * t, 0.0 * t]))
    found = measured(attitudes(heading + 0.0 * t, 0.0, 0.0), place, rod, heading)
    assert found["side_drift_m_per_m"] == pytest.approx(aside, abs=1e-6)


@pytest.mark.parametrize("aside", [0.1, -0.1])
def test_side_drift_without_a_line_is_the_slope_of_the_path(aside: float) -> None:
    t = times(2.0)
    place = straight(t, aside=1.2 * aside)
    nowhere = np.full((t.size, 3), math.nan)
    found = measured(attitudes(0.0 * t, 0.0, 0.0), place, nowhere, line=False)
    assert found["side_drift_m_per_m"] == pytest.approx(aside)
    assert math.isnan(found["line_tension_n"])
    # drifting is no sweep
    assert found["nose_sweep_mm"] == pytest.approx(0.0, abs=1e-6)


def test_bait_that_goes_nowhere_has_no_drift() -> None:
    t = times(2.0)
    place = np.tile([0.0, 0.0, 0.7], (t.size, 1))
    nowhere = np.full((t.size, 3), math.nan)
    found = measured(attitudes(0.0 * t, 0.0, 0.0), place, nowhere, line=False)
    assert math.isnan(found["side_drift_m_per_m"])
    assert found["speed_m_s"] == 0.0
    place[:, :2] = 0.0004 * t[:, None]  # 0.8 mm ahead and as much aside
    found = measured(attitudes(0.0 * t, 0.0, 0.0), place, nowhere, line=False)
    assert math.isnan(found["side_drift_m_per_m"])


def test_still_bait_has_no_frequency() -> None:
    t = times(2.0)
    tremble = 0.02 * np.sin(2.0 * np.pi * 9.0 * t)  # 0.014 degrees rms
    place = straight(t)
    found = measured(attitudes(tremble, -10.0, 0.0), place, place + AHEAD)
    assert math.isnan(found["wobble_frequency_hz"])
    assert found["yaw_amplitude_deg"] == pytest.approx(0.02, rel=0.05)


@pytest.mark.parametrize(("roll", "lean"), [(190.0, -170.0), (370.0, 10.0), (-350.0, 10.0)])
def test_lean_is_wrapped_after_a_full_turn(roll: float, lean: float) -> None:
    t = times(2.0)
    # the first records before the roll over, so that the unwrapped roll passes 180 degrees
    rolls = roll * np.clip(t / 0.2, 0.0, 1.0) + 5.0 * np.sin(40.0 * t)
    quat, place = attitudes(3.0 * np.sin(40.0 * t), 0.0, rolls), straight(t)
    config, bait = bait_on_a_line()
    angles = track_angles(quat, 0.0)
    part = Stationary(100, t.size - 1, True, False)
    found = run_measures(
        config, bait, part, angles, STEP, place, quat, np.ones_like(t), place + AHEAD
    )
    assert found["lean_deg"] == pytest.approx(lean, abs=0.3)
    assert found["roll_amplitude_deg"] == pytest.approx(5.0, rel=0.02)
    assert abs(angles.roll[-1] - roll) < 6.0  # not wrapped in the angles themselves


@pytest.mark.parametrize("rate", [0.5, -3.0])
def test_measures_of_a_corkscrew(rate: float) -> None:
    t = times(4.0)
    quat, place = attitudes(5.0 * np.sin(30.0 * t), -5.0, 360.0 * rate * t), straight(t)
    found = measured(quat, place, place + AHEAD, turning=True)
    assert found["turns"] == pytest.approx(4.0 * rate, abs=0.03)
    assert found["turn_rate_hz"] == pytest.approx(rate, abs=0.01)
    for key in ("yaw_amplitude_deg", "roll_amplitude_deg", "lean_deg", "wobble_frequency_hz"):
        assert math.isnan(found[key]), key
    for key in ("depth_m", "line_tension_n", "speed_m_s", "tail_sweep_mm"):
        assert math.isfinite(found[key]), key


def test_measures_look_at_the_stationary_part_only() -> None:
    t = times(4.0)
    early = t < 2.0
    swing = np.sin(2.0 * np.pi * 5.0 * t)
    quat = attitudes(np.where(early, 30.0, 8.0) * swing, np.where(early, 20.0, -5.0), 0.0)
    place = straight(t)
    place[early, 2] = 3.0
    config, bait = bait_on_a_line()
    found = run_measures(
        config, bait, Stationary(500, t.size - 1, True, False), track_angles(quat, 0.0), STEP,
        place, quat, np.where(early, 9.0, 1.0), place + AHEAD,
    )  # fmt: skip
    assert found["yaw_amplitude_deg"] == pytest.approx(8.0, rel=0.01)
    assert (found["depth_m"], found["pitch_deg"], found["line_tension_n"]) == pytest.approx(
        (0.7, -5.0, 1.0)
    )


def test_names_of_the_measures_end_in_their_unit() -> None:
    t = times(1.0)
    place = straight(t)
    found = measured(attitudes(0.0 * t, 0.0, 0.0), place, place + AHEAD)
    assert set(found) == {
        "wobble_frequency_hz", "yaw_amplitude_deg", "roll_amplitude_deg", "pitch_amplitude_deg",
        "lean_deg", "pitch_deg", "turns", "turn_rate_hz", "depth_m", "depth_rate_mm_s",
        "line_tension_n",
        "side_drift_m_per_m", "nose_sweep_mm", "tail_sweep_mm", "speed_m_s",
        "most_turns",
    }  # fmt: skip


# ------------------------------------------------------------ compiled code against NumPy and SciPy


@pytest.mark.parametrize("seed", range(5))
def test_unwrapping_is_that_of_numpy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    walk = np.cumsum(rng.normal(scale=1.5, size=500))
    folded = np.angle(np.exp(1j * walk))
    for series in (
        folded,
        rng.uniform(-40.0, 40.0, size=300),  # jumps of many turns
        np.pi * rng.integers(-3, 4, size=300),  # of just half a turn either way
        np.array([1.0]),
        np.array([0.0, 4.0, math.nan, 0.0, 4.0]),
    ):
        found = series.copy()
        motion.unwrap(found)
        np.testing.assert_allclose(found, np.unwrap(series), rtol=0.0, atol=1e-11)


@pytest.mark.parametrize("heading", [0.0, 77.0, -130.0])
def test_angles_are_those_of_scipy(heading: float) -> None:
    rng = np.random.default_rng(8)
    # a tumbling bait that stays away from straight up and down, where Euler angles flip
    steps = np.cumsum(rng.normal(scale=12.0, size=(400, 3)), axis=0)
    steps[:, 1] = 70.0 * np.sin(0.05 * steps[:, 1])
    quat = attitudes(*steps.T) * rng.choice([-1.0, 1.0], size=(400, 1))
    found = track_angles(quat, heading)
    about = Rotation.from_euler("z", -heading, degrees=True) * Rotation.from_quat(
        quat, scalar_first=True
    )
    yaw, pitch, roll = about.as_euler("ZYX").T
    np.testing.assert_allclose(found.yaw, np.degrees(np.unwrap(yaw)), atol=1e-9)
    np.testing.assert_allclose(found.pitch, np.degrees(pitch), atol=1e-9)
    np.testing.assert_allclose(found.roll, np.degrees(np.unwrap(roll)), atol=1e-9)
    w, x, _, _ = about.as_quat(scalar_first=True).T
    turns = np.unwrap(2.0 * np.arctan2(x, w)) / (2.0 * np.pi)
    np.testing.assert_allclose(found.twist - found.twist[0], turns - turns[0], atol=1e-12)


@pytest.mark.parametrize("size", [1, 2, 3, 4, 7, 1001])
def test_statistics_are_those_of_numpy(size: int) -> None:
    x = np.random.default_rng(size).normal(loc=300.0, scale=2.0, size=size)
    assert motion.mean(x) == pytest.approx(x.mean(), rel=1e-13)
    assert motion.spread(x) == pytest.approx(x.std(), rel=1e-10)
    assert motion.peak_to_peak(x) == np.ptp(x)
    quarter = max(1, size // 4)
    change = x[-quarter:].mean() - x[:quarter].mean()
    assert motion.quarter_change(x) == pytest.approx(change, abs=1e-11)


def test_peak_to_peak_hides_no_nan() -> None:
    for i in range(3):
        x = np.array([3.0, 1.0, 2.0])
        x[i] = math.nan
        assert math.isnan(half_range(x))
    assert math.isnan(half_range(np.zeros(0)))


def crossings_by_numpy(series: np.ndarray, step: float) -> float:
    """The definition of the frequency, step by step over whole arrays."""
    found = []
    for x in (series - series.mean(), series.mean() - series):
        upward = np.flatnonzero((x[:-1] < 0.0) & (x[1:] >= 0.0))
        deep = np.flatnonzero(x < -0.2 * series.std())
        kept, since = [], -1
        for i in upward:
            if ((deep > since) & (deep <= i)).any():
                kept.append(np.interp(0.0, x[i : i + 2], [i, i + 1.0]))
                since = i
        if len(kept) >= 2:
            found.append((len(kept) - 1) / ((kept[-1] - kept[0]) * step))
    return float(np.mean(found)) if found else math.nan


@pytest.mark.parametrize("seed", range(8))
def test_frequency_is_that_of_its_definition(seed: int) -> None:
    rng = np.random.default_rng(seed)
    t = times(4.0)
    tone = np.sin(2.0 * np.pi * rng.uniform(0.2, 12.0) * t + rng.uniform(0.0, 6.0))
    series = rng.normal() + tone + 10.0 ** rng.uniform(-4.0, 0.5) * rng.normal(size=t.size)
    expected = crossings_by_numpy(series, STEP)
    assert math.isfinite(expected)
    assert mean_crossing_frequency(series, STEP) == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize("frequency", [math.nan, 0.3, 3.1, 41.0])
def test_sweep_is_that_of_numpy(frequency: float) -> None:
    rng = np.random.default_rng(4)
    across = np.cumsum(rng.normal(size=900))
    if math.isnan(frequency):
        time = np.arange(across.size)
        expected = np.ptp(across - np.polyval(np.polyfit(time, across, 1), time))
    else:
        cycle = min(across.size, round(1.0 / (frequency * STEP)) + 1)
        whole = across[: across.size // cycle * cycle].reshape(-1, cycle)
        expected = np.ptp(whole, axis=1).mean()
    assert motion.sweep(across.copy(), frequency, STEP) == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize("heading", [0.0, 77.0, -130.0])
def test_paths_of_nose_tail_and_tie_point_are_those_of_scipy(heading: float) -> None:
    # random attitudes: no symmetry hides a wrong sign, and no wobble is counted over the still yaw
    rng = np.random.default_rng(21)
    n, part = 300, Stationary(40, 279, True, True)
    quat = Rotation.random(n, rng=rng).as_quat(scalar_first=True)
    place, rod = rng.normal(size=(n, 3)), rng.normal(size=(n, 3)) + 5.0
    config, bait = bait_on_a_line(
        bait={
            "body": {"form": "ellipsoid", "length_mm": 70.0, "height_mm": 20.0, "width_mm": 14.0,
                     "density_g_cm3": 0.6},
            "tie": {"from_nose_mm": 6.0, "above_centreline_mm": 8.0},
            "ballast": [{"name": "weight", "mass_g": 2.0, "from_nose_mm": 25.0,
                         "above_centreline_mm": -7.0}],
        },
        retrieve={"heading_deg": heading},
    )  # fmt: skip
    found = run_measures(
        config, bait, part, track_angles(quat, heading), STEP, place, quat, np.ones(n), rod
    )
    assert math.isnan(found["wobble_frequency_hz"])
    turn = Rotation.from_quat(quat, scalar_first=True)
    to_track = Rotation.from_euler("z", -heading, degrees=True)
    assert bait.body is not None and bait.r_b_tie is not None
    for key, from_nose in (("nose_sweep_mm", 0.0), ("tail_sweep_mm", bait.body.length)):
        at = place + turn.apply(np.array([-from_nose, 0.0, 0.0]) - bait.centre_of_gravity)
        across = to_track.apply(at)[40:280, 1]
        time = np.arange(across.size)
        level = across - np.polyval(np.polyfit(time, across, 1), time)
        assert found[key] == pytest.approx(1e3 * np.ptp(level), rel=1e-11)
    reach = to_track.apply(rod - place - turn.apply(bait.r_b_tie))[40:280].mean(axis=0)
    assert found["side_drift_m_per_m"] == pytest.approx(-reach[1] / reach[0], rel=1e-11)
    moved = np.linalg.norm(place[279] - place[40]) / (239 * STEP)
    assert found["speed_m_s"] == pytest.approx(moved, rel=1e-13)
    depth = place[40:280, 2]
    assert found["depth_m"] == pytest.approx(depth.mean(), rel=1e-11)
    # over the quarters, whose middles are three quarters of 240 records apart
    sinking = 1e3 * (depth[180:].mean() - depth[:60].mean()) / (180 * STEP)
    assert found["depth_rate_mm_s"] == pytest.approx(sinking, rel=1e-11)


def motions() -> dict[str, Callable[[np.ndarray], tuple[Any, Any, Any]]]:
    """Yaw, pitch and roll [deg] over time."""

    def growth(t: np.ndarray) -> np.ndarray:
        return np.exp(0.3 * t) * np.sin(40.0 * t)

    return {
        "wobble": lambda t: (12.0 * np.sin(44.0 * t), -15.0, 3.0 + 20.0 * np.sin(44.0 * t - 0.7)),
        "still": lambda t: (0.5, -10.0, 0.0 * t),
        "slow": lambda t: (3.0 * np.sin(1.1 * t), -10.0, 2.0 * t),
        "growing": lambda t: (3.0 * growth(t), -5.0, 6.0 * growth(t - 0.1)),
        "spinning": lambda t: (4.0 * np.sin(9.0 * t), -20.0, -500.0 * t + 5.0 * np.sin(9.0 * t)),
        "steep": lambda t: (5.0 * np.sin(30.0 * t), -84.0 - 4.0 * np.sin(3.0 * t), 10.0),
    }


@pytest.mark.parametrize("line", [True, False])
@pytest.mark.parametrize("records", [2001, 1000, 401, 2])
@pytest.mark.parametrize("name", list(motions()))
def test_one_call_measures_the_run_like_the_three(name: str, records: int, line: bool) -> None:
    t = np.arange(records) * STEP
    quat = attitudes(*motions()[name](t))
    rng = np.random.default_rng(records)
    place = straight(t, aside=0.05) + rng.normal(scale=0.01, size=(records, 3))
    pull = rng.uniform(0.5, 1.5, size=records)
    rod = place + AHEAD if line else np.full((records, 3), math.nan)
    config, bait = bait_on_a_line(retrieve={"heading_deg": 20.0})
    if not line:
        config = config.model_copy(update={"line": None})

    angles = track_angles(quat, 20.0 if line else 0.0)
    part = Stationary((records - 1) // 2, records - 1, False, False)
    if line:
        part = stationary_part(angles, STEP, TOLERANCE)
    expected = run_measures(config, bait, part, angles, STEP, place, quat, pull, rod)

    scratch = np.full((motion.N_SCRATCH, records + 13), math.nan)
    wrapped = np.full((4, records + 5), math.nan)
    out = np.full(motion.N_OUT, 77.0)
    params = run_params(config, bait)
    motion.measure_run(
        place, quat, pull, rod, STEP, TOLERANCE, 1.0, params, 0, wrapped, scratch, out
    )
    assert tuple(out[: motion.FIRST_MEASURE]) == (part.first, part.last, part.found, part.turning)
    assert list(expected) == list(motion.MEASURES)
    np.testing.assert_array_equal(out[motion.FIRST_MEASURE :], list(expected.values()))
    np.testing.assert_array_equal(scratch[:4, :records], np.array(angles))
    # looked at before, when it was half as long: the same
    again, some = np.empty(motion.N_OUT), records // 2
    wrapped[:, some:] = math.nan
    motion.measure_run(
        place, quat, pull, rod, STEP, TOLERANCE, 1.0, params, some, wrapped, scratch, again
    )
    np.testing.assert_array_equal(again, out)
    if records == 2001 and line:
        assert (part.found, part.turning) == (name not in ("slow", "growing"), name == "spinning")


def test_kernels_are_compiled_for_one_kind_of_array() -> None:
    t = times(2.0)
    quat, place = attitudes(10.0 * np.sin(40.0 * t), -10.0, 0.0), straight(t)
    quat, place = quat[: t.size], place[: t.size]
    expected = measured(quat, place, place + AHEAD)
    states = np.zeros((t.size, 15))
    states[:, :3], states[:, 3:7] = place, quat
    frozen = quat.copy()
    frozen.flags.writeable = False
    for q in (states[:, 3:7], np.asfortranarray(quat), frozen, quat.astype(np.longdouble)):
        found = measured(q, states[:, :3], np.asfortranarray(place + AHEAD))
        assert found == expected
    mean_crossing_frequency(np.arange(9)[::-1], 1)
    half_range(np.arange(9, dtype=np.float32))
    wrapped(3)
    for kernel in (
        motion.track_angles, motion.stationary_part, motion.part_measures, motion.half_range,
        motion.crossing_frequency, motion.wrapped, motion.mean, motion.spread,
    ):  # fmt: skip
        assert len(kernel.signatures) <= 1, kernel


def test_series_that_do_not_fit_are_refused() -> None:
    n = 50
    quat, place = attitudes(np.zeros(n), 0.0, 0.0), np.zeros((n, 3))
    config, bait = bait_on_a_line()
    angles = track_angles(quat, 0.0)
    with pytest.raises(ValueError, match=r"attitude of shape \(50, 3\): must be \(n, 4\)"):
        track_angles(place, 0.0)
    with pytest.raises(ValueError, match=r"angles of shapes \(50,\), \(49,\)"):
        stationary_part(angles._replace(pitch=angles.pitch[1:]), STEP, TOLERANCE)
    for last, pull in ((n, n), (n - 1, n - 1), (-1, n)):
        with pytest.raises(ValueError, match=r"records 0 to .* must lie within it"):
            run_measures(
                config, bait, Stationary(0, last, True, False), angles, STEP, place, quat,
                np.ones(pull), place,
            )  # fmt: skip


BY_HAND = """
import json
import numpy as np
from sim.kernels import motion

n, found = 401, []
t = np.arange(n) * 0.02
for rate, line in ((0.0, 1.0), (6.0, 1.0), (0.5, 0.0)):
    half = 0.5 * (0.3 * np.sin(9.0 * t) + rate * t)
    yaw = 0.1 * np.sin(9.0 * t + 1.0)
    quat = np.column_stack([np.cos(half) * np.cos(yaw), np.sin(half) * np.cos(yaw),
                            np.sin(half) * np.sin(yaw), np.cos(half) * np.sin(yaw)])
    place = np.column_stack([t, 0.01 * np.sin(9.0 * t), 0.5 + 0.02 * t])
    params = np.array([10.0, line, 1.0, 0.03, 0.0, 0.01, -0.03, 0.0, 0.002, 0.07])
    out = np.zeros(motion.N_OUT)
    scratch, angles = np.zeros((motion.N_SCRATCH, n)), np.zeros((4, n))
    motion.measure_run(
        place, quat, 1.0 + yaw, place + 2.0, 0.02, 0.05, 1.0, params, 0, angles, scratch, out
    )
    found.append(out.tolist())
print(json.dumps(found))
"""


def by_hand(**environment: str) -> Any:
    done = subprocess.run(
        [sys.executable, "-c", BY_HAND], env={**os.environ, **environment},
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    return json.loads(done.stdout)


def test_measuring_gives_the_same_without_compilation_and_stays_within_its_arrays(
    tmp_path: Path,
) -> None:
    compiled = by_hand()
    assert [row[: motion.FIRST_MEASURE] for row in compiled] == [
        [120.0, 400.0, 1.0, 0.0], [pytest.approx(200, abs=40), 400.0, 1.0, 1.0],
        [200.0, 400.0, 0.0, 0.0],
    ]  # fmt: skip
    # a cache of its own: numba would take compiled code without the checks from a shared one
    for other in (
        by_hand(NUMBA_DISABLE_JIT="1"),
        by_hand(NUMBA_BOUNDSCHECK="1", NUMBA_CACHE_DIR=str(tmp_path)),
    ):
        np.testing.assert_allclose(compiled, other, rtol=1e-11, atol=1e-12)
