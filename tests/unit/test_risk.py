"""Shares, indices and tolerances: responses with known answers go through the code of the runs."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import beta, binomtest, norm

import sim
from sim.config import Config, with_overrides
from sim.kernels.motion import MEASURES
from sim.studies.axes import NAMED_AXES
from sim.studies.builds import (
    ALL,
    DOUBT,
    ERRORS,
    MEANT,
    MIXED,
    SCALES,
    SEARCH,
    SECOND,
    SHOP,
    BuildStudy,
    Design,
)  # fmt: skip
from sim.studies.compare import same_content
from sim.studies.engine import CLASSES, MARGINS, NO_CLASS, STATUSES, CaseTable, run_cases
from sim.studies.risk import (
    BAD,
    OUTCOMES,
    RiskResult,
    Share,
    gather,
    indices,
    judged,
    long_enough,
    outcomes,
    searches,
    severity,
    shares,
    worst_outcomes,
)  # fmt: skip
from sim.studies.risk_store import RISK, load_risk
from sim.studies.run import carry_out

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
KEYS = [quantity.key for quantity in ERRORS]
YAW, ROLL, RIGHT = (KEYS.index(f"bill_{name}") for name in ("yaw_deg", "roll_deg", "right_mm"))


# 2.5 lengths of the line at the fastest speed, in whole seconds
@pytest.mark.parametrize(
    ("length_m", "speeds", "changed"),
    [
        (3.0, (0.4, 2.0), {}),  # 4 s, and 8 s are run
        (3.0, (0.4,), {"solver.duration_s": 19.0}),
        (20.0, (0.4, 2.0), {"solver.duration_s": 25.0, "solver.max_duration_s": 25.0}),
        (6.4, (0.4, 2.0), {}),  # 8 s
        (9000.0, (2.0,), {"solver.duration_s": 600.0, "solver.max_duration_s": 600.0}),
    ],
)
def test_runs_last_until_the_drift_is_full_at_the_fastest_speed(runner, length_m, speeds, changed):
    config = with_overrides(runner, {"line.length_m": length_m})
    longer = long_enough(config, speeds)
    assert longer.overrides == config.overrides | changed
    assert longer.solver.duration_s == changed.get("solver.duration_s", 8.0)
    assert longer.solver.max_duration_s == changed.get("solver.max_duration_s", 24.0)


Response = Callable[[np.ndarray], dict[str, float]]


@pytest.fixture(scope="module")
def runner() -> Config:
    return sim.load_config(CONFIGS / "shallow-runner.toml")


@pytest.fixture(scope="module")
def toy(runner: Config) -> BuildStudy:
    """A bait with three errors alone, each drawn evenly within 1."""
    changes: dict[str, object] = {f"build.{key}": 0.0 for key in KEYS}
    changes |= {f"build.{KEYS[n]}": 1.0 for n in (YAW, ROLL, RIGHT)}
    base = with_overrides(runner, changes | {"build.errors": "even"})
    return BuildStudy("toy", "", base, {}, (1.0, 2.0), builds=512, few=256, pairs=256)


def responding(response: Response) -> Callable[[BuildStudy, Sequence[int]], CaseTable]:
    """What a study calculates with, in place of runs: measures from the errors of a build."""

    def calculate(study: BuildStudy, cases: Sequence[int]) -> CaseTable:
        limits = study.base.limits
        number = np.array(cases, dtype=np.int64)
        measures = np.zeros((number.size, len(MEASURES)))
        kinds = np.full(number.size, CLASSES.index("balanced"), dtype=np.int8)
        for row, case in enumerate(cases):
            design, build, _ = (int(i) for i in study.place(case))
            errors, _ = study.drawn(Design.of(design), build)
            found = {"yaw_amplitude_deg": 20.0} | response(errors)
            for name, value in found.items():
                measures[row, MEASURES.index(name)] = value
            if found.get("roll_amplitude_deg", 0.0) > limits.roll_deg:
                kinds[row] = CLASSES.index("over-rolling")
        times = np.full(number.size, 8.0)
        return CaseTable(
            case=number,
            status=np.zeros(number.size, dtype=np.int8),
            motion_class=kinds,
            measures=measures,
            margins=np.full((number.size, len(MARGINS)), math.nan),
            first_s=times - 4.0,
            last_s=times,
            end_s=times,
            early=np.zeros(number.size, dtype=bool),
            message=("",) * number.size,
            states=None,
        )

    return calculate


def linear(*weights: float, start: float = 0.5) -> Response:
    """Roll that grows linearly: ``start`` of the limit, and a share of it an error."""

    def response(errors: np.ndarray) -> dict[str, float]:
        share = start + sum(
            w * errors[n] for w, n in zip(weights, (YAW, ROLL, RIGHT), strict=False)
        )
        return {"roll_amplitude_deg": 35.0 * share}

    return response


def answered(study: BuildStudy, response: Response, where: Path) -> RiskResult:
    """A whole study with a toy response, through planning, chunks and file."""
    found: RiskResult = carry_out(
        study, where / "toy.h5", RISK, calculate=responding(response), force=True
    )
    return found


# ----------------------------------------------------------------------- a response with an answer


def test_indices_of_a_linear_response(toy: BuildStudy, tmp_path: Path) -> None:
    """Of y = sum w_i x_i, x_i alike and independent, both Sobol indices are w_i^2 / sum w^2.

    Source: Saltelli et al., Global Sensitivity Analysis: The Primer, 2008, section 1.2 (additive
    models), from memory; follows from Var y = sum w_i^2 Var x_i.
    """
    weights = (0.3, 0.2, 0.1)
    found = indices(answered(toy, linear(*weights), tmp_path))
    expected = np.square(weights) / np.square(weights).sum()
    assert [row.error for row in found] == [YAW, ROLL, RIGHT]
    for row, share in zip(found, expected, strict=True):
        assert row.first[0] == pytest.approx(share, abs=0.03)
        assert row.total[0] == pytest.approx(share, abs=0.03)
        assert row.total[1] <= row.total[0] <= row.total[2]


def test_indices_of_a_product(toy: BuildStudy, tmp_path: Path) -> None:
    """Of y = x_1 x_2 about 0 neither matters alone: first order 0, total 1, for both."""

    def product(errors: np.ndarray) -> dict[str, float]:
        return {"roll_amplitude_deg": 35.0 * (0.5 + 0.4 * errors[YAW] * errors[ROLL])}

    found = {row.error: row for row in indices(answered(toy, product, tmp_path))}
    for error in (YAW, ROLL):
        assert found[error].first[1] <= 0.0 <= found[error].first[2]
        assert found[error].first[0] == pytest.approx(0.0, abs=0.2)
        assert found[error].total[0] == pytest.approx(1.0, abs=0.1)
    assert found[RIGHT].total[0] == pytest.approx(0.0, abs=1e-12)


def test_intervals_cover_the_share_that_is_known(toy: BuildStudy) -> None:
    """Of many seeds the interval of 95 % holds the true share at least that often.

    With roll at 0.5 + 0.6 x of its limit, x even within 1, the bait over-rolls where x > 5/6: one
    build in twelve.
    """
    held = 0
    for seed in range(60):
        study = dataclasses.replace(toy, seed=seed, builds=128, few=128, pairs=128, speeds=(1.0,))
        table = responding(linear(0.6))(
            study, [*study.cases(SHOP).tolist(), *study.cases(MEANT).tolist()]
        )
        share = shares(gather(study, [table]), SHOP)["bad"]
        held += share.low <= 1.0 / 12.0 <= share.high
    assert held >= 57  # draws that fill the space evenly do better than independent ones


def test_intervals_cover_the_index_that_is_known(toy: BuildStudy) -> None:
    """The interval of an index holds w^2 / sum w^2 about as often as it says."""
    weights = (0.3, 0.2)
    expected = 0.09 / 0.13
    held = 0
    for seed in range(20):
        study = dataclasses.replace(toy, seed=seed, builds=128, few=128, pairs=128, speeds=(1.0,))
        mixed = [study.cases(MIXED + n) for n in study.active]
        cases = np.concatenate([study.cases(d) for d in (SHOP, SECOND, MEANT)] + mixed)
        row = indices(gather(study, [responding(linear(*weights))(study, cases.tolist())]))[0]
        assert row.error == YAW
        held += row.total[1] <= expected <= row.total[2]
    assert held >= 17


def test_share_and_tolerance_of_a_response_with_an_answer(toy: BuildStudy, tmp_path: Path) -> None:
    """Roll 0.5 + 0.6 s x of its limit: over it where x > 5 / (6 s), a share (1 - 5 / (6 s)) / 2.

    5 % are met where s = 5 / (6 * 0.9) = 0.926; of the sixteenths tried 14 / 16 is the largest.
    """
    result = answered(toy, linear(0.6), tmp_path)
    assert shares(result, SHOP)["bad"].share == pytest.approx(1.0 / 12.0, abs=0.005)
    (search,) = searches(result)
    assert search.error == YAW and not search.holds
    assert search.scale == 14 / 16
    for trial in search.trials:
        expected = max(0.0, 0.5 * (1.0 - 5.0 / 6.0 / max(trial.scale, 1e-9)))
        assert trial.bad.share == pytest.approx(expected, abs=0.01), trial.scale
    assert [t.scale for t in search.trials] == sorted(t.scale for t in search.trials)


def test_when_the_worst_error_alone_cannot_cure_it(toy: BuildStudy, tmp_path: Path) -> None:
    """Two errors of 0.5 each at a limit 0.55 away: without the worse one 1/24 are left...

    ... of a target of 1 %; all tolerances together reach it.
    """
    study = dataclasses.replace(toy, target=0.01)
    first, both = searches(answered(study, linear(0.62, 0.6, start=0.45), tmp_path))
    assert first.scale is None
    assert first.trials[0].scale == 0.0
    # x > 55 / 60 of the other error alone
    assert first.trials[0].bad.share == pytest.approx(0.5 * (1.0 - 0.55 / 0.6), abs=0.01)
    assert both.error == ALL and both.scale is not None and 0.0 < both.scale < 1.0
    tried = {trial.scale: trial.bad.share for trial in both.trials}
    assert tried[both.scale] <= 0.01
    assert min(share for scale, share in tried.items() if scale > both.scale) > 0.01
    assert tried[0.0] == 0.0 and both.trials[0].bad.high == 0.0


def test_when_only_a_perfect_bait_will_do(toy: BuildStudy, tmp_path: Path) -> None:
    """A sixteenth of errors that move roll by twenty times its limit is still too much."""
    first, both = searches(answered(toy, linear(20.0, 20.0, start=0.9), tmp_path))
    assert first.scale is None and len(first.trials) == 2
    assert both.error == ALL and both.scale == 0.0
    assert [trial.scale for trial in both.trials][:2] == [0.0, 1 / 16]


def test_when_all_builds_are_bad_all_tolerances_are_searched(
    toy: BuildStudy, tmp_path: Path
) -> None:
    """Where every build is beyond every measure no error stands out, yet closer ones may do."""

    def response(errors: np.ndarray) -> dict[str, float]:
        size = float(np.abs(errors[[YAW, ROLL, RIGHT]]).sum())
        return {"roll_amplitude_deg": 35.0 * (0.5 + 1000.0 * (size > 0.0) * (size > 1e-3))}

    result = answered(toy, response, tmp_path)
    assert indices(result) == ()
    assert shares(result, SHOP)["bad"].hits == toy.builds
    (search,) = searches(result)
    assert search.error == ALL and search.scale == 0.0


def test_one_error_alone(toy: BuildStudy, tmp_path: Path) -> None:
    changes = {f"build.{KEYS[n]}": 0.0 for n in (ROLL, RIGHT)}
    study = dataclasses.replace(toy, base=with_overrides(toy.base, changes))
    result = answered(study, linear(0.6), tmp_path)
    (row,) = indices(result)
    assert row.error == YAW
    assert row.first[0] == pytest.approx(1.0, abs=0.05)
    assert row.total[0] == pytest.approx(1.0, abs=0.05)


def test_a_tolerance_that_holds_is_not_searched(toy: BuildStudy, tmp_path: Path) -> None:
    result = answered(toy, linear(0.4), tmp_path)
    (search,) = searches(result)
    assert search.holds and search.scale == 1.0 and len(search.trials) == 1
    assert not [d for d in result.designs if d >= SEARCH]


def test_risk_rises_with_the_tolerance(toy: BuildStudy) -> None:
    found = []
    for scale in (0, 4, 8, 12, 16):
        design = SEARCH + ALL * len(SCALES) + scale
        cases = [*toy.cases(design).tolist(), *toy.cases(MEANT).tolist()]
        result = gather(toy, [responding(linear(0.6, 0.4))(toy, cases)])
        found.append(shares(result, design)["bad"].share)
    assert found == sorted(found) and found[0] == 0.0 and found[-1] > 0.1


def test_nothing_varies_without_errors(runner: Config, tmp_path: Path) -> None:
    exact = with_overrides(runner, {f"build.{key}": 0.0 for key in KEYS})
    study = BuildStudy("exact", "", exact, {}, (1.0,), 16, 4, 8)
    result = answered(study, linear(0.6), tmp_path)
    assert indices(result) == () and searches(result) == ()
    assert shares(result, SHOP)["balanced"].hits == 16


# -------------------------------------------------------------------------------------- intervals


@pytest.mark.parametrize(("hits", "builds"), [(0, 50), (1, 50), (62, 2000), (50, 50), (300, 500)])
def test_intervals_of_shares(hits: int, builds: int) -> None:
    """Wilson's interval (1927) by its formula, inside the exact one (Clopper-Pearson)."""
    found = Share.of(np.arange(builds) < hits)
    z = float(norm.ppf(0.975))
    p = hits / builds
    middle = (p + z * z / (2 * builds)) / (1 + z * z / builds)
    half = z * math.sqrt(p * (1 - p) / builds + z * z / (4 * builds**2)) / (1 + z * z / builds)
    assert found.share == p
    assert (found.low, found.high) == pytest.approx((middle - half, middle + half), abs=1e-12)
    by_scipy = binomtest(hits, builds).proportion_ci(0.95, method="wilson")
    assert (found.low, found.high) == pytest.approx(tuple(by_scipy), abs=1e-12)
    exact_low = beta.ppf(0.025, hits, builds - hits + 1) if hits else 0.0
    exact_high = beta.ppf(0.975, hits + 1, builds - hits) if hits < builds else 1.0
    assert exact_low - 0.005 <= found.low <= p <= found.high <= exact_high + 0.005


