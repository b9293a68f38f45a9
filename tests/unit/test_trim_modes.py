"""Steady tow, modes and the start of a run: balance, symmetries, scaling, names, words."""

from __future__ import annotations

import cmath
import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import root
from scipy.spatial.transform import Rotation

import sim
from sim.bait.tie_path import tie_path
from sim.errors import RunError
from sim.kernels import layout as lo
from sim.kernels.layout import Model
from sim.kernels.rhs import make_scratch
from sim.kernels.tow import STEEPEST, upright_balance
from sim.measure import track_angles
from sim.model import build_model
from sim.report.modes import explain, has_wake
from sim.small_motion import MOTIONS, SIDEWAYS, Mode, Modes, linearise, modes_along
from sim.start import FIRST_KICK_DEG, START_DEPTH_M, start_state
from sim.trim import (
    AWASH_GUESSES,
    BALANCED,
    GUESSES,
    Towed,
    _guesses,
    _pose,
    tow_model,
    upright_tow,
)

CONFIGS = Path(__file__).parents[2] / "configs"
ALL = ("shallow-runner", "surface-runner", "deep-runner", "slab-sided", "slow-sinker")
SKEW = {"bait.bill.yaw_error_deg": 2.0, "bait.ballast.0.right_mm": 0.5}
MIRRORED = {"bait.bill.yaw_error_deg": -2.0, "bait.ballast.0.right_mm": -0.5}
SIDE = np.where(np.isin(np.arange(12), SIDEWAYS), -1.0, 1.0)  # of MOTIONS, by the mirror
FREE_OF_WEIGHT = {
    "loads.weight": False, "loads.buoyancy": False, "water.surface": False,
    "line.rod_tip_height_m": -1.0, "water.density_kg_m3": 1000.0,
}  # fmt: skip


def load(name: str = "shallow-runner", **over: Any) -> sim.Config:
    return sim.load_config(CONFIGS / f"{name}.toml", over)


def sorted_roots(found: Modes) -> np.ndarray:
    return np.sort_complex(np.linalg.eigvals(found.matrix))


# ---- steady tow ---------------------------------------------------------------------------------


@pytest.mark.parametrize("over", [{}, SKEW], ids=["true", "skewed"])
@pytest.mark.parametrize("name", ALL)
def test_every_load_balances(name, over):
    config = load(name, **over)
    trim = sim.steady_tow(config)
    towed = Towed(config)
    assert np.abs(towed.imbalance(trim.pose)).max() < BALANCED
    assert towed.tension == trim.line_tension_n > 0.0
    # it is a balance of its own pose alone
    assert np.abs(towed.imbalance(trim.pose + 0.01 * np.eye(6)[3])).max() > 1e-2
    assert trim.depth_m == pytest.approx(trim.pose[2] - config.line.rod_tip_height_m)
    assert np.degrees(trim.pose[3:]) == pytest.approx([trim.lean_deg, trim.pitch_deg, trim.yaw_deg])
    if not over:
        assert [trim.lean_deg, trim.yaw_deg, trim.side_m] == pytest.approx([0.0] * 3, abs=1e-9)


def test_line_is_as_long_as_its_tension_says():
    config = load(**SKEW)
    trim, towed = sim.steady_tow(config), Towed(config)
    place, attitude, _ = towed.steady(trim.pose)
    tie = place + attitude.apply(towed.bait.r_b_tie)
    stretched = config.line.length_m * (1.0 + trim.line_tension_n / towed.stiffness)
    # the reported tension holds the line's damping and half drag at rest as well: some 1e-6
    assert np.linalg.norm(tie) == pytest.approx(stretched, rel=1e-4)
    assert trim.line_angle_deg == pytest.approx(
        math.degrees(math.asin(tie[2] / np.linalg.norm(tie))), rel=1e-6
    )


@pytest.mark.parametrize("name", ("shallow-runner", "slab-sided"))
def test_a_mirrored_bait_leans_the_other_way(name):
    one, other = (sim.modes(load(name, **over)) for over in (SKEW, MIRRORED))
    assert abs(one.trim.lean_deg) > 1.0
    assert other.trim.pose == pytest.approx(one.trim.pose * [1, -1, 1, -1, 1, -1], abs=1e-9)
    assert other.trim.line_tension_n == pytest.approx(one.trim.line_tension_n, rel=1e-9)
    assert other.matrix == pytest.approx(one.matrix * np.outer(SIDE, SIDE), rel=1e-5, abs=2e-4)


