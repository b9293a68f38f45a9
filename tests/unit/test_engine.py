"""The engine of maps: each case as :func:`sim.simulate` has it, whatever the company."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sim
from sim.errors import ConfigError
from sim.kernels.motion import MEASURES
from sim.studies.engine import CLASSES, MARGINS, STATUSES, CaseTable, run_cases, run_configs
from sim.studies.run import run_study
from sim.studies.store import load_map
from sim.studies.study import Study, load_study

CONFIGS = Path(__file__).parents[2] / "configs"
SHORT = {"solver.duration_s": 3.0, "solver.max_duration_s": 6.0}
STUDY = """
bait = "{bait}"
[fixed]
"solver.duration_s" = {seconds}
"solver.max_duration_s" = {longest}
[run]
stop_early = {early}
{more}
[[axis]]
key = "tie_path_mm"
from = -12.0
to = 12.0
count = 5
[[axis]]
key = "retrieve.speed_m_s"
values = [0.6, 1.2, 2.1]
"""


def study(folder: Path, early: bool = False, more: str = "", seconds: float = 3.0) -> Study:
    path = folder / "study.toml"
    bait = (CONFIGS / "shallow-runner.toml").as_posix()
    text = STUDY.format(
        bait=bait, early=str(early).lower(), more=more, seconds=seconds, longest=2.0 * seconds
    )
    path.write_text(text, encoding="utf-8")
    return load_study(path)


def same(a: CaseTable, b: CaseTable) -> None:
    for field in dataclasses.fields(CaseTable):
        one, other = getattr(a, field.name), getattr(b, field.name)
        if isinstance(one, np.ndarray):
            np.testing.assert_array_equal(one, other, err_msg=field.name)
        else:
            assert one == other, field.name


def test_a_case_has_the_bits_of_a_lone_run(tmp_path: Path) -> None:
    made = study(tmp_path)
    table = run_cases(made, range(made.case_count))
    seen = set()
    for i in range(made.case_count):
        run = sim.simulate(made.cell_config(i))
        seen.add((run.status, run.motion_class))
        assert STATUSES[table.status[i]] == run.status
        assert (CLASSES[table.motion_class[i]] if table.motion_class[i] >= 0 else None) == (
            run.motion_class
        )
        np.testing.assert_array_equal(table.measures[i], [run.measures[m] for m in MEASURES])
        np.testing.assert_array_equal(
            table.margins[i], [run.margins.get(m, math.nan) for m in MARGINS]
        )
        assert (table.first_s[i], table.last_s[i]) == run.window
        assert table.end_s[i] == run.time[-1]
        assert table.message[i] == ("" if run.status == "settled" else run.message)
    assert len({motion for _, motion in seen}) >= 3  # the cases are not all alike


# Each ends in another way, at another time, and needs another step or other array shapes.
ODD: list[dict[str, Any]] = [
    {},
    {"retrieve.mode": "reel", "line.length_m": 4.0, "retrieve.speed_m_s": 1.3},
    {"retrieve.ramp_s": 1.0},
    {"line.modulus_gpa": 80.0, "line.length_m": 1.2, "line.diameter_mm": 0.6},
    {"water.surface": False, "bait.bill.yaw_error_deg": 4.0, "retrieve.speed_m_s": 2.0},
    {"bait.hook": [], "solver.body_strips": 10},
    {"solver.step_ms": 4.0, "start.rates_deg_s": [30000.0, 5000.0, 20000.0]},  # blows up
    {"solver.step_ms": 10.0, "solver.output_step_ms": 10.0, "retrieve.speed_m_s": 8.0},
    {"retrieve.heading_deg": 70.0, "water.current_m_s": 0.3, "water.current_toward_deg": 200.0},
    {"solver.duration_s": 2.0, "solver.max_duration_s": 2.0, "start.roll_deg": 150.0},
    # ends off the grid of records
    {"solver.duration_s": 2.001, "solver.max_duration_s": 2.314, "retrieve.mode": "reel"},
    {"retrieve.mode": "reel", "line.length_m": 0.08, "retrieve.speed_m_s": 4.1,
     "solver.output_step_ms": 40.0},
    {"solver.step_ms": 1.2, "solver.output_step_ms": 3.6},
]  # fmt: skip


def odd_configs() -> list[sim.Config]:
    base = sim.load_config(CONFIGS / "deep-runner.toml", SHORT)
    return [sim.with_overrides(base, {**SHORT, **more}) for more in ODD]


def test_odd_company_changes_nothing() -> None:
    configs = odd_configs()
    together = run_configs(configs, stop_early=False)
    backward = run_configs(configs[::-1], stop_early=False)[::-1]
    statuses = set()
    for config, (outcome, measures), (outcome_b, measures_b) in zip(
        configs, together, backward, strict=True
    ):
        run = sim.simulate(config)
        statuses.add(run.status)
        assert (outcome.status, outcome.message) == (run.status, run.message)
        assert (outcome.motion_class, outcome.reason) == (run.motion_class, run.class_reason)
        if run.measures:
            np.testing.assert_array_equal(measures, [run.measures[m] for m in MEASURES])
        else:
            assert np.isnan(measures).all()
        assert outcome == outcome_b or str(outcome) == str(outcome_b)
        np.testing.assert_array_equal(measures, measures_b)
    assert {"settled", "line in", "diverged"} <= statuses


def test_a_case_that_cannot_be_built_is_told_and_spoils_no_other() -> None:
    sound = sim.load_config(CONFIGS / "shallow-runner.toml")
    short = sim.with_overrides(sound, {"line.length_m": 0.6, "line.rod_tip_height_m": 2.0})
    broken = ConfigError(["map.toml: cell: no such bait."])
    found = run_configs([broken, sound, short], stop_early=False)
    assert [outcome.status for outcome, _ in found] == ["invalid", "settled", "invalid"]
    assert found[0][0].message == "map.toml: cell: no such bait."
    assert "must be within 0.6 m of it" in found[2][0].message
    assert all(outcome.motion_class is None for outcome, _ in found[::2])
    alone = run_configs([sound], stop_early=False)[0]
    np.testing.assert_array_equal(found[1][1], alone[1])


def test_no_cell_ends_a_map_whatever_is_wrong_with_it(tmp_path: Path) -> None:
    base = sim.load_config(CONFIGS / "shallow-runner.toml")
    stiff = sim.with_overrides(base, {"line.modulus_gpa": 1e155})
    ((outcome, measures),) = run_configs([stiff], stop_early=False)
    assert outcome.status == "invalid"
    assert outcome.message.startswith(f"{base.source_path}: line: so stiff for its length")
    assert np.isnan(measures).all()
    ((outcome, _),) = run_configs([FloatingPointError("overflow")], stop_early=False)
    assert outcome.message == (
        "cannot be worked out (FloatingPointError: overflow). Look at its values."
    )


def test_processes_calculate_what_one_does(tmp_path: Path) -> None:
    made = dataclasses.replace(study(tmp_path, early=True), chunk=4)
    one = run_study(made, tmp_path / "one.h5", workers=1)
    two = run_study(made, tmp_path / "two.h5", workers=2)
    for name in MEASURES:
        np.testing.assert_array_equal(one.measures[name], two.measures[name])
    np.testing.assert_array_equal(one.motion_class, two.motion_class)
    assert two.provenance["calculated_by"] == "this host"


def test_stored_states_are_those_of_the_run(tmp_path: Path) -> None:
    made = study(tmp_path, more="keep_states_ms = 40.0")
    run_study(made, tmp_path / "kept.h5")
    kept = load_map(tmp_path / "kept.h5")
    assert kept.states is not None
    assert kept.states_step_s == pytest.approx(0.04)
    run = sim.simulate(made.cell_config(4))
    states = kept.states[1, 1, 0]
    n = len(run.position[::10])
    np.testing.assert_array_equal(states[:n, :3], run.position[::10])
    np.testing.assert_array_equal(states[:n, 3:], run.attitude[::10])
    assert np.isnan(states[n:]).all()


def test_early_stop_ends_runs_and_keeps_their_class(tmp_path: Path) -> None:
    whole = study(tmp_path, seconds=8.0)
    cases = range(whole.case_count)
    full = run_cases(whole, cases)
    early = run_cases(study(tmp_path, early=True, seconds=8.0), cases)
    assert early.early.sum() > 2
    assert not full.early.any()
    assert (early.end_s[early.early] < 8.0).all()
    rest = ~early.early
    np.testing.assert_array_equal(early.measures[rest], full.measures[rest])
    np.testing.assert_array_equal(early.motion_class, full.motion_class)


# Over every cell of the shipped maps. Amplitudes may differ, for other wobbles are measured: seen
# are medians below 0.005 degrees, and at most 1 % of the runs beyond 5 % and half a degree.
@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["shallow-runner-tie-speed", "slab-sided-tie-speed", "shallow-runner-angle-tie"]
)
def test_early_stops_change_no_class_on_a_full_map(name: str) -> None:
    early = load_study(CONFIGS / "studies" / f"{name}.toml")
    assert early.stop_early
    cases = range(early.case_count)
    stopped = run_cases(early, cases)
    whole = run_cases(dataclasses.replace(early, stop_early=False), cases)
    np.testing.assert_array_equal(stopped.motion_class, whole.motion_class)
    np.testing.assert_array_equal(stopped.status, whole.status)
    assert stopped.early.mean() > 0.05
    assert stopped.end_s.sum() < whole.end_s.sum()
    ended = stopped.early & (stopped.motion_class < CLASSES.index("spinning"))
    for measure in ("yaw_amplitude_deg", "roll_amplitude_deg"):
        a, b = (t.measures[ended, MEASURES.index(measure)] for t in (stopped, whole))
        assert np.median(np.abs(a - b)) < 0.02
        assert (np.abs(a - b) < 0.05 * np.abs(b) + 0.5).mean() > 0.98
