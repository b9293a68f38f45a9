"""What a map says in words and in JSON: every figure below is counted by hand on made-up maps."""

from __future__ import annotations

import json
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from map_examples import FAIL, INVALID, LINE, NONE, OPEN, B, O, S, T, make_map, make_study

import sim
from sim.errors import ConfigError, RunError
from sim.report.map import (
    KINDS,
    cell_kinds,
    dependent,
    good_or_bad,
    map_facts,
    map_summary,
    own_text,
    percent,
    place_text,
    stretches,
    worst_kinds,
)
from sim.report.text import as_text, to_json
from sim.small_motion import modes
from sim.studies import neutral
from sim.studies.neutral import growth_rates, neutral_grid
from sim.studies.study import Axis

X = [-10.0, -7.5, -5.0, -2.5, 0.0]
Y = [0.5, 1.0, 1.5]
# one row per speed, so that it reads as the map looks with the lowest speed on top
MAP = np.array([[T, B, B, O, S], [T, T, B, B, B], [FAIL, OPEN, B, LINE, INVALID]]).T


def words(result: Any, *args: Any) -> str:
    return as_text(map_summary(result, *args), 110)


# ----------------------------------------------------------------------------------- kinds of cells


def test_kinds_of_cells():
    kinds = cell_kinds(make_map(MAP, make_study(X, Y)))
    assert kinds.shape == (5, 3, 1)
    names = [[KINDS[kinds[i, j, 0]] for i in range(5)] for j in range(3)]
    assert names == [
        ["tight", "balanced", "balanced", "over-rolling", "spinning"],
        ["tight", "tight", "balanced", "balanced", "balanced"],
        ["failed", "not settled", "balanced", "not settled", "failed"],
    ]


def test_cells_filled_in_without_a_class_are_as_the_nearest_run():
    kinds = np.array([FAIL, NONE, NONE, OPEN, B, B])
    inferred = np.array([False, True, False, False, False, True])
    result = make_map(kinds, make_study(np.arange(6.0)), inferred)
    found = [KINDS[k] for k in cell_kinds(result)[:, 0]]
    assert found == ["failed", "failed", "missing", "not settled", "balanced", "balanced"]


@pytest.mark.parametrize(
    ("starts", "worst", "depends", "both"),
    [
        ((B, B), "balanced", False, False),
        ((B, T), "tight", True, False),
        ((T, S), "spinning", True, True),
        ((O, S), "spinning", True, False),
        ((B, O), "over-rolling", True, True),
        ((B, OPEN), "not settled", False, False),  # what is not known is no good class
        ((T, FAIL), "failed", False, False),
        ((S, FAIL), "spinning", False, False),  # and no worse than one known to be bad
        ((O, FAIL), "over-rolling", False, False),
        ((B, NONE), "missing", False, False),
        ((OPEN, FAIL), "failed", False, False),
    ],
)
def test_worst_of_two_starts(starts, worst, depends, both):
    study = make_study([0.0, 1.0], starts=("steady", "kick"))
    result = make_map([starts, starts[::-1]], study)
    assert [KINDS[k] for k in worst_kinds(result)] == [worst, worst]
    assert dependent(result).tolist() == [depends] * 2
    assert good_or_bad(result).tolist() == [both] * 2


def test_stretches():
    axis = Axis("k", "k", "mm", [1.0, 2.0, 4.0, 5.0, 9.0])
    assert stretches(axis, np.array([1, 1, 0, 1, 0], bool)) == [(1.0, 2.0), (5.0, 5.0)]
    assert stretches(axis, np.ones(5, bool)) == [(1.0, 9.0)]
    assert stretches(axis, np.zeros(5, bool)) == []


@pytest.mark.parametrize(
    ("values", "unit", "value", "text"),
    [
        (np.arange(-10.0, 10.5, 0.5), "mm", -9.5, "-9.5 mm"),
        (np.arange(-10.0, 10.5, 0.5), "mm", -0.0, "0.0 mm"),
        (np.linspace(0.5, 2.1, 65), "m/s", 0.525, "0.525 m/s"),
        (np.linspace(-16.0, 14.0, 97), "mm", -7.875, "-7.875 mm"),
        (np.array([1.0e-4, 3.0e-4]), "", 3.0e-4, "0.0003"),
        (np.arange(10.0, 60.0, 5.0), "degrees", 45.0, "45 deg"),
    ],
)
def test_places_have_the_decimals_of_their_steps(values, unit, value, text):
    assert place_text(Axis("k", "k", unit, values), value) == text