# --------------------------------------------------------------------------- what a build comes to


def one_case(toy: BuildStudy, status: str, kind: str | None, **measures: float) -> RiskResult:
    """A study of one build that came to something given, and a bait that is balanced as meant."""
    study = dataclasses.replace(toy, builds=2, few=1, pairs=2, speeds=(1.0,))
    cases = [*study.cases(SHOP).tolist(), *study.cases(MEANT).tolist()]
    table = responding(lambda errors: {})(study, cases)
    table.status[0] = STATUSES.index(status)
    table.motion_class[0] = NO_CLASS if kind is None else CLASSES.index(kind)
    if status in ("diverged", "invalid"):
        table.measures[0] = math.nan
    for name, value in measures.items():
        table.measures[0, MEASURES.index(name)] = value
    return gather(study, [table])


@pytest.mark.parametrize(
    ("status", "kind", "measures", "expected"),
    [
        ("settled", "over-rolling", {"lean_deg": -36.0}, "over-rolls"),
        ("settled", "balanced", {}, "balanced"),
        ("settled", "tight", {}, "tight"),
        ("settled", "balanced", {"side_drift_m_per_m": 0.17}, "balanced"),
        # tan 10 degrees is 0.1763
        ("settled", "balanced", {"side_drift_m_per_m": -0.18}, "runs off"),
        ("settled", "over-rolling", {"side_drift_m_per_m": 0.18}, "over-rolls"),
        ("settled", "over-rolling", {"most_turns": 1.5}, "goes round"),
        ("settled", "spinning", {}, "goes round"),
        ("not settled", None, {"side_drift_m_per_m": 0.5}, "does not settle"),
        ("not settled", None, {"most_turns": 3.0}, "goes round"),
        ("diverged", None, {}, "failed"),
        ("invalid", None, {}, "failed"),
    ],
)  # fmt: skip
def test_what_a_build_comes_to(
    toy: BuildStudy, status: str, kind: str | None, measures: dict[str, float], expected: str
) -> None:
    result = one_case(toy, status, kind, **measures)
    assert OUTCOMES[outcomes(result, SHOP)[0, 0]] == expected
    bad = expected in BAD
    assert shares(result, SHOP)["bad"].hits == bad
    if kind != "over-rolling" or measures.get("lean_deg"):  # by which limit is not given here
        assert (severity(result, SHOP)[0] > 1.0) == bad