def test_sideways_and_up_and_down_do_not_mix_in_a_true_bait():
    matrix = sim.modes(load()).matrix
    mixed = SIDE[:, None] * SIDE < 0.0
    assert np.abs(matrix[mixed]).max() < 1e-6 * np.abs(matrix).max()


@pytest.mark.parametrize("heading", (90.0, -37.0))
def test_heading_does_not_matter(heading):
    current = {"water.current_m_s": 0.15, "water.current_toward_deg": 40.0}
    turned = {
        **current,
        "water.current_toward_deg": 40.0 + heading,
        "retrieve.heading_deg": heading,
    }
    one, other = (sim.modes(load(**over)) for over in (current, turned))
    assert abs(one.trim.speed_m_s - 1.0) > 0.05  # it does something
    assert other.trim.pose == pytest.approx(one.trim.pose, abs=1e-9)
    assert sorted_roots(other) == pytest.approx(sorted_roots(one), rel=1e-6, abs=1e-5)


@pytest.mark.parametrize(
    ("toward", "speed"),
    [(0.0, 0.7), (180.0, 1.3), (90.0, math.hypot(1.0, 0.3)), (-90.0, math.hypot(1.0, 0.3))],
    ids=["along", "against", "to starboard", "to port"],
)
def test_a_tow_through_a_current_is_one_at_the_speed_through_the_water(toward, speed):
    # the speed by hand: 1 m/s over ground less a current of 0.3 m/s
    one = sim.modes(load(**{"water.current_m_s": 0.3, "water.current_toward_deg": toward}))
    other = sim.modes(load(**{"retrieve.speed_m_s": speed}))
    assert one.trim.speed_m_s == pytest.approx(speed, rel=1e-12)
    # along the way through the water: to the side of a true bait there is nothing
    assert [one.trim.yaw_deg, one.trim.side_m] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert one.trim.pose == pytest.approx(other.trim.pose, rel=1e-6, abs=1e-9)
    assert one.trim.line_tension_n == pytest.approx(other.trim.line_tension_n, rel=1e-6)
    assert sorted_roots(one) == pytest.approx(sorted_roots(other), rel=1e-5, abs=1e-4)
    still = sim.steady_tow(load())
    assert one.trim.line_tension_n != pytest.approx(still.line_tension_n, rel=0.05)


def test_a_reeled_bait_is_taken_as_towed():
    tow, reel = (sim.modes(load(**{"retrieve.mode": mode})) for mode in ("tow", "reel"))
    assert np.array_equal(tow.trim.pose, reel.trim.pose)
    assert np.array_equal(tow.matrix, reel.matrix)
    ramp = sim.steady_tow(load(**{"retrieve.ramp_s": 2.0}))
    assert np.array_equal(ramp.pose, tow.trim.pose)


def test_the_wake_is_left_out():
    on, off = sim.modes(load()), sim.modes(load(**{"loads.wake": False}))
    strong = sim.modes(load(**{"coefficients.wake_offset": 0.2, "start.wake": 1.5}))
    for other in (off, strong):
        assert np.array_equal(other.matrix, on.matrix)


def test_upright_tow_is_the_steady_tow_of_a_true_bait():
    for name in ALL:
        config = load(name)
        trim = sim.steady_tow(config)
        depth, pitch = upright_tow(config, sim.assemble(config))
        # rounded to 1e-6 m and 1e-4 degrees
        assert (depth, pitch) == (round(depth, 6), round(pitch, 4))
        assert depth == pytest.approx(trim.depth_m, abs=1e-6)
        assert pitch == pytest.approx(trim.pitch_deg, abs=1e-4)


# ---- its model and its solver -------------------------------------------------------------------

THROUGH = {"water.current_m_s": 0.3, "water.current_toward_deg": 40.0, "retrieve.heading_deg": 70.0}
AT = np.array([7.0, -8.0, 9.0])  # a rod tip that no tow may look at