def test_own_place_is_told_closer_than_the_steps():
    axis = Axis("k", "k", "mm", np.arange(-10.0, 10.5, 0.5))
    assert own_text(axis, -2.539) == "-2.54 mm"
    assert own_text(axis, 2.0) == "2 mm"
    assert own_text(axis, math.nan) == "-"
    assert own_text(Axis("k", "k", "mm", np.array([100.0, 200.0])), 150.0) == "150 mm"


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0, "0 %"), (1e-4, "<1 %"), (0.014, "1 %"), (0.5, "50 %"), (0.996, ">99 %"), (1.0, "100 %")],
)
def test_shares(share, text):
    assert percent(share) == text


# -------------------------------------------------------------------------------------------- facts


def test_facts_of_a_map_counted_by_hand():
    early = np.zeros((5, 3, 1), bool)
    early[:2, :2] = True
    result = make_map(MAP, make_study(X, Y, fixed={"solver.step_ms": 4.0}), early=early)
    facts = map_facts(result, 2.5, "a.h5", ["a.png"])
    assert (facts["bait"], facts["name"]) == ("shallow-runner", "made-up")
    assert facts["config"]["overrides"] == {"solver.step_ms": 4.0}
    assert facts["axes"][0] == {
        "key": "tie_path_mm", "label": "tie point along the tie path", "unit": "mm",
        "first": -10.0, "last": 0.0, "points": 5,
    }  # fmt: skip
    assert (facts["cells"], facts["runs"], facts["inferred_cells"]) == (15, 15, 0)
    assert (facts["seconds"], facts["runs_per_s"]) == (2.5, 6.0)
    assert facts["stopped_early"] == {"runs": 4, "share": pytest.approx(4 / 15)}
    counts = {"tight": 3, "balanced": 6, "over-rolling": 1, "spinning": 1, "not settled": 2,
              "failed": 2, "missing": 0}  # fmt: skip
    (start,) = facts["starts"]
    assert start.pop("name") == "steady"
    assert {k: v["cells"] for k, v in start.items()} == counts
    assert {k: v["share"] for k, v in start.items()} == {
        k: pytest.approx(v / 15) for k, v in counts.items()
    }
    assert facts["worst_of_starts"] == start
    assert facts["depends_on_start"] == {"cells": 0, "good_or_bad": 0}
    assert facts["line_in_runs"] == 1
    assert facts["balanced"] == [
        {"at": 0.5, "stretches": [[-7.5, -5.0]]},
        {"at": 1.0, "stretches": [[-5.0, 0.0]]},
        {"at": 1.5, "stretches": [[-5.0, -5.0]]},
    ]
    assert facts["shipped"] == {
        "place": {"tie_path_mm": -3.0, "retrieve.speed_m_s": 1.0},
        "cell": {"tie_path_mm": -2.5, "retrieve.speed_m_s": 1.0},
        "from_start": {"steady": "balanced"},
    }
    assert (facts["output"], facts["pictures"]) == ("a.h5", ["a.png"])
    assert json.loads(to_json(facts))["runs"] == 15


def test_failures_are_grouped_by_cause():
    message = np.full((6, 1), "", object)
    message[:, 0] = ["not finite at t = 1.25 s", "", "not finite at t = 0.5 s", "bill.width_mm = 3",
                     "not finite at t = 7 s", ""]  # fmt: skip
    result = make_map(
        [FAIL, B, FAIL, INVALID, FAIL, O], make_study(np.arange(6.0)), message=message
    )
    assert map_facts(result)["failures"] == [
        {"status": "diverged", "runs": 3, "message": "not finite at t = 1.25 s",
         "example": {"tie_path_mm": 0.0, "start": "steady"}},
        {"status": "invalid", "runs": 1, "message": "bill.width_mm = 3",
         "example": {"tie_path_mm": 3.0, "start": "steady"}},
    ]  # fmt: skip
    said = words(result)
    assert "3  diverged, as at 0 mm: not finite at t = 1.25 s" in said
    assert "1  invalid, as at 3 mm: bill.width_mm = 3" in said