def test_the_worst_over_the_speeds_counts_where_the_bait_as_meant_is_sound(toy: BuildStudy) -> None:
    study = dataclasses.replace(toy, builds=2, few=1, pairs=2, speeds=(0.5, 1.0, 2.0))
    cases = [*study.cases(SHOP).tolist(), *study.cases(MEANT).tolist()]
    table = responding(lambda errors: {})(study, cases)
    over, tight = CLASSES.index("over-rolling"), CLASSES.index("tight")
    table.motion_class[[0, 5]] = over, tight  # first build at 0.5 m/s, second at 2 m/s
    result = gather(study, [table])
    assert judged(result).all()
    assert [OUTCOMES[i] for i in worst_outcomes(result, SHOP)] == ["over-rolls", "tight"]
    table.motion_class[6] = over  # as meant, at 0.5 m/s
    result = gather(study, [table])
    assert judged(result).tolist() == [False, True, True]
    assert [OUTCOMES[i] for i in worst_outcomes(result, SHOP)] == ["balanced", "tight"]
    table.motion_class[6:9] = over  # bad as meant wherever it is looked at
    assert judged(gather(study, [table])).all()


# ------------------------------------------------------------------------------------- the file


def test_a_risk_comes_back_from_its_file(toy: BuildStudy, tmp_path: Path) -> None:
    study = dataclasses.replace(toy, builds=32, few=8, pairs=8)
    written = answered(study, linear(0.6), tmp_path)
    read = load_risk(tmp_path / "toy.h5")
    assert read.study.study_digest == study.study_digest
    assert read.designs == written.designs and set(read.designs) >= {SHOP, DOUBT, MEANT}
    for name in ("status", "motion_class", "early", "message"):
        assert np.array_equal(getattr(read, name), getattr(written, name)), name
    for name in MEASURES:
        assert np.array_equal(read.measures[name], written.measures[name], equal_nan=True)
    # a design of fewer builds leaves the others empty
    row, count = read.rows(DOUBT)
    assert count == 8
    assert (read.status[row, 8:] == STATUSES.index("not run")).all()
    assert np.isnan(read.measures["lean_deg"][row, 8:]).all()
    with pytest.raises(KeyError):
        read.rows(SEARCH + 1)