@pytest.mark.parametrize(
    "over",
    [
        {}, THROUGH, {"retrieve.mode": "reel"}, {"retrieve.ramp_s": 1.5},
        {"line.rod_tip_height_m": -0.5, "water.surface": False, "loads.wake": False},
        {**THROUGH, **SKEW, "retrieve.mode": "reel", "retrieve.ramp_s": 0.7},
    ],
    ids=["as shipped", "through a current", "reel", "ramp", "submerged rod", "all of it"],
)  # fmt: skip
@pytest.mark.parametrize("name", ALL)
def test_model_of_the_tow_is_that_of_a_config_that_says_so(name, over):
    config = load(name, **over)
    bait = sim.assemble(config)
    given = build_model(config, bait, AT)
    before = [array.copy() for array in given]
    found = tow_model(given, config)
    # speed through the water by hand: over ground less the current, by the cosine rule
    v, c, turn = config.retrieve.speed_m_s, config.water.current_m_s, math.radians(30.0)
    through = math.sqrt(v * v + c * c - 2.0 * v * c * math.cos(turn))
    assert found.speed[lo.SP_VALUE] == pytest.approx(through, rel=1e-14)
    speed = float(found.speed[lo.SP_VALUE, 0, 0])
    other = sim.with_overrides(
        config,
        {"retrieve.mode": "tow", "retrieve.ramp_s": 0.0, "retrieve.heading_deg": 0.0,
         "retrieve.speed_m_s": speed, "water.current_m_s": 0.0, "loads.wake": False},
    )  # fmt: skip
    rod = np.array([0.0, 0.0, -config.line.rod_tip_height_m])
    wanted = build_model(other, sim.assemble(other), rod)
    for field, ours, theirs in zip(Model._fields, found, wanted, strict=True):
        assert ours.shape == theirs.shape, field
        assert np.array_equal(ours, theirs), field
    # the model of the run is not touched
    assert all(np.array_equal(a, b) for a, b in zip(given, before, strict=True))


def by_scipy(towed: Towed) -> tuple[float, float, float, float] | None:
    """The first upright balance that SciPy's hybrid method finds from the same guesses."""
    for guess in _guesses(towed):
        sought = np.zeros(6)

        def left(values: np.ndarray, sought: np.ndarray = sought) -> np.ndarray:
            sought[[0, 1, 4]] = values
            return towed.imbalance(_pose(towed, sought))[[0, 2, 4]]

        with np.errstate(all="ignore"):
            found = root(left, guess, method="hybr", options={"xtol": 1e-12}).x
            taut = np.abs(left(found)).max() < BALANCED and towed.tension > 0.0
        depth = _pose(towed, sought)[2] + towed.rod[2]
        in_air = towed.config.water.surface and depth < 0.0
        if taut and abs(found[2]) <= STEEPEST and not in_air:
            return (*found, depth)
    return None


@pytest.mark.parametrize("speed", (0.5, 1.0, 2.5))
@pytest.mark.parametrize("name", ALL)
def test_upright_balance_is_the_one_that_scipy_finds(name, speed):
    for over in ({}, {"water.surface": False}, {"line.rod_tip_height_m": 0.0}):
        towed = Towed(load(name, **{"retrieve.speed_m_s": speed}, **over))
        found, theirs = towed.upright(_guesses(towed)), by_scipy(towed)
        assert theirs is not None
        assert found == pytest.approx(theirs, rel=1e-8, abs=1e-10)
        # the solver's own depth and balances against those of a pose
        pose = _pose(towed, np.array([*found[:2], 0.0, 0.0, found[2], 0.0]))
        assert pose[2] + towed.rod[2] == pytest.approx(found[3], abs=1e-12)
        assert np.abs(towed.imbalance(pose)[[0, 2, 4]]).max() < 1e-3 * BALANCED


def test_neither_finds_a_balance_where_there_is_none():
    # at the top of its nose the surface runner has none (docs/modes.md)
    config = load("surface-runner")
    aft, above = tie_path(config).at(-22.0)
    tie = {"bait.tie.from_nose_mm": aft, "bait.tie.above_centreline_mm": above}
    towed = Towed(load("surface-runner", **tie))
    assert by_scipy(towed) is None
    assert towed.upright(_guesses(towed)) is None


def test_guesses_that_lead_nowhere_are_no_balance():
    towed = Towed(load())
    right = _guesses(towed)[:1]
    assert towed.upright(right) is not None
    assert towed.upright(right[:0]) is None
    assert towed.upright(np.full((2, 3), math.nan)) is None
    assert towed.upright(np.full((2, 3), math.inf)) is None
    # a later guess is tried where an earlier one leads nowhere, and has the same bits
    both = np.concatenate([np.full((1, 3), math.nan), right])
    assert np.array_equal(towed.upright(both), towed.upright(right))