@pytest.mark.parametrize(
    ("shipped", "known"), [((math.nan, 1.0), False), ((30.0, 1.0), False), ((-11.0, 1.0), True)]
)
def test_a_shipped_place_off_the_map_is_none(shipped, known):
    # the outermost cell reaches half a step, 1.25 mm, beyond its middle
    facts = map_facts(make_map(MAP, make_study(X, Y), shipped=shipped))
    assert (facts["shipped"] is not None) == known


def test_rate_comes_from_the_provenance_unless_runs_were_taken_over():
    made = {"wall_time_s": "5.00", "runs_taken_over": "0"}
    study = make_study(X, Y)
    assert map_facts(make_map(MAP, study, provenance=made))["runs_per_s"] == 3.0
    assert map_facts(make_map(MAP, study, provenance=made), 3.0)["runs_per_s"] == 5.0
    taken = made | {"runs_taken_over": "7"}
    assert map_facts(make_map(MAP, study, provenance=taken))["runs_per_s"] is None
    assert map_facts(make_map(MAP, study))["seconds"] is None


# ----------------------------------------------------------------------------------------- in words


def test_summary_of_one_start():
    early = np.zeros((5, 3, 1), bool)
    early[:2, :2] = True
    study = make_study(X, Y, fixed={"solver.step_ms": 4.0})
    said = words(make_map(MAP, study, early=early), 2.5)
    for line in (
        "shallow-runner  map over tie point along the tie path and retrieve speed",
        "Swept           tie point along the tie path, -10.0 to 0.0 mm in 5 values",
        "retrieve speed, 0.5 to 1.5 m/s in 3 values",
        "solver.step_ms = 4.0",
        "15 in 2.50 s, 6.00 a second; 27 % stopped early, once settled",
        "tight             3   20 %",
        "balanced          6   40 %",
        "over-rolling      1    7 %",
        "spinning          1    7 %",
        "not settled       2   13 %",
        "failed            2   13 %",
        "at 0.5 m/s from -7.5 to -5.0 mm",
        "at 1.0 m/s from -5.0 to the edge at 0.0 mm",
        "at 1.5 m/s at -5.0 mm only",
        "As in the file  -3 mm, 1 m/s: balanced",
        "Not settled     2 of 15 runs, 1 of them because the line was in",
        "Failed runs, by cause",
    ):
        assert " ".join(line.split()) in " ".join(said.split()), line
    assert "missing" not in said and "Start " not in said and "Filled in" not in said


def test_summary_of_several_starts():
    study = make_study([0.0, 1.0, 2.0, 3.0], starts=("steady", "kick"))
    said = words(make_map([[B, B], [B, O], [T, B], [OPEN, S]], study))
    rows = [line.split() for line in said.splitlines() if line.strip()]
    lines = {row[0]: " ".join(row) for row in rows}
    assert lines["Starts"] == "Starts steady, kick"
    assert lines["balanced"] == "balanced 2 50 % 2 50 % 1 25 %"
    assert lines["tight"] == "tight 1 25 % 0 0 % 1 25 %"
    assert lines["over-rolling"] == "over-rolling 0 0 % 1 25 % 1 25 %"
    assert lines["spinning"] == "spinning 0 0 % 1 25 % 1 25 %"
    flat = " ".join(said.split())
    assert "Balanced from every start at 0 mm only" in flat
    assert (
        "the class of 2 of 4 cells depends on the start; 1 of them tight or balanced from one"
        " start and over-rolling or spinning from another" in flat
    )


def test_summary_of_a_map_that_is_refined_and_not_complete():
    kinds = np.array([B, B, B, NONE, NONE])
    inferred = np.array([False, True, False, False, False])
    result = make_map(kinds, make_study(np.arange(5.0)), inferred, complete=False)
    flat = " ".join(words(result).split())
    assert "Runs 2 " in flat
    assert "Filled in 1 of 5 cells (20 %) without a run" in flat
    assert "Not complete 2 runs are missing" in flat
    assert "from the edge at 0 to 2 mm" in flat


def test_provenance_is_told_when_asked_for():
    made = {
        "program": "0.3", "git_commit": "0123456789abcdef", "git_dirty": "yes", "numpy": "2.0",
        "date_utc": "2026-01-02T03:04:05+00:00", "calculated_by": "this host", "python": "3.11",
    }  # fmt: skip
    result = make_map([B, B], make_study([0.0, 1.0]), provenance=made)
    assert "Made" not in words(result)
    said = " ".join(as_text(map_summary(result, provenance=True), 110).split())
    assert f"Study made-up.toml (sha256 {result.study.study_digest[:12]})" in said
    assert "shallow-runner.toml (sha256 " in said
    assert "2026-01-02 03:04:05 UTC by runtrue 0.3, commit 0123456789ab with changes" in said
    assert "python 3.11, numpy 2.0 calculated by this host" in said


