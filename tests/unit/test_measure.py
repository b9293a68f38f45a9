"""Measures of made-up motions with known frequency, amplitude, lean, drift and turns."""

from __future__ import annotations

import math
import warnings
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sim.bait.assembly import Assembly, assemble
from sim.config import Config, config_from_dict
from sim.measure import (
    Angles,
    Stationary,
    half_range,
    mean_crossing_frequency,
    run_measures,
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
    }  # fmt: skip