def test_a_balance_has_the_same_bits_beside_others():
    configs = [load(**{"retrieve.speed_m_s": v}) for v in (0.7, 1.3, 2.1)]
    towed = [Towed(c) for c in configs]
    alone = [t.upright(_guesses(t)) for t in towed]
    models = [tow_model(build_model(c, t.bait, AT), c) for c, t in zip(configs, towed, strict=True)]
    side = Model(
        *(
            a[0] if name == "slices" else np.concatenate(a, axis=-1)
            for name, *a in zip(Model._fields, *models, strict=True)
        )
    )
    scratch = make_scratch(side)
    for array in scratch:
        array[...] = math.nan
    for k in (2, 0, 1):
        found = np.zeros(4)
        assert upright_balance(side, scratch, _guesses(towed[k]), k, found) == 0
        assert np.array_equal(found, alone[k])
    # and again in the same place
    assert np.array_equal(towed[1].upright(_guesses(towed[1])), alone[1])


@pytest.mark.parametrize("name", ("shallow-runner", "surface-runner", "deep-runner", "slab-sided"))
def test_a_slow_floating_bait_is_found_at_the_surface(name):
    # a layer some millimetres thick at the end of a line of metres: by the first guesses alone it
    # is found at one speed and missed at the next
    depths = []
    for speed in np.linspace(0.1, 0.3, 9):
        slow = {"retrieve.speed_m_s": float(speed), "line.length_m": 15.0}
        towed = Towed(load(name, **slow))
        found = towed.upright(_guesses(towed))
        assert found is not None, speed
        depths.append(float(found[3]))
    # awash: no deeper than the bait is high, and deeper the faster it is towed
    assert 0.0 < depths[0] < 0.012
    assert np.all(np.diff(depths) > 0.0)


def test_guesses_at_the_surface_come_last_and_only_where_there_is_one():
    config = load()
    floating = _guesses(Towed(config))
    assert floating.shape == (25, 3)
    assert floating.shape[0] == GUESSES.shape[0] + AWASH_GUESSES.shape[0]
    deep = _guesses(Towed(load(**{"water.surface": False})))
    assert np.array_equal(floating[:20], deep)
    # 0.4 of the cube root of the volume under the surface, seen from the rod tip
    depth = config.line.length_m * np.sin(floating[20:, 1]) - config.line.rod_tip_height_m
    assert depth == pytest.approx(0.4 * sim.assemble(config).volume ** (1.0 / 3.0), rel=1e-9)


@pytest.mark.parametrize(
    "over", [{"line": None}, {"loads.line": False}], ids=["no line", "line off"]
)
def test_no_line(over):
    config = load(**over)
    for find in (sim.steady_tow, sim.modes, modes_along):
        with pytest.raises(RunError, match=r"a steady tow needs \[line\], \[bait.tie\] and loads"):
            find(config)


def test_no_balance_says_what_to_do():
    with pytest.raises(RunError) as error:
        sim.steady_tow(load(**{"retrieve.speed_m_s": 0.0}))
    assert str(error.value).endswith(
        "shallow-runner.toml: no steady tow found at 0 m/s through the water: no pose in it was"
        " found that balances all loads with the line taut. Such a bait turns, comes up or is not"
        " reached by its line: look at a run, or try another speed or water.surface = false."
    )


def test_a_bait_that_hangs_in_the_air_is_not_towed():
    high = {"retrieve.speed_m_s": 0.0, "line.rod_tip_height_m": 4.0}
    with pytest.raises(RunError, match="no steady tow found at 0 m/s"):
        sim.steady_tow(load("slow-sinker", **high))
    # where there is no surface there is no air: it hangs on its line
    trim = sim.steady_tow(load("slow-sinker", **high, **{"water.surface": False}))
    assert trim.depth_m == pytest.approx(-1.0, abs=0.1)


# ---- modes --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ALL)
def test_roots_are_those_of_the_matrix_counted_once(name):
    found = sim.modes(load(name))
    roots = sorted_roots(found)
    assert sum(2 if m.oscillates else 1 for m in found.modes) == 12 == len(MOTIONS)
    for mode in found.modes:
        assert np.abs(roots - mode.root).min() < 1e-9 * abs(mode.root)
        left = found.matrix @ mode.shape - mode.root * mode.shape
        assert np.abs(left).max() < 1e-6 * np.abs(found.matrix).max()
        assert mode.doubling_s == pytest.approx(math.log(2.0) / abs(mode.growth_1_s))
        assert mode.frequency_hz == pytest.approx(mode.root.imag / (2.0 * math.pi))