def test_resumed_after_a_break_it_has_the_same_bits(toy: BuildStudy, tmp_path: Path) -> None:
    study = dataclasses.replace(toy, builds=64, few=32, pairs=16, chunk=20)
    calculate = responding(linear(0.6))
    carry_out(study, tmp_path / "whole.h5", RISK, calculate=calculate)

    def interrupt(done: int, planned: int, failed: int) -> None:
        if done >= 200:
            raise KeyboardInterrupt

    broken = tmp_path / "broken.h5"
    with pytest.raises(KeyboardInterrupt):
        carry_out(study, broken, RISK, calculate=calculate, progress=interrupt)
    assert not broken.exists()
    carry_out(study, broken, RISK, calculate=calculate, resume=True)
    assert same_content(tmp_path / "whole.h5", broken)


# --------------------------------------------------------------------------------- with real runs


def tied(config: Config, at_mm: float) -> Config:
    return with_overrides(config, NAMED_AXES["tie_path_mm"].overrides(config, at_mm))


def run_builds(config: Config, *designs: int, builds: int, speed: float) -> RiskResult:
    study = BuildStudy("real", "", config, {}, (speed,), builds, builds, 8)
    cases = np.concatenate([study.cases(design) for design in (*designs, MEANT)])
    return gather(study, [run_cases(study, cases.tolist())])


def test_risk_of_a_real_bait_rises_with_its_tolerances(runner: Config) -> None:
    designs = [SEARCH + ALL * len(SCALES) + step for step in (0, 4, 8, 16)]
    result = run_builds(runner, *designs, builds=64, speed=2.0)
    found = [shares(result, design)["bad"].share for design in designs]
    assert found == sorted(found)
    assert found[0] == 0.0 and found[-1] > found[1] + 0.1
