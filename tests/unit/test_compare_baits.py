"""Baits side by side: the study of several baits, its text and its picture."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from map_examples import CONFIGS
from matplotlib.lines import Line2D

import sim
from sim.commands.compare import LONGEST_LABEL, read_variant, split_pairs
from sim.commands.compare import MOST as MOST_OF_THE_COMMAND
from sim.config import config_digest, with_overrides
from sim.plots.cells import style_of
from sim.plots.compare import compare_figure
from sim.report.compare import (
    LONGEST_NAME,
    compare_facts,
    compare_summary,
    told_name,
    turns_over,
    went_round,
)
from sim.report.map import KINDS, LETTERS, MISSING
from sim.report.text import as_text
from sim.studies.engine import run_cases
from sim.studies.kinds import study_from_json
from sim.studies.roster import MOST, Roster, differences, roster, unique_names
from sim.studies.run import run_study

NAMES = ("shallow-runner", "deep-runner", "slow-sinker")


def load(name, **overrides):
    """A demonstration bait with dotted keys set, "__" for a dot."""
    keys = {key.replace("__", "."): value for key, value in overrides.items()}
    return sim.load_config(CONFIGS / f"{name}.toml", keys)


@pytest.fixture(scope="module")
def baits():
    return [load(NAMES[0]), load(NAMES[1], retrieve__speed_m_s=0.8), load(NAMES[2])]


@pytest.fixture(scope="module")
def result(baits, tmp_path_factory):
    """Three baits at three speeds and at their own."""
    study = roster(baits, (0.5, 1.0, 1.5))
    return run_study(study, tmp_path_factory.mktemp("compare") / "compare.h5")


# --------------------------------------------------------------------------------------- the study


def test_names_that_occur_twice_are_numbered():
    assert unique_names(["a", "b", "a", "a (2)", "a"]) == ("a", "b", "a (2)", "a (2) (2)", "a (3)")


def test_a_case_is_its_bait_at_its_speed(baits):
    study = roster(baits, (0.5, 1.0, 1.5))
    assert study.shape == (3, 4)  # 0.8 m/s of the second added
    assert study.names == NAMES
    for case in range(study.case_count):
        row, column = divmod(case, 4)
        expected = with_overrides(baits[row], {"retrieve.speed_m_s": (0.5, 0.8, 1.0, 1.5)[column]})
        assert study.case_config(case) == expected
    with pytest.raises(IndexError):
        study.case_config(12)


def test_through_text_and_back(baits):
    study = roster(baits, (0.5, 1.0), ["Köder", "b", "c"])
    again = study_from_json(study.to_json())
    assert isinstance(again, Roster)
    assert again.to_json() == study.to_json()
    assert again.study_digest == study.study_digest
    assert (again.names, again.kind) == (("Köder", "b", "c"), "compare")
    for one, other in zip(again.baits, baits, strict=True):
        assert one == other
        assert (one.source_path, one.overrides) == (other.source_path, other.overrides)
    assert json.loads(study.to_json())["kind"] == "compare"


def test_the_digest_hangs_on_baits_and_speeds_alone(baits):
    study = roster(baits, (0.5, 1.0))
    assert roster(baits, (0.5, 1.0), ["x", "y", "z"]).study_digest == study.study_digest
    heavier = [baits[0], baits[1], with_overrides(baits[2], {"bait.total_mass_g": 10.5})]
    others = (roster(heavier, (0.5, 1.0)), roster(baits, (0.5, 1.1)), roster(baits[::-1], (0.5, 1)))
    assert len({study.study_digest, *(o.study_digest for o in others)}) == 4


def test_how_many(baits):
    for many in (baits[:1], [baits[0]] * (MOST + 1)):
        with pytest.raises(ValueError, match=f"{len(many)} baits: must be 2 to {MOST}"):
            roster(many, (0.5, 1.0))
    assert roster([baits[0]] * MOST, (0.5, 1.0)).names[-1] == f"shallow-runner ({MOST})"
    assert MOST_OF_THE_COMMAND == MOST


def test_figures_are_those_of_single_runs(result, baits):
    assert isinstance(result.study, Roster)
    for row, bait in enumerate(baits):
        run = sim.simulate(bait)
        (at,) = np.flatnonzero(result.study.axes[1].values == bait.retrieve.speed_m_s)
        for name, value in run.measures.items():
            assert result.measures[name][row, at, 0] == value, name


def test_the_same_bits_whatever_the_company(baits):
    study = roster(baits, (0.5, 1.0, 1.5))
    every = run_cases(study, range(study.case_count))
    alone = run_cases(study, [7])
    np.testing.assert_array_equal(every.measures[7], alone.measures[0])


def test_what_differs_around_the_baits():
    plain = load(NAMES[0])
    assert differences([plain, load(NAMES[1])]) == {}
    assert differences([plain, load(NAMES[0], retrieve__speed_m_s=2.0)]) == {}
    other = load(NAMES[0], line__diameter_mm=0.2, water__kind="sea", limits__roll_deg=40.0)
    assert differences([plain, plain, other]) == {
        "line.diameter_mm": (0.28, 0.28, 0.2),
        "water.kind": ("fresh", "fresh", "sea"),
        "limits.roll_deg": (35.0, 35.0, 40.0),
    }


# ------------------------------------------------------------------------------ words and pictures


def test_letters_are_those_of_the_pictures():
    for kind, name in enumerate(KINDS):
        if kind != MISSING:
            assert LETTERS[kind] == style_of(kind).letter, name
    assert len(set(LETTERS)) == len(KINDS)


def test_facts(result, baits):
    facts = compare_facts(result)
    assert [one["name"] for one in facts["baits"]] == list(NAMES)
    assert facts["own_speeds_differ"]
    first, second, _ = facts["baits"]
    assert first["less_the_first"] is None
    # by the files: weighed masses of 8.0 and 11.6 g
    assert (first["mass_g"], second["mass_g"]) == (pytest.approx(8.0), pytest.approx(11.6))
    assert second["less_the_first"]["mass_g"] == pytest.approx(3.6)
    depths = [one["measures"]["depth_m"] for one in facts["baits"]]
    assert second["less_the_first"]["depth_m"] == pytest.approx(depths[1] - depths[0])
    # common practice, no source: the long bill runs deeper than the short one
    assert depths[1] > depths[0]
    # a floater carries something still, a sinker is too heavy
    assert facts["baits"][0]["reserve_buoyancy_g"] > 0.0 > facts["baits"][2]["reserve_buoyancy_g"]
    assert [one["config"]["digest"] for one in facts["baits"]] == [config_digest(b) for b in baits]
    assert all(len(one["classes"]) == len(facts["speeds_m_s"]) for one in facts["baits"])


def test_six_baits_fit_a_page(tmp_path):
    six = [load(NAMES[i % 3], line__diameter_mm=0.2 + 0.02 * i) for i in range(6)]
    names = ["a name of some length", *"bcde", "bait.bill.length_mm = 18 and wider"]
    result = run_study(roster(six, (0.5, 0.9, 1.3, 1.7, 2.0), names), tmp_path / "six.h5")
    lines = as_text(compare_summary(result), 100).splitlines()
    assert max(map(len, lines)) <= 100
    assert "..." not in "\n".join(lines)
    heads = next(line for line in lines if line.split()[:1] == ["bait"])
    assert heads.split() == ["bait", "g", "g", "0.5", "0.9", "1", "1.3", "1.7", "2"]
    assert any(line.split()[:2] == ["line.diameter_mm", "0.2,"] for line in lines)


def test_went_round_marks_what_its_class_hides(result):
    assert not went_round(result).any()
    result.measures["most_turns"][1, 2, 0] += 1.5
    try:
        assert np.argwhere(went_round(result)).tolist() == [[1, 2]]
        facts = compare_facts(result)
        assert facts["baits"][1]["went_round"] == [False, False, True, False]
        assert "* went round on the way" in as_text(compare_summary(result), 100)
        drawn = compare_figure(result)
        marks = [a for ax in drawn.axes for a in ax.lines if a.get_gid() == "went round"]
        assert len(marks) == 1
        (ring,) = [h for h in drawn.legends[0].legend_handles if isinstance(h, Line2D)]
        assert (ring.get_marker(), ring.get_label()) == ("o", "went round on the way")
    finally:
        result.measures["most_turns"][1, 2, 0] -= 1.5


def test_side_drift_is_told_in_mm_a_metre(result):
    drift = result.measures["side_drift_m_per_m"]
    before = drift.copy()
    try:
        drift[0, 2, 0], drift[1, 1, 0] = 0.012, -0.034
        lines = [line.split() for line in as_text(compare_summary(result), 100).splitlines()]
        start = next(i for i, words in enumerate(lines) if words[:1] == ["At"])
        assert lines[start + 1][-1] == "drift" and lines[start + 2][-1] == "mm/m"
        assert [words[-1] for words in lines[start + 3 : start + 6]] == ["12", "-34", "-46"]
    finally:
        drift[:] = before


def test_a_bait_that_turns_over_has_no_wobble_to_compare(result):
    kinds = result.motion_class
    before = kinds.copy()
    try:
        kinds[1, 1, 0] = KINDS.index("spinning")
        assert turns_over(result).tolist() == [False, True, False]
        less = compare_facts(result)["baits"][1]["less_the_first"]
        assert math.isnan(less["wobble_frequency_hz"]) and math.isnan(less["lean_deg"])
        assert math.isfinite(less["depth_m"]) and math.isfinite(less["mass_g"])
        text = as_text(compare_summary(result), 100).splitlines()
        start = next(i for i, line in enumerate(text) if line.startswith("At the own speed"))
        row = next(line for line in text[start:] if line.split()[:1] == [NAMES[1]])
        assert row.split()[2:7] == ["-"] * 5
    finally:
        kinds[:] = before
    assert not turns_over(result).any()


def test_names_are_cut_at_one_length(result):
    assert told_name("a" * 40) == "a" * 40
    cut = told_name("b" * 41)
    assert cut == "b" * 36 + " ..."
    assert LONGEST_NAME == LONGEST_LABEL == 40


def test_the_picture_has_a_row_each_to_one_scale(result):
    drawn = compare_figure(result)
    sides, classes, *dots = drawn.axes
    own = [p for p in classes.patches if p.get_gid() == "own speed"]
    assert [p.get_x() for p in own] == [2, 1, 2]  # 1.0, 0.8 and 1.0 m/s of 0.5, 0.8, 1.0, 1.5
    bodies = [p.get_xy() for p in sides.patches if p.get_facecolor()[:3] == (0xEF / 255, 0xE6 / 255,
              0xD5 / 255)]  # fmt: skip
    lengths = [float(np.ptp(xy[:, 0])) for xy in bodies]
    # by the files: bodies of 70, 85 and 60 mm
    assert lengths[1] / lengths[0] == pytest.approx(85.0 / 70.0, rel=1e-3)
    assert lengths[2] / lengths[0] == pytest.approx(60.0 / 70.0, rel=1e-3)
    assert len(dots) == 4
    assert all(len(ax.get_xticks()) for ax in dots)


# --------------------------------------------------------------------------------------- the option


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("a=1", ["a=1"]),
        ("a=1, b=2", ["a=1", "b=2"]),
        ("a=[1, 2], b=2", ["a=[1, 2]", "b=2"]),
        ('a="x, y", b=[[1, 2], [3, 4]]', ['a="x, y"', "b=[[1, 2], [3, 4]]"]),
        ("a={b=1, c=2},d=3", ["a={b=1, c=2}", "d=3"]),
    ],
)
def test_pairs_between_commas(text, pieces):
    assert split_pairs(text) == pieces


def test_a_variant_as_typed():
    read, problems = read_variant(" long  bill : bait.bill.length_mm=20, water.kind=sea")
    assert problems == []
    assert read is not None
    assert read.label == "long bill"
    assert read.overrides == {"bait.bill.length_mm": 20, "water.kind": "sea"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("bait.bill.length_mm=20", "no label with a : behind it"),
        ("bait.bill.length_mm=20: x", "no label with a : behind it"),
        (": bait.bill.length_mm=20", "no label."),
        ("long: ", "no KEY=VALUE."),
        ("long: bait.bill.length_mm", "no = in it"),
        ("long: bait.bill.length_mm=20,", "no = in it"),
        ("x" * 41 + ": a=1", "must be at most 40"),
    ],
)
def test_slips_in_a_variant(text, words):
    read, problems = read_variant(text)
    assert read is None
    assert len(problems) == 1
    assert problems[0].startswith(f'--variant "{text}": ')
    assert words in problems[0]


def test_a_bait_that_cannot_be_put_together_has_no_weight(tmp_path):
    # heavier than its body may be: the total is less than what is fixed in it
    light = load(NAMES[0], bait__total_mass_g=1.0)
    result = run_study(roster([load(NAMES[0]), light], (0.5, 1.0)), tmp_path / "light.h5")
    facts = compare_facts(result)
    assert math.isnan(facts["baits"][1]["mass_g"])
    assert facts["baits"][1]["classes"] == ["failed", "failed"]
    assert facts["failures"][0]["runs"] == 2
    text = as_text(compare_summary(result), 100)
    assert "second line" not in text  # there is nothing to tell there
    assert "invalid, as shallow-runner (2) at 0.5 m/s: " in " ".join(text.split())
    compare_figure(result)