@pytest.mark.parametrize("name", ALL)
def test_names_and_order(name):
    found = sim.modes(load(name))
    names = [m.name for m in found.modes]
    assert sorted(filter(None, names)) == ["lean", "line", "line", "wobble"]
    assert found.wobble is found.modes[names.index("wobble")]
    assert found.lean is found.modes[names.index("lean")]
    assert found.wobble.oscillates
    sideways = [m.sideways > 0.5 for m in found.modes]
    assert sideways == sorted(sideways, reverse=True)
    for across in (True, False):
        growth = [m.growth_1_s for m in found.modes if (m.sideways > 0.5) == across]
        assert growth == sorted(growth, reverse=True)
    # a true bait does either
    assert all(m.sideways < 1e-6 or m.sideways > 1.0 - 1e-6 for m in found.modes)
    assert all(m.sideways > 0.5 for m in found.modes if m.name in ("wobble", "lean"))
    # the line has a root to either side and one up and down, both like U/L: 1 m/s on 3 m
    assert [m.sideways > 0.5 for m in found.modes if m.name == "line"] == [True, False]
    for m in found.modes:
        if m.name == "line":
            assert m.root == pytest.approx(-1.0 / 3.0, rel=0.35)
    # the slowest of the others, the line left out
    others = [m for m in found.modes if m.sideways > 0.5 and m.name not in ("wobble", "line")]
    assert found.lean.growth_1_s == max(m.growth_1_s for m in others)


def test_linearisation_against_a_step_ten_times_as_large(monkeypatch):
    import sim.small_motion as small

    config = load()
    towed, pose = Towed(config), sim.steady_tow(config).pose
    fine = linearise(towed, pose)
    monkeypatch.setattr(small, "STEP", 10.0 * small.STEP)
    coarse = linearise(towed, pose)
    assert coarse == pytest.approx(fine, rel=1e-3, abs=1e-5 * np.abs(fine).max())


def test_a_stiff_line_does_not_go_slack_in_the_differences():
    # 300 GPa: the line of a towed bait is stretched by some hundredths of a millimetre
    soft, stiff = (sim.modes(load(**{"line.modulus_gpa": e})) for e in (30.0, 300.0))
    for name in ("wobble", "lean"):
        assert getattr(stiff, name).root == pytest.approx(getattr(soft, name).root, rel=2e-3)
    # its stretching motion goes with the root of the stiffness, damped like it
    fastest = [max(abs(m.root) for m in f.modes if m.sideways < 0.5) for f in (soft, stiff)]
    assert fastest[1] / fastest[0] == pytest.approx(math.sqrt(10.0), rel=0.05)


def test_position_along_and_heading_of_the_rate_of_place():
    # kinematics by hand: on a level bait du moves x, dv moves y, dw moves z; yaw turns u into y
    matrix = sim.modes(load()).matrix
    pitch = math.radians(sim.steady_tow(load()).pitch_deg)
    at = {name: i for i, name in enumerate(MOTIONS)}
    assert matrix[at["x"], at["u"]] == pytest.approx(math.cos(pitch), abs=1e-6)
    assert matrix[at["z"], at["u"]] == pytest.approx(-math.sin(pitch), abs=1e-6)
    assert matrix[at["y"], at["v"]] == pytest.approx(1.0, abs=1e-6)
    # turned about its own upright axis by a, a bait that goes on at the same u, v, w goes aside
    # by u a: 1 m/s along the track is u = cos(pitch)
    assert matrix[at["y"], at["yaw"]] == pytest.approx(math.cos(pitch), abs=1e-6)
    for turn, rate in zip(("roll", "pitch", "yaw"), "pqr", strict=True):
        row = np.zeros(12)
        row[at[rate]] = 1.0
        assert matrix[at[turn]] == pytest.approx(row, abs=1e-6)


def scaled(speed: float) -> sim.Config:
    """The bait at a speed, all else changed so that only the water's clock is left.

    Friction coefficients and the line's stiffness keep their place beside loads that grow with the
    square of the speed. The line's drag across is off: the resistance of its end has a smallest
    speed, which shifts a root by up to 1e-3.
    """
    return load(
        **FREE_OF_WEIGHT,
        **{
            "retrieve.speed_m_s": speed,
            "water.viscosity_m2_s": 1.0e-6 * speed,
            "line.modulus_gpa": 2.0 * speed**2,
            "line.normal_drag_coefficient": 0.0,
        },
    )


