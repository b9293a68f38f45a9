"""What a risk says in words, in JSON and in its picture: made-up builds, counted by hand."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import binomtest

import sim
from sim.config import with_overrides
from sim.kernels.motion import MEASURES
from sim.plots.risk import STYLES, risk_figure, save_risk_figure
from sim.plots.style import OKABE_ITO
from sim.report.risk import risk_facts, risk_summary
from sim.report.risk_figures import (
    at_speeds,
    builds_needed,
    curable,
    difference,
    held_to,
    mostly,
    percent_text,
    percents,
    told_designs,
    what_matters,
)
from sim.report.risk_words import findings, joined, tolerance_text
from sim.report.text import as_text, to_json
from sim.studies.builds import ALL, BOTH, DOUBT, DOUBTS, ERRORS, SHOP, BuildStudy, Design, few_of
from sim.studies.engine import CLASSES, MARGINS, NO_CLASS, STATUSES, CaseTable
from sim.studies.risk import (
    BAD,
    OUTCOMES,
    Index,
    RiskResult,
    Search,
    Share,
    Trial,
    gather,
    risk_plan,
    searches,
    shares,
)

CONFIG = Path(__file__).parents[2] / "configs" / "shallow-runner.toml"
KEYS = [quantity.key for quantity in ERRORS]
YAW, RIGHT = KEYS.index("bill_yaw_deg"), KEYS.index("bill_right_mm")
# What a build does: design, build, speed, its errors and changes of coefficients, to an outcome
# and measures beside it.
Does = Callable[[Design, int, float, np.ndarray, np.ndarray], tuple[str, dict[str, float]]]


def make_study(
    tolerances: dict[str, float] | None = None,
    ranges: dict[str, float] | None = None,
    speeds: tuple[float, ...] = (1.0, 2.0),
    **more: Any,
) -> BuildStudy:
    """Builds of the shallow runner with the tolerances and ranges given, all others being 0."""
    changes: dict[str, Any] = {f"build.{q.key}": 0.0 for q in ERRORS}
    changes |= {f"uncertainty.{q.key}": 0.0 for q in DOUBTS}
    changes |= {f"build.{key}": value for key, value in (tolerances or {}).items()}
    changes |= {f"uncertainty.{key}": value for key, value in (ranges or {}).items()}
    base = with_overrides(sim.load_config(CONFIG), changes)
    counts = {"builds": 128, "few": 64, "pairs": 32} | more
    return BuildStudy("toy-risk", "toy.toml", base, {"retrieve.mode": "tow"}, speeds, **counts)


TWO = {"bill_yaw_deg": 2.0, "bill_right_mm": 0.5}
SOME = {"strouhal_percent": 10.0}


def balanced(*_: Any) -> tuple[str, dict[str, float]]:
    return "balanced", {}


def run_toy(study: BuildStudy, does: Does, provenance: dict[str, str] | None = None) -> RiskResult:
    """A risk whose runs are made up: what the plan asks for is answered by ``does``."""
    plan, tables = risk_plan(study), []
    try:
        cases = next(plan)
        while True:
            tables.append(_table(study, cases, does))
            cases = plan.send(tables[-1:])
    except StopIteration:
        return gather(study, tables, provenance)


def _table(study: BuildStudy, cases: np.ndarray, does: Does) -> CaseTable:
    n = len(cases)
    status = np.full(n, STATUSES.index("settled"), np.int8)
    kind = np.full(n, NO_CLASS, np.int8)
    measures = np.zeros((n, len(MEASURES)))
    message = [""] * n
    for row, case in enumerate(cases):
        number, build, speed = (int(i) for i in study.place(int(case)))
        design = Design.of(number)
        drawn = study.drawn(design, build)
        outcome, more = does(design, build, study.speeds[speed], *drawn)
        if outcome in ("failed", "does not settle"):
            name = "diverged" if outcome == "failed" else "not settled"
            status[row], message[row] = STATUSES.index(name), f"{name} at t = {build} s"
            measures[row] = math.nan
            continue
        name = {"over-rolls": "over-rolling", "tight": "tight"}.get(outcome, "balanced")
        kind[row] = CLASSES.index(name)
        values = {
            "goes round": {"most_turns": 3.0},
            "runs off": {"side_drift_m_per_m": 0.5},
            "over-rolls": {"roll_amplitude_deg": 50.0},
        }.get(outcome, {})
        for key, value in (values | more).items():
            measures[row, MEASURES.index(key)] = value
    nothing = np.zeros(n)
    return CaseTable(
        case=np.asarray(cases), status=status, motion_class=kind, measures=measures,
        margins=np.full((n, len(MARGINS)), 1.0), first_s=nothing, last_s=nothing, end_s=nothing,
        early=np.zeros(n, bool), message=tuple(message), states=None,
    )  # fmt: skip


def by_yaw(limit: float) -> Does:
    """A build goes round when its bill is turned farther than the limit [deg]; the roll tells."""

    def does(
        design: Design, build: int, speed: float, errors: np.ndarray, doubts: np.ndarray
    ) -> tuple[str, dict[str, float]]:
        share = abs(errors[YAW]) / limit
        roll = {"roll_amplitude_deg": 35.0 * min(share, 1.0)}
        return ("goes round" if share > 1.0 else "balanced"), roll

    return does


def words(result: RiskResult, width: int = 100, **more: Any) -> str:
    return as_text(risk_summary(result, **more), width)


# ---------------------------------------------------------------------------------- shares in words


@pytest.mark.parametrize(
    ("hits", "builds", "text"),
    [
        (62, 2000, "3.1 % (2.4 to 4.0)"),
        (538, 2000, "27 % (25 to 29)"),
        (1, 2000, "0.05 % (0.01 to 0.28)"),  # never "0.0 %"
        (1, 100_000, "0.0010 % (0.0002 to 0.0057)"),
        (1999, 2000, "99.95 % (99.72 to 99.99)"),  # nor "100 %"
        (8, 16, "50 % (28 to 72)"),
        (1, 16, "6.2 % (1.1 to 28.3)"),
        (0, 2000, "none of 2000 (at most 0.19 %)"),
        (2000, 2000, "all 2000 (at least 99.81 %)"),
        (0, 16, "none of 16 (at most 19.4 %)"),
    ],
)
def test_shares_in_words(hits, builds, text):
    share = Share.of(np.arange(builds) < hits)
    assert percent_text(share) == text
    # the interval is Wilson's, here as SciPy has it
    low, high = binomtest(hits, builds).proportion_ci(0.95, "wilson")
    told = [float(t) for t in percents(share)]
    for value, exact in zip(told, (hits / builds, low, high), strict=True):
        assert value == pytest.approx(100.0 * exact, rel=0.2, abs=0.5)
        assert (value == 0.0) == (exact < 1e-12)
        assert (value == 100.0) == (exact > 1.0 - 1e-12)


def test_with_the_confidence_said():
    assert percent_text(Share.of(np.arange(16) < 8), confidence=True) == "50 % (95 %: 28 to 72)"


def test_difference_of_two_shares():
    # Newcombe (1998), Statistics in Medicine 17, 873-890, table II, method 10, case (a): 56/70 and
    # 48/80 give 0.2000 with 0.0524 to 0.3339; from memory
    a, b = Share.of(np.arange(70) < 56), Share.of(np.arange(80) < 48)
    assert difference(a, b) == pytest.approx((0.2, 0.0524, 0.3339), abs=6e-5)
    value, low, high = difference(b, a)
    assert (value, low, high) == pytest.approx((-0.2, -0.3339, -0.0524), abs=6e-5)


def test_joined():
    assert joined(["a"]) == "a"
    assert joined(["a", "b"]) == "a and b"
    assert joined("abc") == "a, b and c"


def test_tolerances_have_two_figures_and_a_unit():
    assert tolerance_text(YAW, 0.8125) == "0.81 deg"
    assert tolerance_text(KEYS.index("hook_mass_percent"), 5.0) == "5 %"


# ------------------------------------------------------------------------------------ the sentences


def test_nothing_bad():
    result = run_toy(make_study(TWO, SOME), balanced)
    assert findings(result) == (
        "None of 128 builds is bad (95 %: at most 2.9 %).",
        "No error makes a difference: all builds do the same.",
        "Errors and uncertain coefficients together spoil none of 128 builds (95 %: at most 2.9"
        " %).",
    )
    text = words(result)
    assert "bad in all  none of 128 (at most 2.9 %)" in text
    assert "What matters" not in text
    assert "goes round" not in text  # nil in all columns
    assert "A guide to prototypes" in text


def test_one_error_held_closer():
    study = make_study(TWO, target=0.05)
    result = run_toy(study, by_yaw(0.7))
    yaw = np.abs(study.errors[:, YAW])
    bad = Share.of(yaw > 0.7)
    assert shares(result, SHOP)["goes round"] == bad
    # shares of the tolerance in sixteenths: the largest that leaves 5 % or less
    few = yaw[: study.few]
    scale = max(n / 16 for n in range(17) if (n / 16 * few > 0.7).mean() <= 0.05)
    met, above = (Share.of(s * few > 0.7) for s in (scale, scale + 1 / 16))
    first, second, third = findings(result)
    value, low, high = percents(bad)
    assert first == (
        f"{value} % of builds go round (95 %: {low} to {high}); mostly by bill turned to the side."
    )
    assert second.startswith(
        f"For 5 % hold the bill turned to the side within {2.0 * scale:.2g} deg instead of 2 deg:"
        f" then {percent_text(met)} are bad, {percent_text(above)} within"
        f" {2.0 * scale + 0.125:.2g} deg."
    )
    assert ("make it certain" in second) == (met.high > 0.05)
    assert third == "No coefficient is taken as uncertain: every range in [uncertainty] is 0."
    assert held_to(searches(result)) == {YAW: scale}
    text = words(result)
    row = next(line for line in text.splitlines() if line.startswith("  bill turned to the side "))
    assert re.fullmatch(
        rf"  bill turned to the side +2 deg +\d\.\d\d \(0\.\d\d to 1\.00\) +{2.0 * scale:.2g} deg",
        row,
    )
    assert "found with 64 builds a trial, in steps of 1/16" in " ".join(text.split())


def test_tolerances_that_will_do():
    result = run_toy(make_study(TWO, target=0.5), by_yaw(1.25))
    assert findings(result)[1] == "The tolerances will do for 50 %."
    assert held_to(searches(result)) == {}
    assert "to be held" not in words(result)
    share = shares(result, SHOP)["bad"]
    assert share.share < 0.2 < share.high  # by chance or not
    unsure = run_toy(make_study(TWO, target=0.2), by_yaw(1.25))
    assert findings(unsure)[1] == (
        "The tolerances will do for 20 %. More builds would make it certain: the interval reaches"
        " above 20 %."
    )


def sum_of_two(
    design: Design, build: int, speed: float, errors: np.ndarray, doubts: np.ndarray
) -> tuple[str, dict[str, float]]:
    """Runs off by either error, by more than a quarter of its tolerance."""
    share = max(abs(errors[YAW]) / 0.5, abs(errors[RIGHT]) / 0.125)
    roll = {"roll_amplitude_deg": 20.0 * min(1.0, share)}
    if share > 1.0:
        return "runs off", {"side_drift_m_per_m": math.copysign(0.5, errors[YAW])} | roll
    return "balanced", {"side_drift_m_per_m": 0.01 * errors[YAW]} | roll


def test_one_error_is_not_enough():
    result = run_toy(make_study(TWO), sum_of_two)
    first, all_ = searches(result)
    assert (first.scale, all_.error) == (None, ALL)
    assert all_.scale is not None
    assert 0.25 <= all_.scale < 0.5
    texts = findings(result)
    assert texts[1].startswith("For 5 % it is not enough to mend the bill ")
    assert texts[1].endswith(" are bad, by the other errors.")
    assert percent_text(first.trials[0].bad) in texts[1]
    assert texts[2].startswith(
        f"For 5 % hold every error to {all_.scale:.2g} of its tolerance, see below: then "
    )
    assert held_to(searches(result)) == dict.fromkeys(range(len(ERRORS)), all_.scale)
    text = " ".join(words(result).split())
    assert f"{2.0 * all_.scale:.2g} deg" in text
    assert f"{0.5 * all_.scale:.2g} mm" in text


def test_no_error_at_all_is_allowed():
    result = run_toy(make_study(TWO), by_yaw(0.02))
    (first,) = searches(result)
    assert first.scale == 0.0
    text = findings(result)[1]
    assert text.startswith(
        "For 5 % there may be hardly any error of the bill turned to the side: with none of it none"
        " of 64 (at most 5.7 %) are bad, "
    )
    assert text.endswith(" within 0.12 deg.")


def test_all_bad_but_the_one_as_meant():
    def does(design: Design, *_: Any) -> tuple[str, dict[str, float]]:
        return ("balanced" if design.kind == "meant" else "over-rolls"), {}

    result = run_toy(make_study(TWO, SOME), does)
    texts = findings(result)
    assert texts[0] == "All 128 builds over-roll (95 %: at least 97.1 %)."
    cure, _ = curable(result)
    low, high = (f"{100.0 * v:.0f}" for v in cure[1:])
    assert (
        f"what better workmanship cures cannot be told from 128 builds ({low} to {high} in 100)"
        in texts[-1]
    )
    assert "bad in all  all 128 (at least 97.1 %)" in words(result)


def test_all_bad_so_that_no_error_stands_out():
    def does(design: Design, build: int, speed: float, *drawn: Any) -> tuple[str, dict[str, float]]:
        return ("goes round" if np.abs(drawn[0]).max() > 1e-4 else "balanced"), {}

    study = make_study({"bill_yaw_deg": 4.0, "bill_right_mm": 4.0})
    result = run_toy(study, does)
    (search,) = searches(result)
    assert (search.error, search.scale) == (ALL, 0.0)
    texts = findings(result)
    assert texts[1] == (
        "For 5 % hardly any error is allowed: all 64 (at least 94.3 %) are bad already with 0.062"
        " of every tolerance."
    )
    text = words(result)
    assert re.search(r"^  bill turned to the side +4 deg +- +below 0.25 deg$", text, re.MULTILINE)
    assert re.search(r"^  bill set off to the side +4 mm +- +below 0.25 mm$", text, re.MULTILINE)
    assert risk_facts(result)["searches"][0]["error"] == "all"
    assert len(risk_figure(result).axes) == 4


def test_kinds_of_bad_ones_are_told_by_their_number():
    def does(design: Design, build: int, *_: Any) -> tuple[str, dict[str, float]]:
        kinds = {0: "failed", 1: "tight", 2: "runs off", 3: "runs off", 4: "does not settle"}
        return ("balanced" if design.kind == "meant" else kinds.get(build % 8, "balanced")), {}

    result = run_toy(make_study(TWO), does)
    first = findings(result)[0]
    assert first.startswith(
        "50 % of builds are bad (95 %: 41 to 59): 25 % run off to one side, 12 "
    )
    assert " fail and 12 % do not settle" in first.replace("12.5", "12")
    text = words(result)
    assert "Failed runs, by cause" in text
    assert "diverged, as build 0 (workmanship) at 1 m/s: diverged at t = 0 s" in " ".join(
        text.split()
    )
    (failure,) = risk_facts(result)["failures"]
    assert failure["runs"] == int((result.status == STATUSES.index("diverged")).sum())
    assert failure["example"] == {"design": "workmanship", "build": 0, "speed_m_s": 1.0}


def test_too_few_builds_to_tell_a_tolerance():
    result = run_toy(make_study(TWO, builds=64, few=16), by_yaw(0.7))
    (search,) = searches(result)
    assert search.scale not in (None, 1.0)  # it was looked for
    assert findings(result)[1] == (
        "How closely to build for 5 % cannot be told from 64 builds: draw 100 or more (--builds"
        " 100)."
    )
    text = words(result)
    assert "What matters" in text
    assert "to be held" not in text
    tolerance = risk_figure(result).axes[2]
    assert tolerance.get_title(loc="left") == (
        "How closely to build (16 builds a trial: too few to tell)"
    )
    assert not [line for line in tolerance.lines if line.get_linestyle() == ":"]
    # nor that it will do
    good = run_toy(make_study(TWO, builds=64, few=16), by_yaw(1.99))
    assert searches(good)[0].holds
    assert "cannot be told from 64 builds" in findings(good)[1]


@pytest.mark.parametrize(
    ("target", "builds"), [(0.05, 100), (0.02, 200), (0.005, 3100), (0.5, 100)]
)
def test_builds_needed_for_a_target(target, builds):
    assert builds_needed(target) == builds
    none = Share.of(np.zeros(few_of(builds), dtype=bool))
    assert none.high <= target
    if builds > 100:
        assert Share.of(np.zeros(few_of(builds - 100), dtype=bool)).high > target


# --------------------------------------------------------------------- workmanship and coefficients


def test_a_cure_that_is_none():
    def does(design: Design, *drawn: Any) -> tuple[str, dict[str, float]]:
        return ("balanced" if design.kind == "meant" else "over-rolls"), {}

    result = run_toy(make_study({"bill_yaw_deg": 2.0}, SOME, (1.0,), builds=512, few=512), does)
    cure, _ = curable(result)
    assert cure.low < 0.0 < cure.high < 0.03
    assert "better workmanship cures little or nothing of it" in findings(result)[-1]


def by_both(
    design: Design, build: int, speed: float, errors: np.ndarray, doubts: np.ndarray
) -> tuple[str, dict[str, float]]:
    """Over-rolls by the bill, and at a Strouhal number more than 5 % too large."""
    bad = abs(errors[YAW]) > 1.0 or doubts[0] > 5.0
    return ("over-rolls" if bad else "balanced"), {"roll_amplitude_deg": 20.0 * abs(errors[YAW])}


def test_what_workmanship_can_cure():
    study = make_study(TWO, SOME)
    result = run_toy(study, by_both)
    assert told_designs(result) == (SHOP, BOTH, DOUBT)
    alone = Share.of(study.doubts[:64, 0] > 5.0)
    both = Share.of((np.abs(study.errors[:, YAW]) > 1.0) | (study.doubts[:, 0] > 5.0))
    assert alone.share == pytest.approx(0.25, abs=0.05)  # uniform within 10 %
    assert curable(result) == (difference(both, alone), alone)
    text = findings(result)[-1]
    assert text.startswith(
        f"With the coefficients as uncertain as they are {percent_text(both)} of builds are bad:"
        f" better workmanship can cure {100.0 * (both.share - alone.share):.0f} in 100 ("
    )
    assert text.endswith(
        f"; {percent_text(alone, confidence=True)} of perfect builds are bad should the"
        " coefficients lie otherwise, which only a prototype can tell."
    )
    row = next(line for line in words(result).splitlines() if line.startswith("  bad in all"))
    workmanship = Share.of(np.abs(study.errors[:, YAW]) > 1.0)
    for share in (workmanship, both, alone):
        assert percent_text(share) in row


def test_without_errors_only_the_coefficients_are_told():
    result = run_toy(make_study({}, SOME), by_both)
    assert told_designs(result) == (DOUBT,)
    first, second = findings(result)
    assert first.startswith("No build errors are drawn: every tolerance in [build] is 0")
    assert second.endswith(
        " of perfect builds are bad should the coefficients lie otherwise, which only a prototype"
        " can tell."
    )
    text = words(result)
    assert "uncertain coefficients" in text
    assert "workmanship" not in text
    assert "bad builds" not in text  # of the builds at each speed there is nothing to tell
    assert risk_facts(result)["shares"]["workmanship"] is None


def test_without_anything_drawn_there_is_the_bait_as_meant():
    result = run_toy(make_study(), balanced)
    assert told_designs(result) == ()
    assert findings(result)[-1].startswith("No coefficient is taken as uncertain")
    text = words(result)
    assert "there is only the bait as meant" in text
    assert text.count("balanced") == 2  # at either speed


# ------------------------------------------------------------------------------------ at each speed


def slow_is_bad(
    design: Design, build: int, speed: float, errors: np.ndarray, doubts: np.ndarray
) -> tuple[str, dict[str, float]]:
    return ("over-rolls", {}) if speed < 1.5 else sum_of_two(design, build, speed, errors, doubts)


def test_a_speed_at_which_it_is_bad_as_meant_does_not_count():
    study = make_study(TWO)
    result = run_toy(study, slow_is_bad)
    slow, fast = at_speeds(result)
    assert (slow.meant, slow.counts, slow.builds["over-rolls"].hits) == ("over-rolls", False, 128)
    assert (fast.meant, fast.counts) == ("balanced", True)
    text = " ".join(words(result).split())
    assert "By the worst that a build does at 2 m/s" in text
    assert " 1 over-rolls* all 128 (at least 97.1 %) over-rolls " in text
    assert (
        "* Bad as meant at 1 m/s, so that no build can be better: this does not count in the rest."
        f" Another tie point may cure it: runtrue holes {study.base.source_path} "
    ) in text
    assert risk_facts(result)["judged_speeds_m_s"] == [2.0]


def test_bad_as_meant_at_every_speed():
    def does(design: Design, build: int, speed: float, *_: Any) -> tuple[str, dict[str, float]]:
        return ("goes round" if speed > 1.5 else "over-rolls"), {}

    result = run_toy(make_study(TWO, SOME), does)
    assert findings(result) == (
        "The bait is bad as it is meant, at every speed: it over-rolls at 1 m/s and goes round at 2"
        " m/s. However closely it is built, it can be no better.",
    )
    text = words(result)
    assert "  First find a place to tie it where it is balanced:\n    runtrue holes /" in text
    for part in ("By the worst", "What matters", "bad builds", "A guide"):
        assert part not in text
    facts = risk_facts(result)
    assert (facts["good_as_meant"], facts["judged_speeds_m_s"]) == (False, [])
    one = run_toy(make_study(TWO, speeds=(1.0,)), lambda *_: ("goes round", {}))
    assert findings(one)[0].startswith("The bait is bad as it is meant, at 1 m/s: it goes round.")


def test_drift_to_either_side():
    study = make_study(TWO)
    symmetric = run_toy(study, sum_of_two)
    yaw = study.errors[:, YAW]
    run_off = np.maximum(np.abs(yaw) / 0.5, np.abs(study.errors[:, RIGHT]) / 0.125) > 1.0
    drift = 1e3 * np.where(run_off, np.copysign(0.5, yaw), 0.01 * yaw)
    at = at_speeds(symmetric)[0]
    mean, half = at.drift
    assert mean == pytest.approx(drift.mean())
    assert half == pytest.approx(1.96 * drift.std(ddof=1) / math.sqrt(128))
    assert at.port == Share.of(yaw < 0.0)
    assert "No side is preferred, as far as 128 builds tell." in words(symmetric)

    def leaning(*given: Any) -> tuple[str, dict[str, float]]:
        # every one, that as meant as well
        return "balanced", {"side_drift_m_per_m": -0.02, "roll_amplitude_deg": abs(given[3][YAW])}

    text = words(run_toy(study, leaning))
    assert "20 ± 0 port" in text
    assert "all 128 (at least 97.1 %)" in text
    assert (
        "More builds drift to port at 1 m/s and to port at 2 m/s: the bait as meant leans that way."
        in " ".join(text.split())
    )


def test_as_many_to_either_side_needs_a_narrow_interval():
    def even(design: Design, build: int, *_: Any) -> tuple[str, dict[str, float]]:
        return "balanced", {"side_drift_m_per_m": 0.01 * (-1.0) ** build}

    study = make_study(TWO, builds=2048)
    port = Share.of(np.arange(2048) < 1024)
    assert (round(100.0 * port.low), round(100.0 * port.high)) == (48, 52)
    assert (
        "As many drift to port as to starboard: 48 to 52 % to port at every speed (95 %)."
        in words(run_toy(study, even))
    )
    few = words(run_toy(make_study(TWO, builds=200), even))
    assert "As many" not in few
    assert "No side is preferred, as far as 200 builds tell." in few


def test_a_bait_that_does_not_lean_itself():
    def does(design: Design, build: int, speed: float, *_: Any) -> tuple[str, dict[str, float]]:
        if design.kind == "meant":
            return "balanced", {"side_drift_m_per_m": 0.02 if speed == 1.0 else -0.02}
        return "balanced", {"side_drift_m_per_m": -0.02 if build % 4 else 0.02}

    assert (
        "More builds drift to port at 2 m/s: the bait as meant leans that way. More builds drift to"
        " port at 1 m/s: the bait as meant does not, so that it may be chance."
    ) in " ".join(words(run_toy(make_study(TWO), does)).split())


def test_a_bait_that_keeps_to_its_track_drifts_to_no_side():
    at = at_speeds(run_toy(make_study(TWO), balanced))[0]
    assert at.port is None
    assert at.drift == (0.0, 0.0)


def test_side_drift_that_is_not_full_is_told():
    study = make_study(TWO, speeds=(0.5, 1.0, 2.0))
    assert (study.base.line.length_m, study.base.solver.duration_s) == (3.0, 8.0)
    result = run_toy(study, balanced)
    # 2.5 lengths of the line take 15 s, 7.5 s and less
    assert (
        "Side drift at 0.5 m/s is read before it is full, and builds that run off may be missed"
        " there: it takes 15 s, solver.duration_s is 8 s."
    ) in " ".join(words(result).split())
    assert risk_facts(result)["drift_not_full_speeds_m_s"] == [0.5]
    fast = run_toy(make_study(TWO), balanced)
    assert "before it is full" not in words(fast)
    assert risk_facts(fast)["drift_not_full_speeds_m_s"] == []


@pytest.mark.parametrize("width", [100, 80])
def test_no_share_is_broken(width):
    def does(design: Design, build: int, speed: float, *_: Any) -> tuple[str, dict[str, float]]:
        kinds = {"meant": "tight", "workmanship": "balanced", "both": "does not settle"}
        drift = {"side_drift_m_per_m": 0.02 if build % 40 else -0.02}
        return kinds.get(design.kind, "balanced"), drift

    speeds = tuple(np.linspace(0.5, 2.0, 7).tolist())
    study = make_study(TWO, SOME, speeds, builds=64, few=64)
    text = as_text(risk_summary(run_toy(study, does)), width)
    tables = [line for line in text.splitlines() if re.match(r"  [\d a-z*.]+  ", line)]
    for line in tables:
        assert line.count("(") == line.count(")"), line
        assert "…" not in line
    row = next(line for line in tables if line.startswith("  does not settle "))
    assert row.count("none (to 5.7 %)") == 2
    wide = as_text(risk_summary(run_toy(study, does)), 120)
    assert "none of 64 (at most 5.7 %)" in wide


# ---------------------------------------------------------------------------------- what matters


def index(error: int, total: float, high: float = math.nan) -> Index:
    return Index(error, (total, math.nan, math.nan), (total, math.nan, high))


def test_errors_that_matter():
    ranked = [index(0, 0.8, 0.9), index(3, 0.41, 0.5), index(1, 0.01, 0.03), index(2, 0.01, 0.02)]
    assert [i.error for i in what_matters(ranked)] == [0, 3, 1]
    assert mostly(ranked) == (0, 3)
    assert mostly([]) == ()
    assert mostly([index(0, 0.0)]) == ()
    assert [i.error for i in what_matters([index(0, 0.5)])] == [0]  # without an interval


def test_what_is_to_be_held():
    bad = Share(1, 10, 0.0, 0.4)
    whole, half = Trial(1.0, bad), Trial(0.5, bad)
    assert held_to([]) == {}
    assert held_to([Search(3, 1.0, (whole,))]) == {}
    assert held_to([Search(3, None, (whole,))]) == {}
    assert held_to([Search(3, 0.5, (half, whole))]) == {3: 0.5}
    both = [Search(3, None, (half, whole)), Search(ALL, 0.5, (half, whole))]
    assert held_to(both) == dict.fromkeys(range(len(ERRORS)), 0.5)


# ------------------------------------------------------------------------------------------- JSON


def test_json_document():
    study = make_study(TWO, SOME)
    made = {"wall_time_s": "4.0", "runs_taken_over": "0", "calculated_by": "this host"}
    result = run_toy(study, by_both, made)
    document = json.loads(to_json(risk_facts(result, "a.h5", ["a.png"])))
    assert list(document) == [
        "name", "bait", "config", "speeds_m_s", "builds", "builds_of_a_search", "pairs", "target",
        "seed", "errors_lie", "tolerances", "coefficients", "good_as_meant", "judged_speeds_m_s",
        "drift_not_full_speeds_m_s", "shares", "curable", "prototype_only", "speeds", "indices",
        "searches", "in_words", "runs", "seconds", "runs_per_s", "failures", "output", "pictures",
        "provenance",
    ]  # fmt: skip
    runs = int((result.status != STATUSES.index("not run")).sum())
    assert (document["runs"], document["seconds"]) == (runs, 4.0)
    assert document["runs_per_s"] == runs / 4.0
    assert document["shares"]["both"]["bad"] == shares(result, BOTH)["bad"]._asdict() | {
        "share": shares(result, BOTH)["bad"].share
    }
    assert set(document["shares"]["workmanship"]) == {*OUTCOMES, "bad"}
    tolerances = {t["key"]: t["tolerance"] for t in document["tolerances"]}
    assert tolerances == dict.fromkeys(KEYS, 0.0) | TWO
    ranges = {c["key"]: c["range"] for c in document["coefficients"]}
    assert ranges == {q.key: SOME.get(q.key, 0.0) for q in DOUBTS}
    (search,) = document["searches"]
    assert search["error"] == "bill_yaw_deg"
    assert search["needed"] == pytest.approx(2.0 * search["scale"])
    assert [t["scale"] for t in search["trials"]] == sorted(t["scale"] for t in search["trials"])
    assert search["trials"][-1]["scale"] == 1.0
    assert document["indices"][0]["key"] == "bill_yaw_deg"
    assert document["curable"]["low"] < document["curable"]["share"] < document["curable"]["high"]
    assert [s["speed_m_s"] for s in document["speeds"]] == [1.0, 2.0]
    assert (document["output"], document["pictures"]) == ("a.h5", ["a.png"])
    taken = risk_facts(run_toy(study, by_both, made | {"runs_taken_over": "12"}))
    assert (taken["seconds"], taken["runs_per_s"]) == (None, None)


def test_the_same_result_says_the_same(tmp_path):
    study = make_study(TWO, SOME)
    one, two = (run_toy(study, by_both) for _ in range(2))
    assert to_json(risk_facts(one)) == to_json(risk_facts(two))
    assert words(one, provenance=True) == words(two, provenance=True)
    for result, name in ((one, "1.png"), (two, "2.png")):
        save_risk_figure(result, tmp_path / name)
    assert (tmp_path / "1.png").read_bytes() == (tmp_path / "2.png").read_bytes()


def test_settings_and_origin_are_told():
    made = {"wall_time_s": "2.0", "program": "0.1", "date_utc": "2026-01-02T03:04:05+00:00",
            "calculated_by": "this host"}  # fmt: skip
    text = words(run_toy(make_study(TWO), by_both, made), provenance=True)
    assert text.startswith("shallow-runner  risk of 128 builds\n  Speeds  1 and 2 m/s\n")
    assert "  Set     retrieve.mode = tow\n" in text
    assert " in 2.00 s, " in text
    assert "; seed 1\n" in text
    assert "2026-01-02 03:04:05 UTC by runtrue 0.1" in text
    assert text.endswith("calculated by this host")
    assert max(map(len, text.splitlines())) <= 100


# ---------------------------------------------------------------------------------------- picture


def gids(figure: Any) -> list[str]:
    return [str(a.get_gid()) for ax in figure.axes for a in ax.get_children() if a.get_gid()]


def test_picture_shows_every_build_and_every_share():
    study = make_study(TWO, SOME)
    result = run_toy(study, by_both)
    figure = risk_figure(result)
    bars, matters, tolerance, scatter = figure.axes
    drawn = {
        str(c.get_gid()): len(c.get_offsets())
        for c in scatter.collections
        if str(c.get_gid()).startswith("builds ")
    }
    found = shares(result, SHOP)
    assert drawn == {f"builds {n}": s.hits for n, s in found.items() if s.hits and n != "bad"}
    widths = [p.get_width() for p in bars.patches if p.get_gid() == "bar over-rolls"]
    designs = [100.0 * shares(result, d)["over-rolls"].share for d in (SHOP, BOTH, DOUBT)]
    assert widths[:3] == pytest.approx(designs)
    assert len(widths) == 5  # and at the two speeds
    assert matters.get_xlim()[1] >= 1.0
    (frame,) = [p for p in scatter.patches if p.get_gid() == "tolerances"]
    assert (frame.get_width(), frame.get_height()) == (4.0, 1.0)
    assert "[deg]" in scatter.get_xlabel()
    assert "+ to starboard [mm]" in scatter.get_ylabel()
    (search,) = searches(result)
    (line,) = [c for c in tolerance.containers]
    assert line[0].get_xdata().tolist() == [t.scale for t in search.trials]
    assert line[0].get_ydata() == pytest.approx([100.0 * t.bad.share for t in search.trials])


@pytest.mark.parametrize("count", [3, 4, 6, 14, 20])
def test_pictures_of_many_speeds(count):
    speeds = tuple(np.linspace(0.4, 2.0, count).tolist())
    result = run_toy(make_study(TWO, SOME, speeds), by_both)
    figure = risk_figure(result)
    figure.canvas.draw()
    bars, _, tolerance, _ = figure.axes
    told = [label for label in bars.get_yticklabels() if label.get_text()]
    assert len(told) == count + 3
    boxes = sorted((label.get_window_extent() for label in told), key=lambda box: box.y0)
    for below, above in pairwise(boxes):
        assert below.y1 <= above.y0 + 1.0
    assert min(box.x0 for box in boxes) >= 0.0
    # a letter in every bar
    letters = [t for t in bars.texts if t.get_text().startswith("B ")]
    assert len(letters) == len(told)
    title = bars.get_title(loc="left")
    assert ("any speed" in title) == (count > 4)
    assert bars._left_title.get_window_extent().x1 < figure.axes[1].get_window_extent().x0
    # the line at what is to be held ends below the legend
    legend = tolerance.get_legend().get_window_extent()
    for line in tolerance.lines:
        if line.get_linestyle() == ":":
            assert line.get_window_extent().y1 <= legend.y0
    for container in tolerance.containers:
        assert container[0].get_window_extent().y1 <= legend.y0


def test_outcomes_are_told_apart_without_colour():
    assert set(STYLES) == set(OUTCOMES)
    for what in ("letter", "marker", "colour"):
        assert len({getattr(style, what) for style in STYLES.values()}) == len(OUTCOMES)
    plain = [name for name, style in STYLES.items() if not style.hatch]
    assert set(plain) == {"balanced", "does not settle"}  # of very different lightness
    assert {STYLES[name].colour for name in BAD[:3]} <= set(OKABE_ITO.values())


@pytest.mark.parametrize(
    ("tolerances", "ranges", "does"),
    [
        ({}, {}, balanced),
        ({}, SOME, by_both),
        (TWO, SOME, balanced),
        (TWO, {}, slow_is_bad),
        (TWO, SOME, lambda *_: ("goes round", {})),
        ({"bill_yaw_deg": 2.0}, {}, by_yaw(0.7)),
    ],
    ids=["nothing", "coefficients", "none bad", "a bad speed", "all bad", "one error"],
)
def test_pictures_with_little_to_show(tolerances, ranges, does, tmp_path):
    result = run_toy(make_study(tolerances, ranges), does)
    assert save_risk_figure(result, tmp_path / "a.svg").stat().st_size > 5000
    figure = risk_figure(result)
    assert len(figure.axes) == 4
    for ax in figure.axes:
        for text in ax.texts:
            assert "nan" not in text.get_text()
    assert ("bar goes round" in gids(figure)) == any(
        at.builds["goes round"].hits for at in at_speeds(result)
    )
