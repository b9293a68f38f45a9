"""Tuning the eye: its geometry by hand, the answer on made-up runs, and what real runs say."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from map_examples import CONFIGS, make_map

import sim
from sim.config import with_overrides
from sim.errors import ConfigError
from sim.plots.tune import tune_figure
from sim.report.text import as_text
from sim.report.tune import trouble, tune_facts, tune_summary
from sim.studies.axes import NAMED_AXES, axis_overrides
from sim.studies.engine import CLASSES, STATUSES
from sim.studies.own_place import own_place
from sim.studies.run import run_study
from sim.studies.speeds import drift_time_s
from sim.studies.tune import (
    BEND,
    SPEED,
    asymmetries,
    bends_for,
    knot_shift,
    put_right,
    tune_study,
    tuning,
)

B, O, S = (CLASSES.index(name) for name in ("balanced", "over-rolling", "spinning"))  # noqa: E741


def runner(**overrides):
    """The shallow runner with dotted keys set, "__" for a dot."""
    keys = {key.replace("__", "."): value for key, value in overrides.items()}
    return sim.load_config(CONFIGS / "shallow-runner.toml", keys)


# ----------------------------------------------------------------------------------- the eye itself


@pytest.mark.parametrize(
    ("bend", "aside", "back"),
    [
        (0.0, 0.0, 0.0),
        (30.0, 2.5, 5.0 * (1.0 - math.sqrt(3.0) / 2.0)),
        (-30.0, -2.5, 5.0 * (1.0 - math.sqrt(3.0) / 2.0)),
        (45.0, 5.0 / math.sqrt(2.0), 5.0 * (1.0 - 1.0 / math.sqrt(2.0))),
    ],
)
def test_where_the_knot_goes(bend, aside, back):
    # by hand: the wire is a radius of 5 mm about the place where it bends
    assert knot_shift(5.0, bend) == pytest.approx((aside, back), abs=1e-12)
    config = runner(bait__tie__right_mm=0.4)
    assert axis_overrides(config, BEND, bend) == {
        "bait.tie.right_mm": pytest.approx(0.4 + aside),
        "bait.tie.from_nose_mm": pytest.approx(3.5 + back),
    }
    # the wire neither stretches nor shrinks about its root, 5 mm behind the knot
    assert math.hypot(aside, 5.0 - back) == pytest.approx(5.0)


def test_the_axis_follows_the_length_of_the_eye_and_refuses_what_no_wire_stands():
    assert axis_overrides(runner(bait__tie__eye_mm=8.0), BEND, 30.0)[
        "bait.tie.right_mm"
    ] == pytest.approx(4.0)
    with pytest.raises(ConfigError, match=r"eye_bend_deg = 76: must be from -75 to 75 degrees"):
        axis_overrides(runner(), BEND, 76.0)
    free = runner(line=None, bait__tie=None)
    with pytest.raises(ConfigError, match=r"eye_bend_deg: there is no eye to bend. Add \[bait.tie"):
        NAMED_AXES[BEND].prepare(free)
    assert own_place(runner(), BEND) == 0.0
    assert math.isnan(own_place(free, BEND))


@pytest.mark.parametrize("eye", [0.5, 3.0, 5.0, 8.0, 20.0, 50.0])
def test_bends_are_close_enough_to_place_the_knot_to_a_tenth_of_a_mm(eye):
    row = bends_for(eye)
    assert (row[0], row[-1]) == (-45.0, 45.0)
    assert 0.0 in row
    np.testing.assert_array_equal(row, -row[::-1])
    assert (np.diff(row) > 0.0).all()
    places = eye * np.sin(np.radians(row))
    # the nearest bend lies within half a step
    assert 0.5 * np.diff(places).max() <= 0.1
    assert np.diff(row).max() <= 1.0


def test_the_runs_last_until_the_line_has_swung_out():
    # 2.5 lengths of a line of 3 m at 0.4 m/s take 18.75 s
    study = tune_study(runner(), (0.4, 2.0))
    assert study.base.solver.duration_s == 19.0
    assert study.fixed["solver.duration_s"] == 19.0
    assert not study.stop_early
    assert tune_study(runner(), (1.0, 2.0)).base.solver.duration_s == 8.0
    longer = runner(line__length_m=30.0)
    assert tune_study(longer, (0.4, 2.0)).base.solver.duration_s == 24.0  # the longest allowed
    with pytest.raises(ValueError, match="0 among them"):
        tune_study(runner(), (1.0,), (-1.0, 1.0))


# ------------------------------------------------------------------------------------ made-up runs


def made_up(bends, speeds, drift, lean=0.0, kinds=B, most_turns=0.0, **overrides):
    """A result with drift and lean set in degrees, shape (bends, speeds) or less."""
    study = tune_study(runner(**overrides), speeds, bends)
    shape = study.shape
    kinds = np.broadcast_to(kinds, shape)
    result = make_map(kinds, study, shipped=(0.0, 1.0))
    wide = {
        "side_drift_m_per_m": np.tan(np.radians(np.broadcast_to(drift, shape))),
        "lean_deg": np.broadcast_to(np.asarray(lean, float), shape),
        "most_turns": np.broadcast_to(np.asarray(most_turns, float), shape),
    }
    result.measures.update({name: v[..., None].copy() for name, v in wide.items()})
    return result


ROW = np.arange(-10.0, 10.5, 0.5)
SPEEDS = (1.0, 2.0)


def test_the_best_bend_balances_the_speeds_and_the_window_is_where_the_limits_say():
    # by hand: drifts 2 (b - 3) and 4 (b - 3.6), limit 10: the worst is least where both are alike
    # in size, 2 (b - 3) = 4 (3.6 - b), b = 3.4; the window is that of the faster, 3.6 +- 2.5
    drift = np.column_stack([2.0 * (ROW - 3.0), 4.0 * (ROW - 3.6)])
    found = tuning(made_up(ROW, SPEEDS, drift))
    assert found.optimum == pytest.approx(3.4, abs=0.011)
    assert found.bend == 3.5
    assert found.verdict == "bend"
    assert found.window == (pytest.approx(1.1, abs=0.011), pytest.approx(6.1, abs=0.011))
    assert found.open_ends == (False, False)
    assert found.after.worst == pytest.approx(0.1)
    assert found.before.worst == pytest.approx(1.44)


def test_lean_counts_as_a_share_of_its_own_limit():
    # 35 deg of lean are as bad as 10 of drift: 14 (b - 2) / 35 against 4 (4 - b) / 10, b = 3
    found = tuning(made_up(ROW, (1.0,), (4.0 * (4.0 - ROW))[:, None], (14.0 * (ROW - 2))[:, None]))
    assert found.bend == 3.0
    assert found.after.worst == pytest.approx(0.4)


def test_a_bend_at_which_it_goes_round_is_worse_than_any_drift():
    drift = np.column_stack([ROW - 6.0, ROW - 6.0])
    kinds = np.full((ROW.size, 2), B)
    kinds[ROW >= 3.0, 1] = S
    found = tuning(made_up(ROW, SPEEDS, drift, kinds=kinds))
    assert found.bend == 2.5
    assert found.window == (pytest.approx(-4.0, abs=0.011), 2.5)
    # a class that is not spinning does not hide that it went round on the way
    turns = np.where(kinds == S, 1.2, 0.1)
    again = tuning(made_up(ROW, SPEEDS, drift, kinds=np.where(kinds == S, O, B), most_turns=turns))
    assert (again.bend, again.window) == (found.bend, found.window)
    assert again.swims.round_.sum() == (kinds == S).sum()


def test_runs_that_do_not_settle_or_fail_are_beyond_every_limit():
    drift = np.column_stack([ROW - 6.0, ROW - 6.0])
    result = made_up(ROW, SPEEDS, drift)
    result.status[ROW >= 3.0, 1] = STATUSES.index("not settled")
    assert tuning(result).bend == 2.5
    result.status[ROW >= 2.0, 1] = STATUSES.index("diverged")
    found = tuning(result)
    assert found.bend == 1.5
    assert found.swims.failed.sum() == (ROW >= 2.0).sum()


def test_no_bend_is_worth_while_for_settling_alone():
    # at 2 m/s the eye as it is does not settle, and every bend beyond 3 deg does
    drift = np.column_stack([0.1 * ROW + 4.0, 0.1 * ROW + 4.0])
    result = made_up(ROW, SPEEDS, 4.0)
    result.status[ROW < 3.0, 1] = STATUSES.index("not settled")
    found = tuning(result)
    assert (found.verdict, found.best) == ("leave", found.own)
    assert found.before.worst == pytest.approx(0.4)
    assert found.before.unsettled.tolist() == [False, True]
    # a bend that lessens what was measured is still found
    result = made_up(ROW, SPEEDS, drift - 10.0 * (drift - 4.0))
    result.status[ROW < 3.0, 1] = STATUSES.index("not settled")
    found = tuning(result)
    assert (found.verdict, found.bend) == ("bend", pytest.approx(4.5, abs=0.5))


def test_a_single_run_that_does_not_settle_does_not_narrow_the_window():
    drift = np.column_stack([2.0 * (ROW - 3.0), 2.0 * (ROW - 3.0)])
    result = made_up(ROW, SPEEDS, drift)
    whole = tuning(result)
    result.status[ROW == 5.0, 0] = STATUSES.index("not settled")
    assert tuning(result).window == whole.window
    result.status[ROW == 5.5, 0] = STATUSES.index("not settled")
    assert tuning(result).window == (whole.window[0], 4.5)
    # the figures told are those of a run that settles, where one of the two best does
    assert whole.bend == 3.0
    result.status[ROW == 3.0, 0] = STATUSES.index("not settled")
    assert tuning(result).bend in (2.5, 3.5)


def test_what_is_wrong_with_a_run_has_three_words():
    result = made_up(ROW, (1.0, 1.5, 2.0), 20.0, most_turns=(0.0, 1.5, 0.0))
    result.status[:, 0] = STATUSES.index("not settled")
    result.status[:, 2] = STATUSES.index("diverged")
    found = tuning(result)
    assert [trouble(found.before, m) for m in range(3)] == [
        "does not settle", "goes round", "fails",
    ]  # fmt: skip
    (words, _) = tune_facts(result)["in_words"]
    assert words.endswith(
        "at 1 m/s it runs 20.0 deg to starboard and leans 0.0 deg without settling, at 1.5 m/s it"
        " goes round, at 2 m/s the run fails."
    )


def test_a_limit_kept_only_just_is_told():
    # drift 9.5 of 10 left at best
    drift = np.column_stack([np.abs(ROW - 2.0) + 9.5] * 2)
    words = tune_facts(made_up(ROW, SPEEDS, drift))["in_words"]
    assert words[0].endswith("It then keeps within its limits only just: 95 % of a limit is left.")


def test_a_drift_that_is_not_full_is_told():
    # a line of 30 m: 2.5 lengths take 75 s at 1 m/s, 38 s at 2, and 24 s are the most
    result = made_up(ROW, SPEEDS, 0.0, line__length_m=30.0)
    assert drift_time_s(result.study.base, 2.0) == 38.0
    assert tune_facts(result)["drift_not_full_m_s"] == [1.0, 2.0]
    text = " ".join(as_text(tune_summary(result), 100).split())
    assert "not yet full at 1 and 2 m/s: raise solver.max_duration_s to 75 s" in text
    assert tune_facts(made_up(ROW, SPEEDS, 0.0))["drift_not_full_m_s"] == []
    assert "not yet full" not in as_text(tune_summary(made_up(ROW, SPEEDS, 0.0)), 100)


def test_a_bait_that_runs_true_is_left_alone():
    # at most a tenth of a limit: 1 deg of drift
    found = tuning(made_up(ROW, SPEEDS, np.column_stack([ROW + 0.9, ROW + 0.9])))
    assert (found.verdict, found.bend) == ("runs true", 0.0)
    assert found.window == (pytest.approx(-10.0), pytest.approx(9.1, abs=0.011))
    assert found.open_ends == (True, False)
    assert tuning(made_up(ROW, SPEEDS, np.column_stack([ROW + 1.1, ROW + 1.1]))).bend == -1.0


def test_no_bend_that_hardly_gains():
    # drift 3 whatever the bend, a twentieth of the limit less at one end
    drift = np.column_stack([3.0 - 0.04 * ROW, 3.0 - 0.04 * ROW])
    found = tuning(made_up(ROW, SPEEDS, drift))
    assert (found.verdict, found.best) == ("leave", found.own)
    text = as_text(tune_summary(made_up(ROW, SPEEDS, drift)), 100)
    assert "Leave the eye as it is: it keeps within its limits, and no bend is better." in text


def test_of_bends_alike_the_least_is_taken_and_a_flat_bait_has_none():
    found = tuning(made_up(ROW, SPEEDS, 0.0, 40.0))
    assert (found.verdict, found.bend, found.window) == ("not cured", 0.0, None)


# ------------------------------------------------------------------------- what is off to one side


def test_asymmetries_are_found_but_not_those_of_pairs():
    assert asymmetries(runner()) == ()
    config = runner(
        bait__bill__yaw_error_deg=2.0,
        bait__body__lopsided_mm=-0.5,
        bait__ballast__0__right_mm=1.0,
        bait__tie__right_mm=0.2,
    )
    found = asymmetries(config)
    assert [a.key for a in found] == [
        "bait.bill.yaw_error_deg",
        "bait.body.lopsided_mm",
        "bait.ballast.0.right_mm",
        "bait.tie.right_mm",
    ]
    assert [a.value for a in found] == [2.0, -0.5, 1.0, 0.2]
    assert found[2].label == 'weight "belly weight": sideways offset of its centre'
    assert asymmetries(with_overrides(config, {k: 0.0 for a in found for k in a.overrides})) == ()


def test_a_pair_of_weights_is_no_asymmetry():
    weight = {"mass_g": 1.0, "from_nose_mm": 25.0, "above_centreline_mm": -4.0}
    right, left = {**weight, "right_mm": 2.0}, {**weight, "right_mm": -2.0, "name": "other"}
    assert asymmetries(runner(bait__ballast=[right, left])) == ()
    uneven = asymmetries(runner(bait__ballast=[right, {**left, "mass_g": 1.1}]))
    assert [a.key for a in uneven] == ["bait.ballast.0.right_mm", "bait.ballast.1.right_mm"]
    three = asymmetries(runner(bait__ballast=[right, left, right]))
    assert [a.key for a in three] == ["bait.ballast.2.right_mm"]


def test_a_current_across_the_retrieve_is_one_and_along_it_none():
    along = runner(water__current_m_s=0.2, water__current_toward_deg=180.0)
    across = runner(water__current_m_s=0.2, water__current_toward_deg=90.0)
    assert asymmetries(along) == ()
    assert [a.overrides for a in asymmetries(across)] == [{"water.current_m_s": 0.0}]


# --------------------------------------------------------------------------------------- real runs


@pytest.fixture(scope="module")
def tuned(tmp_path_factory):
    """Tuning of the shallow runner by runs at two speeds, for given overrides."""
    folder: Path = tmp_path_factory.mktemp("tune")
    known = {}

    def tune(reach=4.0, **overrides):
        key = (reach, *overrides.items())
        if key not in known:
            row = np.arange(-reach, reach + 0.25, 0.5)
            study = tune_study(runner(**overrides), SPEEDS, row)
            known[key] = run_study(study, folder / f"{len(known)}.h5")
        return known[key]

    return tune


def test_a_bait_alike_on_both_sides_needs_none(tuned):
    result = tuned()
    found = tuning(result)
    assert (found.verdict, found.bend) == ("runs true", 0.0)
    assert abs(found.optimum) <= 0.1
    assert found.before.worst < 0.02
    facts = tune_facts(result)
    assert facts["put_right"] == []
    room = min(-found.window[0], found.window[1])
    (words,) = facts["in_words"]
    assert words == (
        "Runs true: leave the eye as it is; it stays within the limits up to"
        f" {math.floor(10.0 * room) / 10.0:.1f} deg either way."
    )


def test_a_mirrored_bait_is_bent_the_other_way(tuned):
    # the side on which the wobble starts is the same, so the two are no mirror image to the bit
    right, left = (tuning(tuned(bait__bill__yaw_error_deg=v)) for v in (2.0, -2.0))
    assert right.bend == -left.bend != 0.0
    assert right.optimum == pytest.approx(-left.optimum, abs=0.06)
    for m in range(len(SPEEDS)):
        assert right.before.drift[m] == pytest.approx(-left.before.drift[m], abs=0.1)
        assert right.before.lean[m] == pytest.approx(-left.before.lean[m], abs=0.6)


CASES = [
    {"bait__bill__yaw_error_deg": 2.0},
    {"bait__bill__roll_error_deg": -6.0},
    {"bait__bill__right_mm": 0.5},
    {"bait__ballast__0__right_mm": 1.0},
    {"bait__body__lopsided_mm": -1.0},
]


@pytest.mark.parametrize("off", CASES, ids=lambda off: next(iter(off)))
def test_what_is_left_over_is_less_than_before_and_of_real_runs(tuned, off):
    result = tuned(**off)
    found = tuning(result)
    assert found.verdict == "bend"
    assert found.after.worst < 0.7 * found.before.worst
    assert found.window is not None
    assert found.window[0] <= found.bend <= found.window[1]
    # the figures told are those of a run of its own
    overrides = axis_overrides(result.study.base, BEND, found.bend) | {SPEED: 2.0}
    run = sim.simulate(with_overrides(result.study.base, overrides))
    assert found.after.lean[1] == run.measures["lean_deg"]
    drift = math.degrees(math.atan(run.measures["side_drift_m_per_m"]))
    assert found.after.drift[1] == pytest.approx(drift, abs=1e-12)


@pytest.mark.parametrize("off", CASES, ids=lambda off: next(iter(off)))
def test_the_eye_is_bent_away_from_the_side_it_runs_to(tuned, off):
    # common practice, no source: "it runs left, bend the eye to the right"
    found = tuning(tuned(**off))
    fastest = found.before.drift[found.before.sound][-1]
    assert math.copysign(1.0, found.bend) == -math.copysign(1.0, fastest)
    # and each bend further that way turns it further that way: the drift rises with the bend
    known = found.swims.sound[:, 0]
    assert (np.diff(found.swims.drift[known, 0]) > 0.0).all()


def test_what_is_at_fault_cures_it_when_put_right(tuned):
    base = tuned(bait__bill__yaw_error_deg=2.0).study.base
    (only,) = put_right(base, SPEEDS)
    assert [a.key for a in only.asymmetries] == ["bait.bill.yaw_error_deg"]
    assert only.cures
    assert only.swims.worst < 0.02
    run = sim.simulate(with_overrides(base, {"bait.bill.yaw_error_deg": 0.0, SPEED: 2.0}))
    assert only.swims.lean[1] == run.measures["lean_deg"]
    both = put_right(with_overrides(base, {"bait.hook.0.right_mm": 0.3}), SPEEDS)
    assert [one.asymmetries[0].key for one in both] == [
        "bait.bill.yaw_error_deg", "bait.hook.0.right_mm",
    ]  # fmt: skip
    assert [one.cures for one in both] == [True, False]


def test_all_together_are_tried_where_none_cures_alone():
    # 2 deg of yaw or of a weight 1 mm aside are each too much at 2 m/s
    config = runner(bait__bill__yaw_error_deg=2.0, bait__body__lopsided_mm=4.0)
    found = put_right(config, SPEEDS)
    assert [len(one.asymmetries) for one in found] == [1, 1, 2]
    assert [one.cures for one in found] == [False, False, True]


def test_a_bait_that_no_bend_cures_is_told_as_such(tuned):
    result = tuned(bait__tie__above_centreline_mm=-15.0)
    facts = tune_facts(result)
    assert facts["verdict"] == "not cured"
    assert facts["window"] is None
    assert facts["in_words"][0].startswith("Bending the eye does not cure it")
    assert facts["in_words"][1].startswith("Nothing in the file is off to one side")
    text = as_text(tune_summary(result), 100)
    assert "beyond every limit" in text
    assert max(map(len, text.splitlines())) <= 100


def test_what_a_bend_leaves_over_and_what_cures_it_instead(tuned):
    # tried no further than a degree: by the finer row above it takes 2.5
    result = tuned(reach=1.0, bait__bill__yaw_error_deg=2.0)
    found = tuning(result)
    facts = tune_facts(result, righted=put_right(result.study.base, SPEEDS))
    assert (found.verdict, found.bend, found.window) == ("not cured", 1.0, None)
    best, cause = facts["in_words"]
    drift, lean = abs(found.after.drift[1]), abs(found.after.lean[1])
    assert best == (
        "Bending the eye does not cure it. Best is to bend the eye 1 deg to starboard: 0.09 mm at"
        " the knot, for an eye of 5 mm; what is left: at 2 m/s it runs"
        f" {drift:.1f} deg to port and leans {lean:.1f} deg to starboard."
    )
    assert cause == "Put right, bait.bill.yaw_error_deg cures it."
    # what is not told is not run: the command that does is
    stored = tune_facts(result, "other.h5")
    assert (stored["put_right"], stored["in_words"]) == (None, [best])
    assert stored["try_put_right"].endswith(
        "--slowest 1 --fastest 2 --speeds 2 --set bait.bill.yaw_error_deg=2.0 --output other.h5"
        " --force"
    )
    text = as_text(tune_summary(result, output="other.h5"), 100)
    assert "runtrue tune" in text and "largest drift" not in text


def test_the_picture_marks_the_bend_and_the_window(tuned):
    drawn = tune_figure(tuned(bait__bill__yaw_error_deg=2.0))
    gids = [a.get_gid() for ax in drawn.axes for a in (*ax.lines, *ax.patches)]
    assert gids.count("chosen") == 3  # drift, lean and class
    assert gids.count("window") == 3
    found = tuning(tuned(bait__bill__yaw_error_deg=2.0))
    chosen = [a for a in drawn.axes[0].lines if a.get_gid() == "chosen"]
    assert list(chosen[0].get_xdata()) == [found.bend, found.bend]
    # letters of the classes stand inside, off the numbers beside the panel
    drawn.canvas.draw()
    strip = drawn.axes[2]
    frame = strip.get_window_extent()
    letters = [text.get_window_extent() for text in strip.texts if text.get_gid() == "letter"]
    assert letters
    assert all(frame.x0 <= box.x0 and box.x1 <= frame.x1 for box in letters)
    plain = tune_figure(tuned())
    gids = [a.get_gid() for ax in plain.axes for a in (*ax.lines, *ax.patches)]
    assert "chosen" not in gids
    assert "window" not in gids


def test_many_speeds_are_named_at_the_ends_of_their_curves():
    speeds = tuple(0.5 + 0.25 * np.arange(7))
    drift = np.column_stack([(m + 1.0) * (ROW - 2.0) for m in range(7)])
    drawn = tune_figure(made_up(ROW, speeds, drift))
    for ax in drawn.axes[:1]:
        names = {text.get_text() for text in ax.texts}
        assert {f"{v:.3g}" for v in speeds} <= names
        assert ax.get_legend() is None
    assert tune_figure(made_up(ROW, SPEEDS, drift[:, :2])).axes[0].get_legend() is not None


def test_runs_that_have_no_drift_are_crossed_at_their_own_speed():
    turns = np.zeros((ROW.size, 3))
    turns[:, 1] = 1.5
    turns[ROW == 0.0, 2] = 1.5
    drawn = tune_figure(made_up(ROW, (1.0, 1.5, 2.0), (2.0 * (ROW - 3.0))[:, None],
                                most_turns=turns))  # fmt: skip
    before, after = (a for a in drawn.axes[4].lines if a.get_gid() == "beyond")
    assert list(before.get_ydata()) == [1, 2]
    assert list(after.get_ydata()) == [1]
    assert set(before.get_xdata()).isdisjoint(after.get_xdata())


def test_a_window_from_nought_has_no_minus_nought():
    # within the limits up from 0 deg, but for what interpolation leaves
    drawn = tune_figure(made_up(ROW, SPEEDS, (-4.0 * (ROW - 2.49))[:, None]))
    words = " ".join(text.get_text() for text in drawn.texts)
    assert "from 0.0 to +5.0 deg" in words