@pytest.mark.parametrize("speed", (0.5, 2.0))
def test_roots_go_with_the_speed_without_weight(speed):
    slow, fast = sim.modes(scaled(1.0)), sim.modes(scaled(speed))
    assert fast.trim.pose == pytest.approx(slow.trim.pose, abs=1e-7)
    assert fast.trim.line_tension_n == pytest.approx(speed**2 * slow.trim.line_tension_n, rel=1e-6)
    for name in ("wobble", "lean"):
        ours, theirs = getattr(fast, name), getattr(slow, name)
        assert ours.root == pytest.approx(speed * theirs.root, rel=1e-6)
        assert ours.roll_to_yaw == pytest.approx(theirs.roll_to_yaw, rel=1e-6)
    # with weight and buoyancy it is not so
    weighty = [sim.modes(load(**{"retrieve.speed_m_s": v})) for v in (1.0, speed)]
    assert weighty[1].wobble.root != pytest.approx(speed * weighty[0].wobble.root, rel=0.02)


def test_tie_path_points():
    config = load()
    points = modes_along(config, 6.0)
    path = tie_path(config)
    assert [p.distance_mm for p in points] == [-18.0, -12.0, -6.0, 0.0, 6.0, 12.0]
    seen = []
    modes_along(config, 12.0, lambda now, aim: seen.append((now, aim)))
    assert seen == [(0, 3), (1, 3), (2, 3)]
    for p in points:
        assert (p.from_nose_mm, p.above_centreline_mm) == path.at(p.distance_mm)
        tie = p.config.bait.tie
        assert (tie.from_nose_mm, tie.above_centreline_mm) == (
            p.from_nose_mm, p.above_centreline_mm
        )  # fmt: skip
        assert p.modes.matrix == pytest.approx(sim.modes(p.config).matrix)
    with pytest.raises(RunError, match=r"a tie path needs \[bait.body\] and \[bait.bill\]"):
        modes_along(load(**{"bait.bill": None}))


# ---- a mode's own figures -----------------------------------------------------------------------


def mode(root: complex, name: str = "", **shape: complex) -> Mode:
    values = np.zeros(12, dtype=complex)
    for motion, value in shape.items():
        values[MOTIONS.index(motion)] = value
    return Mode(name, root, 1.0, values)


def test_figures_of_a_mode():
    pair = mode(-0.7 + 12.0j, roll=2.0 * cmath.exp(-0.5j), yaw=1.0)
    assert pair.growth_1_s == -0.7
    assert pair.frequency_hz == pytest.approx(12.0 / (2.0 * math.pi))
    assert pair.oscillates
    assert pair.doubling_s == pytest.approx(math.log(2.0) / 0.7)
    assert pair.roll_to_yaw == pytest.approx(2.0)
    # roll comes 0.5 rad later than yaw
    assert pair.roll_after_yaw_deg == pytest.approx(math.degrees(0.5))
    still = mode(0.0 + 0.0j, roll=1.0)
    assert not still.oscillates
    assert (still.doubling_s, still.roll_to_yaw) == (math.inf, math.inf)
    assert still.roll_after_yaw_deg == 0.0


# ---- words --------------------------------------------------------------------------------------


def found(wobble: Mode | None, lean: Mode | None, speed: float = 1.0) -> Modes:
    trim = dataclasses.replace(sim.steady_tow(load()), speed_m_s=speed)
    return Modes(trim, np.zeros((12, 12)), (), wobble, lean)


DYING = mode(-0.7 + 2.0j * math.pi * 5.0, "wobble")
GROWING = mode(1.4 + 2.0j * math.pi * 5.0, "wobble")


def test_words_on_a_wobble():
    # ln 2 / 0.7 = 0.990 s, at 5 Hz 4.95 swings
    assert explain(found(DYING, None)) == (
        "Left alone, a small wobble of 5.0 Hz dies out, halving every 5.0 swings: the bill's wake"
        " has to keep it going.",
        "No slow lean was found.",
    )
    first, _ = explain(found(GROWING, None))
    assert first == (
        "Once disturbed, a small wobble of 5.0 Hz grows by itself, doubling every 2.5 swings, until"
        " drag holds it: the bait wobbles without any help from the bill's wake."
    )
    first, _ = explain(found(None, None))
    assert first == "The bait has no wobble of its own: it only follows the bill's wake."


