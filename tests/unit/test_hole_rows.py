"""Rows of trial holes: where they are, the sweet spot of made-up rows, words, picture, trade facts.

The made-up rows lie at whole numbers of the path of the shallow runner; no number of theirs is
simulated.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from map_examples import CONFIGS, FAIL, OPEN, B, O, S, T, make_map, make_study
from matplotlib.patches import Rectangle

import sim
from sim.bait.assembly import assemble
from sim.bait.tie_path import tie_path
from sim.commands.speeds import retrieve_problems, speed_problems, towed
from sim.errors import ConfigError, RunError
from sim.plots.cells import style_of
from sim.plots.holes import holes_figure
from sim.report.holes import (
    again,
    found_rows,
    holes_facts,
    holes_summary,
    place_words,
    worst_over_speeds,
)
from sim.report.map import KINDS, LETTERS
from sim.report.text import as_text
from sim.studies.changes import Change, changes_of, try_changes
from sim.studies.engine import run_cases
from sim.studies.holes import (
    balanced_throughout,
    depth_angle_deg,
    goes_round,
    hole_places,
    holes_study,
    nearest,
    own_tie,
    pitch_of,
    row_of_holes,
    sweet_spot,
    sweet_spots,
    told_holes,
    widest_range,
)
from sim.studies.run import run_study
from sim.studies.speeds import own_speed_index, speed_row
from sim.studies.store import MapResult
from sim.studies.study import load_study

ALL = ("shallow-runner", "surface-runner", "deep-runner", "slab-sided", "slow-sinker")
SPEEDS = (0.5, 1.0, 1.5)


def bait(name: str = "shallow-runner", **overrides: Any) -> sim.Config:
    return sim.load_config(CONFIGS / f"{name}.toml", overrides=overrides)


def row(
    kinds: Any, speeds: Any = SPEEDS, first: float = -8.0, turns: Any = 0.0, step: float = 1.0
) -> MapResult:
    """A row of holes of given classes, shape (holes, speeds), from ``first`` on."""
    kinds = np.asarray(kinds)
    study = make_study(first + step * np.arange(len(kinds)), speeds)
    made = make_map(kinds, study)
    shape = (*kinds.shape, 1)
    more = {
        "most_turns": np.broadcast_to(np.asarray(turns, float)[..., None], shape).copy(),
        "lean_deg": np.full(shape, 1.5),
        "depth_m": np.full(shape, 1.0),
    }
    return make_map(kinds, study, measures={**made.measures, **more})


def steady(letters: str) -> list[list[int]]:
    """Holes that do the same at all three speeds."""
    return [["tBOS".index(c)] * 3 for c in letters]


# ---- the row of speeds --------------------------------------------------------------------------


def test_speeds_are_even_steps_with_the_own_one_among_them():
    config = bait()
    assert config.retrieve.speed_m_s == 1.0
    assert speed_row(config, 0.4, 2.0, 9) == (0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0)
    assert speed_row(config, 0.4, 2.0, 3) == (0.4, 1.0, 1.2, 2.0)
    assert speed_row(config, 1.0, 1.5, 2) == (1.0, 1.5)
    assert speed_row(config, 1.2, 1.5, 2) == (1.2, 1.5)  # its own lies outside


def test_own_speed_takes_the_place_of_a_step_that_is_the_same_but_for_the_last_digits():
    config = bait(**{"retrieve.speed_m_s": 0.6000000001})
    assert speed_row(config, 0.4, 0.8, 3) == (0.4, 0.6000000001, 0.8)
    assert own_speed_index((0.4, 0.6, 0.8), 0.55) == 1


@pytest.mark.parametrize("given", [(0.0, 1.0, 3), (1.0, 1.0, 3), (2.0, 1.0, 3), (0.5, 1.0, 1)])
def test_no_row_of_speeds_without_a_range(given):
    with pytest.raises(ValueError, match="no row of"):
        speed_row(bait(), *given)


def test_speed_options_tell_all_that_is_wrong():
    assert speed_problems(0.4, 2.0, 9) == []
    assert speed_problems(0.0, 11.0, 1) == [
        "--slowest 0: must be > 0 and at most 10 m/s. Correct it.",
        "--fastest 11: must be > 0 and at most 10 m/s. Correct it.",
        "--speeds 1: must be from 2 to 20. Correct it.",
    ]
    assert "must be less than --fastest 1 m/s" in speed_problems(2.0, 1.0, 3)[0]
    assert len(speed_problems(math.nan, math.inf, 21)) == 3


def test_what_cannot_be_retrieved():
    assert retrieve_problems(bait()) == []
    found = retrieve_problems(bait(**{"loads.line": False, "solver.method": "dop853"}))
    assert len(found) == 2 and "loads.line" in found[0] and "dop853" in found[1]


def test_a_reeled_line_is_towed_and_says_so():
    reeled = towed(bait(**{"retrieve.mode": "reel"}))
    assert reeled.retrieve.mode == "tow"
    assert reeled.overrides["retrieve.mode"] == "tow"
    assert towed(bait()).overrides == {}


# ---- where the holes are ------------------------------------------------------------------------


@pytest.mark.parametrize("pitch", [1.0, 0.3, 2.5])
def test_holes_are_whole_multiples_that_lie_on_the_path(pitch):
    config = bait()
    path = tie_path(config)
    at = row_of_holes(config, pitch)
    assert 0.0 in at
    np.testing.assert_allclose(at / pitch, np.round(at / pitch), atol=1e-6)
    np.testing.assert_allclose(np.diff(at), pitch, rtol=1e-6)
    assert path.distance_mm[0] <= at[0] < path.distance_mm[0] + pitch
    assert path.distance_mm[-1] - pitch < at[-1] <= path.distance_mm[-1]


def test_study_has_four_holes_for_each_one_told():
    config = bait()
    study = holes_study(config, 1.0, SPEEDS)
    assert study.kind == "holes" and study.name == "shallow-runner-holes"
    assert [axis.key for axis in study.axes] == ["tie_path_mm", "retrieve.speed_m_s"]
    assert pitch_of(study) == 1.0
    told = study.axes[0].values[told_holes(study)]
    assert told.tolist() == row_of_holes(config, 1.0).tolist()
    assert study.axes[1].values.tolist() == list(SPEEDS)


def test_each_hole_is_tied_where_it_is_told():
    study = holes_study(bait(), 2.0, SPEEDS)
    path, places = tie_path(study.base), hole_places(study)
    for i in (0, 17, study.shape[0] - 1):
        tie = study.cell_config(i * len(SPEEDS) + 1).bait.tie
        expected = path.at(float(study.axes[0].values[i]))
        assert (tie.from_nose_mm, tie.above_centreline_mm) == expected
        assert tuple(places[i]) == expected


def test_a_pitch_too_coarse_for_the_path_is_refused():
    with pytest.raises(ConfigError, match=r"fewer than 3 holes 30 mm apart. Give a smaller pitch"):
        holes_study(bait(), 30.0, SPEEDS)


def test_no_holes_without_a_bill():
    config = bait()
    without = config.model_copy(update={"bait": config.bait.model_copy(update={"bill": None})})
    with pytest.raises(RunError, match=r"needs \[bait.body\] and \[bait.bill\]"):
        holes_study(without, 1.0, SPEEDS)


def test_own_tie_point_on_and_beside_the_path():
    config = bait()
    path = tie_path(config)
    from_nose, above = path.at(-5.0)
    key = "bait.tie.from_nose_mm", "bait.tie.above_centreline_mm"
    on = own_tie(bait(**dict(zip(key, (from_nose, above), strict=True))))
    assert on.distance_mm == pytest.approx(-5.0, abs=1e-9)
    assert on.gap_mm < 1e-9
    # straight ahead of the nose, whose front is flat from 1 mm above the centreline to 1 mm below
    ahead = own_tie(bait(**{key[0]: -2.0, key[1]: 0.4}))
    assert ahead.gap_mm == pytest.approx(2.0, abs=1e-3)
    assert path.at(ahead.distance_mm) == pytest.approx((0.0, 0.4), abs=1e-3)


def test_own_tie_point_by_search():
    tie, path = bait().bait.tie, tie_path(bait())
    along = np.arange(path.distance_mm[0], path.distance_mm[-1], 1e-3)
    gaps = [math.dist(path.at(d), (tie.from_nose_mm, tie.above_centreline_mm)) for d in along]
    found = own_tie(bait())
    assert found.distance_mm == pytest.approx(along[int(np.argmin(gaps))], abs=1e-3)
    assert found.distance_mm == pytest.approx(-2.56, abs=0.005)  # told in the rows below


def test_depth_angle_by_hand():
    # a line of 3 m with its tip 0.5 m above the surface and the bait 1 m below: sine 0.5
    config = bait(**{"line.rod_tip_height_m": 0.5})
    found = depth_angle_deg(config, np.array([1.0, -0.5, 2.5, 2.6, math.nan]))
    np.testing.assert_allclose(found[:3], [30.0, 0.0, 90.0])
    assert np.isnan(found[3:]).all()


# ---- the sweet spot of made-up rows -------------------------------------------------------------


def test_no_sweet_spot():
    result = row(steady("tttOO"))
    assert sweet_spot(result) is None
    assert sweet_spots(result) == []
    assert nearest(result) is None
    assert widest_range(result) is None


def test_one_sweet_spot():
    result = row(steady("ttBBBBO"))  # from -8 on: balanced -6 to -3
    spot = sweet_spot(result)
    assert (spot.first_mm, spot.last_mm, spot.length_mm) == (-6.0, -3.0, 3.0)
    assert (spot.middle_mm, spot.drift_mm, spot.step_mm) == (-4.5, 1.5, 1.0)
    assert (spot.slowest_m_s, spot.fastest_m_s) == (0.5, 1.5)
    assert not spot.top and not spot.tip
    path = tie_path(result.study.base)
    assert spot.first_at == path.at(-6.0)
    assert spot.last_at == path.at(-3.0)
    assert spot.middle_at == path.at(-4.5)
    assert spot.room_mm(-5.5) == (0.5, 2.5)
    assert spot.room_mm(-7.0) == (-1.0, 4.0)
    assert spot.holds(-3.0) and not spot.holds(-2.9) and not spot.holds(-6.1)


def test_of_several_the_longest_and_of_equals_the_upper():
    assert sweet_spot(row(steady("BBtBBBtB"))).first_mm == -5.0
    equal = row(steady("tBBtBBt"))
    assert [s.first_mm for s in sweet_spots(equal)] == [-7.0, -4.0]
    assert sweet_spot(equal).first_mm == -7.0


def test_one_cell_breaks_it():
    kinds = np.array(steady("tBBBBBO"))
    kinds[3, 2] = T  # -5 mm at the fastest speed
    result = row(kinds)
    assert [(s.first_mm, s.last_mm) for s in sweet_spots(result)] == [(-7.0, -6.0), (-4.0, -3.0)]
    whole = sweet_spot(result, slice(0, 2))  # without that speed
    assert (whole.first_mm, whole.last_mm, whole.fastest_m_s) == (-7.0, -3.0, 1.0)


@pytest.mark.parametrize("code", [OPEN, FAIL, O, S])
def test_whatever_is_not_balanced_breaks_it(code):
    kinds = np.array(steady("tBBBO"))
    kinds[2, 0] = code
    assert [s.length_mm for s in sweet_spots(row(kinds))] == [0.0, 0.0]


def test_it_may_reach_to_the_ends_of_the_row():
    assert sweet_spot(row(steady("BBt"))).top
    last = sweet_spot(row(steady("ttBB")))
    assert last.tip and not last.top
    single = sweet_spot(row(steady("tBt")))
    assert (single.length_mm, single.drift_mm) == (0.0, 0.0)


def test_a_balanced_run_that_went_round_breaks_it():
    turns = np.zeros((5, 3))
    turns[2, 1] = 1.0  # one turn is the limit
    turns[3, 1] = 0.99
    result = row(steady("BBBBB"), turns=turns)
    assert goes_round(result)[..., 0].sum() == 1
    assert not balanced_throughout(result)[2, 1]
    assert [(s.first_mm, s.last_mm) for s in sweet_spots(result)] == [(-8.0, -7.0), (-5.0, -4.0)]


def test_spinning_goes_round_whatever_its_turns():
    assert goes_round(row(steady("BS")))[..., 0].tolist() == [[False] * 3, [True] * 3]


def test_other_axes_are_refused():
    with pytest.raises(ValueError, match="tie_path_mm and retrieve"):
        sweet_spot(make_map([T, B], make_study([0.0, 1.0])))


def test_nearest_is_the_middle_of_the_best_stretch():
    kinds = np.array(steady("tBBBBO"))
    kinds[:, 0] = T  # tight at the slow end
    found = nearest(row(kinds))
    assert (found.hole, found.distance_mm, found.balanced) == (2, -6.0, 2)
    assert found.good == (False, True, True)
    assert found.at == tie_path(bait()).at(-6.0)


def test_widest_range_that_has_a_sweet_spot():
    speeds = (0.4, 0.5, 1.0, 2.0)
    kinds = [[T, T, B, B], [B, B, T, T], [B, B, B, T]]
    found = widest_range(row(kinds, speeds))
    assert (found.slowest_m_s, found.fastest_m_s, found.first_mm) == (1.0, 2.0, -8.0)


def test_a_single_speed_may_be_the_widest_range():
    found = widest_range(row([[T, B, T], [O, O, B]]))
    assert (found.slowest_m_s, found.fastest_m_s) == (1.0, 1.0)


# ---- words, numbers, letters --------------------------------------------------------------------


def test_letters_are_those_of_the_pictures():
    assert [style_of(k).letter for k in range(len(KINDS) - 1)] == list(LETTERS[:-1])


def test_places_in_words():
    assert place_words((3.24, -5.1)) == "3.2 mm behind the nose tip, 5.1 mm below the centreline"
    assert place_words((-1.0, 0.6)) == "1.0 mm ahead of the nose tip, 0.6 mm above the centreline"
    assert place_words((0.04, -0.04)) == "at the nose tip, on the centreline"


def text(result: MapResult, width: int = 100, **more: Any) -> list[str]:
    return as_text(holes_summary(result, **more), width).splitlines()


def fine_row(letters: str, first: float = -8.0) -> MapResult:
    """Holes at a pitch of 1 mm, with those between as the one above them."""
    kinds = np.repeat(np.array(steady(letters)), 4, axis=0)
    return row(kinds, first=first, step=0.25)


def test_table_has_a_line_for_each_hole_with_class_and_marks():
    result = fine_row("ttBBBO")
    lines = text(result)
    start = next(i for i, line in enumerate(lines) if line.split()[:1] == ["mm"]) + 1
    rows = [line.split() for line in lines[start : start + 6]]
    assert [r[0] for r in rows] == ["-8", "-7", "|", "|", "|", ">"]
    path = tie_path(result.study.base)
    from_nose, above = path.at(-6.0)
    # marked, place, classes at the three speeds; measures of made-up maps at 1 m/s
    assert len(lines[start - 4].split()) == 3 and lines[start - 4].endswith(" at 1 m/s")
    assert rows[2][1:7] == ["-6", f"{from_nose:.1f}", f"{above:.1f}", "B", "B", "B"]
    assert rows[2][7:] == ["10.60", "7.8", "16.2", "1.5", "19.5"]  # asin(1/3) is 19.5 degrees
    assert rows[5][-8:-5] == ["O", "O", "O"]


def test_a_hole_that_went_round_is_marked_with_a_footnote():
    turns = np.zeros((24, 3))
    turns[4, 1] = 1.2  # -7 mm
    kinds = np.repeat(np.array(steady("ttBBBO")), 4, axis=0)
    lines = text(row(kinds, turns=turns, step=0.25))
    assert any("t   t*  t" in line for line in lines)
    assert any(line.startswith("  * went round on the way (1 turn or more)") for line in lines)
    assert not any("went round" in line for line in text(fine_row("ttBBBO")))


@pytest.mark.parametrize("count", [2, 10, 21])
def test_table_fits_a_hundred_columns(count):
    speeds = np.linspace(0.45, 2.05, count)
    kinds = np.repeat(np.full((6, count), O), 4, axis=0)
    result = row(kinds, speeds, turns=1.0, step=0.0625, first=-12.0)
    result.measures["lean_deg"][:] = -180.0
    lines = text(result)
    assert max(map(len, lines)) <= 100
    table = [line for line in lines if line.startswith("  ") and "O*" in line]
    assert len(table) == 6
    for line in table:
        assert line.count("O*") == count
        assert line.split()[-2:] == ["-180.0", "19.5"]  # nothing is cut off


def test_answer_with_a_sweet_spot():
    rows = dict(r for r in found_rows(fine_row("ttBBBO")) if r[0])
    assert rows["Sweet spot"] == (
        "-6.00 to -3.25 mm along the path, 2.75 mm long: balanced at every speed from 0.5 to"
        " 1.5 m/s"
    )
    assert rows["  middle"].startswith("-4.6 mm, ")
    assert "drift 1.4 mm up or down" in rows["  middle"]
    assert rows["As in the file"] == "-2.56 mm: 0.69 mm below the sweet spot. Tie it higher"
    inside = dict(found_rows(fine_row("ttBBBBO")))
    assert inside["As in the file"] == (
        "-2.56 mm: in the sweet spot, 3.44 mm to its upper end, 0.31 mm to its lower end"
    )


def test_answer_without_one():
    kinds = np.repeat(np.array(steady("tBBO")), 4, axis=0)
    kinds[:, 0] = T
    kinds[:4, 1:] = T
    rows = dict(found_rows(row(kinds, step=0.25)))
    assert rows["Sweet spot"] == "none: no hole is balanced at every speed from 0.5 to 1.5 m/s"
    assert rows["Nearest"].startswith("-6.25 mm, ")
    assert rows["Nearest"].endswith("balanced at 2 of 3 speeds, tight at 0.5 m/s (the slow end)")
    assert rows["Part of it"] == (
        "from 1 to 1.5 m/s the sweet spot would be -7.00 to -5.25 mm, 1.75 mm long"
    )


def test_facts_agree_with_the_functions():
    result = fine_row("ttBBBO")
    facts = holes_facts(result, "row.h5", ["row.png"])
    spot = sweet_spot(result)
    assert facts["sweet_spot"]["first_mm"] == spot.first_mm
    assert facts["sweet_spot"]["middle"]["from_nose_mm"] == spot.middle_at[0]
    assert (facts["pitch_mm"], facts["step_mm"]) == (1.0, 0.25)
    assert facts["nearest"] is None and facts["changes"] is None
    assert [h["distance_mm"] for h in facts["holes"]] == [-8.0, -7.0, -6.0, -5.0, -4.0, -3.0]
    assert [h["in_sweet_spot"] for h in facts["holes"]] == [False, False, True, True, True, False]
    assert [h["own_tie"] for h in facts["holes"]] == [False] * 5 + [True]
    assert facts["holes"][2]["class"] == ["balanced"] * 3
    assert facts["tie"]["in_sweet_spot"] is False
    assert facts["tie"]["room_mm"]["down"] == pytest.approx(-3.25 + 2.56, abs=0.01)


def test_worst_over_speeds():
    kinds = [[T, B, B], [B, O, T], [B, B, OPEN]]
    assert [KINDS[k] for k in worst_over_speeds(row(kinds))] == [
        "tight", "over-rolling", "not settled",
    ]  # fmt: skip


def test_command_that_tries_again_lays_out_the_same_row():
    config = bait(**{"bait.bill.width_mm": 21.0})
    study = holes_study(config, 2.0, speed_row(config, 0.5, 2.0, 4))
    words = again(study).split()
    assert words[:4] == ["runtrue", "holes", str(CONFIGS / "shallow-runner.toml"), "--try-changes"]
    given = dict(zip(words[4::2], words[5::2], strict=True))
    assert given == {
        "--pitch-mm": "2", "--slowest": "0.5", "--fastest": "2", "--speeds": "4",
        "--set": "bait.bill.width_mm=21.0",
    }  # fmt: skip
    uneven = holes_study(config, 2.0, speed_row(config, 0.5, 2.0, 3))  # 1 m/s came on top
    assert "--speeds 3" in again(uneven)
    # only a file that is known is replaced, and it is named where it is not the usual one
    assert "--force" not in words
    assert again(study, "results/shallow-runner-holes.h5").split() == [*words, "--force"]
    assert again(study, "other.h5").split() == [*words, "--output", "other.h5", "--force"]


# ---- the picture --------------------------------------------------------------------------------


def gids(figure: Any) -> list[str]:
    return [
        str(artist.get_gid())
        for ax in figure.axes
        for artist in (*ax.lines, *ax.patches, *ax.collections)
        if artist.get_gid()
    ]


def test_picture_shows_the_sweet_spot_where_it_is():
    figure = holes_figure(fine_row("ttBBBO"))
    cells, swing, wobble, nose = figure.axes
    for ax in (cells, swing, wobble):
        ends = sorted(
            float(line.get_xdata()[0]) for line in ax.lines if line.get_gid() == "sweet spot"
        )
        assert ends == [-6.125, -3.125]  # half a step beyond the outermost good holes
    bar = [p for p in cells.patches if isinstance(p, Rectangle) and p.get_gid() is None]
    assert len(bar) == 1 and bar[0].get_x() == -6.125
    assert "own place" in gids(figure) and "part of the range" not in gids(figure)
    holes = [g for g in gids(figure) if g.startswith("hole ")]
    assert set(holes) == {"hole tight", "hole balanced", "hole over-rolling"}
    assert nose.get_aspect() == 1.0


def test_picture_without_a_sweet_spot_shows_the_part_that_has_one():
    kinds = np.repeat(np.array(steady("tBBO")), 4, axis=0)
    kinds[:, 0] = T
    figure = holes_figure(row(kinds, step=0.25))
    assert "sweet spot" not in gids(figure)
    (patch,) = [p for p in figure.axes[0].patches if p.get_gid() == "part of the range"]
    assert (patch.get_x(), patch.get_width()) == (-7.125, 2.0)
    assert (patch.get_y(), patch.get_height()) == (0.75, 1.0)  # the cells of 1 and 1.5 m/s


def test_picture_keeps_all_words_on_the_paper():
    figure = holes_figure(fine_row("ttBBBO"))
    figure.canvas.draw()
    width, height = figure.get_size_inches() * figure.dpi
    for words in (*figure.texts, *(ax.title for ax in figure.axes), *figure.legends):
        box = words.get_window_extent()
        assert box.x0 >= 0.0 and box.x1 <= width and box.y0 >= 0.0 and box.y1 <= height, words


@pytest.mark.parametrize("low", [True, False])
def test_names_of_limits_keep_off_the_curves(low):
    result = fine_row("ttBBBO")
    yaw = result.measures["yaw_amplitude_deg"]
    # all along just above the limit of yaw, or from the left end only
    yaw[:] = 8.0 if low else 60.0
    yaw[: len(yaw) // 2] = 8.0
    figure = holes_figure(result)
    figure.canvas.draw()
    swing = figure.axes[1]
    names = [text for text in swing.texts if text.get_gid() == "limit"]
    assert [name.get_text() for name in names] == [
        "yaw: tight below 6 deg", "roll: over-rolling above 35 deg",
    ]  # fmt: skip
    for name in names:
        box = name.get_window_extent()
        for line in swing.lines[:2]:
            points = swing.transData.transform(
                np.column_stack([line.get_xdata(), line.get_ydata()])
            )
            assert not any(box.contains(*point) for point in points)


# ---- changes ------------------------------------------------------------------------------------


def test_what_is_tried():
    config = bait()
    found = {change.label: change.overrides for change in changes_of(config)}
    assert len(found) == 12
    assert found["bill 10 % longer"] == {"bait.bill.length_mm": 17.05}  # of 15.5
    assert found["bill 10 % narrower"] == {"bait.bill.width_mm": 18.0}  # of 20
    assert found["bill 5 deg steeper"] == {"bait.bill.angle_deg": 53.0}  # of 48
    assert found["weight 1 mm lower"] == {"bait.ballast.0.above_centreline_mm": -6.4}  # of -5.4
    assert found["weight 2 mm further back"] == {"bait.ballast.0.from_nose_mm": 27.9}  # of 25.9
    heavier = found["bait 15 % heavier"]["bait.total_mass_g"]
    assert heavier == pytest.approx(1.15 * 1e3 * assemble(config).mass, abs=1e-5)


SHORT = {"solver.duration_s": 1.0, "solver.max_duration_s": 1.0}


def test_changes_are_run_alike_whatever_the_number_of_processes(tmp_path: Path):
    config = bait(**SHORT)
    result = run_study(holes_study(config, 10.0, (0.8, 1.2)), tmp_path / "row.h5")
    given = (
        Change("narrower", {"bait.bill.width_mm": 15.0}),
        Change("impossible", {"bait.total_mass_g": 1.0}),
        Change("steeper", {"bait.bill.angle_deg": 60.0}),
    )
    alone = try_changes(result, changes=given)
    assert [t.change.label for t in alone.left_out] == ["impossible"]
    assert "total_mass_g" in alone.left_out[0].problem
    assert sorted(t.change.label for t in alone.tried) == ["narrower", "steeper"]
    # bills differ in angle, and so the number of holes 10 mm apart may
    assert alone.as_is.runs == 2 * len(row_of_holes(config, 10.0))
    counts: list[tuple[int, int, int]] = []
    more = try_changes(result, changes=given, workers=2, progress=lambda *c: counts.append(c))
    assert more == alone
    assert counts[-1][0] == counts[-1][1] == sum(t.runs for t in alone.tried)


def test_a_change_comes_to_what_its_own_row_does(tmp_path: Path):
    config = bait()
    base = run_study(holes_study(config, 4.0, (0.8, 1.2)), tmp_path / "row.h5")
    change = Change("wider", {"bait.bill.width_mm": 22.0})
    (tried,) = try_changes(base, changes=[change]).tried
    wide = sim.with_overrides(config, change.overrides)
    alone = run_study(holes_study(wide, 4.0, (0.8, 1.2), finer=1), tmp_path / "wide.h5")
    assert tried.spot == sweet_spot(alone)
    assert tried.balanced == int(balanced_throughout(alone).sum()) > 0
    assert tried.runs == alone.status.size
    # the bait as it is: every fourth of its own holes
    as_is = try_changes(base, changes=[]).as_is
    assert as_is.balanced == int(balanced_throughout(base)[told_holes(base.study)].sum())


# ---- against the map, and what makers know ------------------------------------------------------


def test_a_row_of_holes_is_the_map_of_the_same_cells():
    study = load_study(CONFIGS / "studies" / "shallow-runner-tie-speed.toml")
    holes = holes_study(study.base, 1.0, (0.6, 1.0, 2.0))
    cases: tuple[list[int], list[int]] = ([], [])
    for distance in (-12.0, -8.5, -3.0, 0.5, 6.0):
        for speed in (0.6, 1.0, 2.0):
            for found, one in zip(cases, (study, holes), strict=True):
                i, j = (
                    int(np.abs(axis.values - value).argmin())
                    for axis, value in zip(one.axes, (distance, speed), strict=True)
                )
                assert one.cell_values(i * one.shape[1] + j) == (distance, speed)
                found.append(i * one.shape[1] + j)
    a, b = run_cases(study, cases[0]), run_cases(holes, cases[1])
    assert a.motion_class.tolist() == b.motion_class.tolist()
    np.testing.assert_array_equal(a.measures, b.measures)
    assert {int(k) for k in a.motion_class} >= {T, B, O}


@pytest.mark.parametrize("name", ALL)
def test_high_holes_are_tight_low_ones_over_roll_and_the_sweet_spot_lies_between(name, tmp_path):
    # common practice, no source; at speeds at which every one of these baits swims
    result = run_study(holes_study(bait(name), 3.0, (0.8, 1.0)), tmp_path / "row.h5")
    at, kinds = result.study.axes[0].values, result.motion_class[..., 0]
    # the very top, where the line would rub on the back, is another matter: the surface runner
    # rolls over when it is tied there
    at, kinds = at[at > at[0] + 3.0], kinds[at > at[0] + 3.0]
    assert (kinds[0] == T).all()
    # far out on a long bill it does not settle, or turns over: neither tight nor balanced. The
    # bill of the surface runner stands straight down: tied near its tip the bait lies at the
    # surface and hardly moves
    assert np.isin(kinds[-1], (T, B)).any() == (name == "surface-runner")
    spot = sweet_spot(result)
    assert spot is not None and not spot.top and not spot.tip
    above, below = kinds[at < spot.first_mm], kinds[at > spot.last_mm]
    assert np.isin(above, (T, B)).all()
    assert (above[-1] == T).any()
    assert ((below == O) | (below == S)).any()