def test_balanced_everywhere_and_nowhere():
    study = make_study([-1.0, 0.0, 1.0])
    assert "Balanced from edge to edge, -1 to +1 mm" in " ".join(
        words(make_map([B, B, B], study)).split()
    )
    assert "Balanced nowhere" in " ".join(words(make_map([O, T, S], study)).split())


def test_rows_told_are_few_and_hold_the_shipped_one():
    y = np.arange(1, 41) * 0.05
    result = make_map(np.full((2, 40), B), make_study([0.0, 1.0], y), shipped=(0.0, 0.6))
    at = [round(row["at"], 3) for row in map_facts(result)["balanced"]]
    assert len(at) == 6 and {0.05, 0.6, 2.0} <= set(at)


# ------------------------------------------------------------------------------------ neutral lines


def test_growth_is_that_of_the_named_modes():
    # where wobble and lean are the fastest pair and real root, as at the tie point of the file
    config = make_study([0.0]).base
    found = modes(config)
    swings, straight = growth_rates(config)
    assert found.wobble.oscillates and swings == found.wobble.growth_1_s
    aside = [m for m in found.modes if m.sideways > 0.5 and m.name != "line"]
    assert straight == max(m.growth_1_s for m in aside if not m.oscillates)


def test_grid_is_on_values_of_the_study():
    study = make_study(np.linspace(-12.0, 12.0, 25), np.linspace(0.5, 2.0, 4))
    axes, growth = neutral_grid(study, (5, 10))
    assert axes[0].tolist() == [-12.0, -6.0, 0.0, 6.0, 12.0]
    assert axes[1].tolist() == [0.5, 1.0, 1.5, 2.0]
    assert set(growth) == {"wobble", "lean"}
    assert growth["wobble"].shape == growth["lean"].shape == (5, 4)
    for i, j in ((0, 0), (2, 1), (4, 3)):
        cell = (12 * i // 2) * 4 + j
        assert study.cell_values(cell) == (axes[0][i], axes[1][j])
        assert (growth["wobble"][i, j], growth["lean"][i, j]) == growth_rates(
            study.cell_config(cell)
        )
    # docs/modes.md: at 1 m/s the wobble dies out high on the nose and grows at 0 mm
    assert growth["wobble"][0, 1] < 0.0 < growth["wobble"][2, 1]


def test_one_axis_takes_as_many_points_as_asked():
    axes, growth = neutral_grid(make_study(np.linspace(-10.0, 10.0, 9)), (6,))
    # 6 of 9 values: indices 0, 1.6, 3.2, 4.8, 6.4, 8 rounded
    assert axes[0].tolist() == [-10.0, -5.0, -2.5, 2.5, 5.0, 10.0]
    assert growth["wobble"].shape == (6,)


@pytest.mark.parametrize(
    "error",
    [RunError("no steady tow"), FloatingPointError("overflow"), ConfigError("no bait"),
     np.linalg.LinAlgError("not finite")],
)  # fmt: skip
def test_points_without_an_answer_are_nan(monkeypatch, error):
    def refuse(config: sim.Config) -> Any:
        raise error

    study = make_study([-5.0, 0.0])
    monkeypatch.setattr(neutral, "modes", refuse)
    assert all(math.isnan(v) for v in growth_rates(study.base))
    _, growth = neutral_grid(study)
    assert np.isnan(growth["wobble"]).all() and np.isnan(growth["lean"]).all()


def test_a_cell_without_a_bait_is_nan_and_a_bait_without_a_line_has_no_modes():
    study = make_study([-5.0, 0.0, 500.0])  # no tie path is half a metre long
    with pytest.raises(ConfigError):
        study.cell_config(2)
    _, growth = neutral_grid(study)
    assert np.isfinite(growth["wobble"]).tolist() == [True, True, False]
    free = SimpleNamespace(
        axes=study.axes, shape=study.shape, base=SimpleNamespace(line=None), starts=("steady",)
    )
    axes, growth = neutral_grid(free)
    assert growth == {} and axes[0].tolist() == [-5.0, 0.0, 500.0]