def test_words_on_a_wobble_without_a_wake():
    first, _ = explain(found(DYING, None), wake=False)
    assert first.endswith("halving every 5.0 swings: nothing keeps it going.")
    first, _ = explain(found(GROWING, None), wake=False)
    assert first.endswith("until drag holds it: the bait wobbles by itself.")
    first, _ = explain(found(None, None), wake=False)
    assert first == "The bait has no wobble of its own: nothing makes it wobble."
    # a bill that stands still sheds none
    first, _ = explain(found(DYING, None, 0.0))
    assert "wake" not in first


def test_words_on_what_hardly_changes():
    # ln 2 / 1e-5 = 69315 s
    slow = mode(-1e-5 + 20.0j, "wobble"), mode(-1e-5 + 0.0j, "lean")
    assert explain(found(*slow, 0.0)) == (
        "Left alone, a small wobble of 3.2 Hz swings on and hardly dies out, halving in 69000 s.",
        "A lean to one side hardly comes back, halving within 69000 s.",
    )
    slow = mode(1e-5 + 20.0j, "wobble"), mode(1e-5 + 0.0j, "lean")
    assert explain(found(*slow, 0.0)) == (
        "Once disturbed, a small wobble of 3.2 Hz swings on and hardly grows, doubling in 69000 s.",
        "A lean to one side hardly grows, doubling within 69000 s.",
    )


@pytest.mark.parametrize(
    ("over", "sheds"),
    [
        ({}, True), ({"bait.bill": None}, False), ({"loads.wake": False}, False),
        ({"loads.bill": False}, False), ({"coefficients.wake_offset": 0.0}, False),
    ],
)  # fmt: skip
def test_which_baits_have_a_wake(over, sheds):
    assert has_wake(load(**over)) == sheds


def test_words_on_a_lean():
    # ln 2 / 2 = 0.35 s, at 2 m/s 0.69 m or 9.9 lengths of 70 mm
    _, second = explain(found(DYING, mode(-2.0 + 0.0j, "lean"), 2.0), 0.07)
    assert second.startswith(
        "A lean to one side comes back by itself, halving within 9.9 body lengths of travel"
        " (0.35 s); the longer that takes, the more an error in bill, ballast or eye shows."
    )
    _, second = explain(found(DYING, mode(-2.0 + 3.0j, "lean")))
    assert second.startswith("A lean to one side swings back by itself, halving within 0.35 s;")
    _, second = explain(found(DYING, mode(2.0 + 0.0j, "lean")), 0.07)
    assert second == (
        "A lean to one side grows by itself, doubling within 5.0 body lengths of travel (0.35 s):"
        " it goes over."
    )
    # without speed there is no travel
    _, second = explain(found(DYING, mode(-2.0 + 0.0j, "lean"), 0.0), 0.07)
    assert "body lengths" not in second


# ---- start of a run -----------------------------------------------------------------------------


def start(config: sim.Config) -> tuple[np.ndarray, float, float]:
    """State, pitch and yaw [degrees] at the start; the rod tip is looked at elsewhere."""
    state, _ = start_state(config, sim.assemble(config))
    angles = track_angles(state[None, lo.QW : lo.QZ + 1], 0.0)
    return state, float(angles.pitch[0]), float(angles.yaw[0])


@pytest.mark.parametrize("name", ALL)
def test_depth_left_out_starts_in_the_steady_tow(name):
    config = load(name)
    assert config.start.depth_m is None and config.start.pitch_deg is None
    trim = sim.steady_tow(config)
    state, pitch, yaw = start(config)
    assert state[lo.Z] == pytest.approx(trim.depth_m, abs=1e-6)
    assert (pitch, yaw) == pytest.approx((trim.pitch_deg, FIRST_KICK_DEG), abs=1e-4)
    speed = np.linalg.norm(state[lo.U : lo.W + 1])
    assert speed == pytest.approx(config.retrieve.speed_m_s)


@pytest.mark.parametrize(
    "over",
    [{}, THROUGH, {"retrieve.mode": "reel"}, {"start.depth_m": 0.4}, {"retrieve.ramp_s": 1.0}],
    ids=["as shipped", "through a current", "reel", "depth given", "ramp"],
)
@pytest.mark.parametrize("name", ALL)
def test_a_model_at_hand_gives_the_same_start(name, over):
    config = load(name, **over)
    bait = sim.assemble(config)
    model = build_model(config, bait, AT)
    before = [array.copy() for array in model]
    for ours, theirs in zip(
        start_state(config, bait, model), start_state(config, bait), strict=True
    ):
        assert np.array_equal(ours, theirs)
    assert upright_tow(config, bait, model) == upright_tow(config, bait)
    assert all(np.array_equal(a, b) for a, b in zip(model, before, strict=True))


def test_attitude_at_the_start_is_the_one_that_scipy_has():
    rng = np.random.default_rng(3)
    for yaw, pitch, roll in [*rng.uniform(-360.0, 360.0, (40, 3)), (90.0, -90.0, 90.0)]:
        config = load(
            **{"start.yaw_deg": yaw, "start.pitch_deg": pitch, "start.roll_deg": roll,
               "retrieve.heading_deg": 25.0, "start.depth_m": 0.4}
        )  # fmt: skip
        bait = sim.assemble(config)
        state, rod = start_state(config, bait)
        attitude = Rotation.from_euler("ZYX", [25.0 + yaw, pitch, roll], degrees=True)
        quat = attitude.as_quat(canonical=True, scalar_first=True)
        found = state[lo.QW : lo.QZ + 1]
        assert found * np.sign(found @ quat) == pytest.approx(quat, abs=1e-14)
        assert found[0] >= 0.0
        along = np.array([math.cos(math.radians(25.0)), math.sin(math.radians(25.0)), 0.0])
        assert attitude.apply(state[lo.U : lo.W + 1]) == pytest.approx(along, abs=1e-14)
        tie = state[: lo.Z + 1] + attitude.apply(bait.r_b_tie)
        assert np.linalg.norm(rod - tie) == pytest.approx(config.line.length_m, rel=1e-12)


def test_depth_given_is_kept_and_level():
    state, pitch, _ = start(load(**{"start.depth_m": 0.3}))
    assert (state[lo.Z], pitch) == (0.3, pytest.approx(0.0))
    _, pitch, _ = start(load(**{"start.depth_m": 0.3, "start.pitch_deg": 12.0}))
    assert pitch == pytest.approx(12.0)


def test_pitch_given_and_depth_left_out():
    state, pitch, _ = start(load(**{"start.pitch_deg": 5.0}))
    assert pitch == pytest.approx(5.0)
    assert state[lo.Z] == pytest.approx(sim.steady_tow(load()).depth_m, abs=1e-6)


@pytest.mark.parametrize(
    "over",
    [
        {"retrieve.ramp_s": 1.0},
        {"retrieve.speed_m_s": 0.0},
        {"start.velocity_m_s": [0.5, 0.0, 0.0]},
        {"loads.line": False},
        {"line": None},
    ],
    ids=["ramp", "speed 0", "velocity given", "line off", "no line"],
)
def test_a_run_that_does_not_start_at_speed_starts_at_half_a_metre(over):
    state, pitch, _ = start(load(**over))
    assert (state[lo.Z], pitch) == (START_DEPTH_M, pytest.approx(0.0))
    assert START_DEPTH_M == 0.5


def test_no_steady_tow_falls_back():
    # at the top of its nose the surface runner has none (docs/modes.md)
    config = load("surface-runner")
    aft, above = tie_path(config).at(-22.0)
    tie = {"bait.tie.from_nose_mm": aft, "bait.tie.above_centreline_mm": above}
    tied = load("surface-runner", **tie)
    assert upright_tow(tied, sim.assemble(tied)) is None
    with pytest.raises(RunError, match="no steady tow"):
        sim.steady_tow(tied)
    state, pitch, _ = start(tied)
    assert (state[lo.Z], pitch) == (START_DEPTH_M, pytest.approx(0.0))


def test_a_run_from_the_steady_tow_stays_at_its_depth():
    # a true bait without its wake and without a kick stays in its steady tow
    config = load(
        **{"loads.wake": False, "start.yaw_deg": 0.0, "solver.duration_s": 2.0,
           "solver.max_duration_s": 2.0}
    )  # fmt: skip
    trim, run = sim.steady_tow(config), sim.simulate(config)
    assert run.position[:, 2] == pytest.approx(trim.depth_m, abs=5e-3)
    assert run.line_tension[-1] == pytest.approx(trim.line_tension_n, rel=1e-3)
    level = sim.simulate(sim.with_overrides(config, {"start.depth_m": 0.5}))
    assert abs(level.position[-1, 2] - trim.depth_m) > 0.1
