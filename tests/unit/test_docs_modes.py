"""docs/modes.md: the output it shows is the program's, and what it says of the baits is so."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import sim
from sim.cli import app
from sim.small_motion import TiePoint, modes_along

TOP = Path(__file__).parents[2]
PAGE = (TOP / "docs" / "modes.md").read_text("utf-8")
WORDS = " ".join(PAGE.split())
ALL = ("shallow-runner", "surface-runner", "deep-runner", "slab-sided", "slow-sinker")


def load(name: str) -> sim.Config:
    return sim.load_config(TOP / "configs" / f"{name}.toml")


@pytest.fixture(scope="module")
def paths() -> dict[str, list[TiePoint]]:
    """Tie points of every bait that have a steady tow."""
    return {n: [p for p in modes_along(load(n)) if p.modes is not None] for n in ALL}


def growth(points: list[TiePoint]) -> dict[float, float]:
    return {p.distance_mm: p.modes.wobble.growth_1_s for p in points}


def test_output_shown_is_the_output(monkeypatch, tmp_path):
    (command,) = re.findall(r"^    runtrue (modes .*)$", PAGE, re.MULTILINE)
    shown = re.search(r"```text\n(.*?)```", PAGE, re.DOTALL).group(1)
    (tmp_path / "configs").symlink_to(TOP / "configs")
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, shlex.split(command), env={"COLUMNS": "100"})
    assert done.exit_code == 0, done.output
    assert done.stdout == shown
    assert Path("results/shallow-runner-modes.png").read_bytes().startswith(b"\x89PNG")


def test_table_of_the_five_baits(paths):
    rows = dict(re.findall(r"^\| ([a-z-]+) \| (.*) \|$", PAGE, re.MULTILINE))
    assert set(rows) - {"bait"} == set(ALL)
    for name, points in paths.items():
        wobbles = [p.modes.wobble for p in points]
        slow = min(points, key=lambda p: p.modes.wobble.frequency_hz)
        wild = max(points, key=lambda p: p.modes.wobble.growth_1_s)
        assert rows[name] == " | ".join(
            (
                f"{wobbles[0].frequency_hz:.1f} Hz",
                f"{slow.modes.wobble.frequency_hz:.1f} Hz at {slow.distance_mm:g} mm",
                f"{wild.modes.wobble.growth_1_s:+.1f} at {wild.distance_mm:g} mm",
                f"{points[0].modes.lean.growth_1_s:.1f}",
            )
        )


def test_what_holds_on_all_five_baits(paths):
    halving, faster = [], []
    for name, points in paths.items():
        down = [p.modes.wobble.frequency_hz for p in points if p.distance_mm <= 0.0]
        assert (np.diff(down) < 0.0).all(), name
        above = [p.modes.lean.growth_1_s for p in points if p.distance_mm <= 0.0]
        assert np.argmax(above) == 0 and above[0] < 0.0, name
        length = load(name).bait.body.length_mm * 1e-3
        halving.append(points[0].modes.lean.doubling_s / length)  # at 1 m/s
        faster.append(sim.modes(load(name)).lean.growth_1_s / above[0])
    low, high = re.search(r"takes (\d+) to (\d+) body lengths of travel", WORDS).groups()
    assert (round(min(halving)), round(max(halving))) == (int(low), int(high))
    low, high = re.search(r"lean comes back (\d+) to (\d+) times faster", WORDS).groups()
    assert (round(min(faster)), round(max(faster))) == (int(low), int(high))


def test_what_is_not_as_neat(paths):
    grows = {n: [d for d, g in growth(points).items() if g > 0.0] for n, points in paths.items()}
    assert grows["surface-runner"] == []
    assert grows["slow-sinker"] == []
    assert grows["deep-runner"] and grows["slab-sided"]
    assert grows["shallow-runner"] == [*np.arange(-1.0, 6.0), 10.0, 11.0]
    least = max(paths["slow-sinker"], key=lambda p: p.modes.wobble.growth_1_s)
    assert 4.0 <= least.distance_mm <= 6.0
    far = paths["surface-runner"][-1].modes.lean.growth_1_s
    assert 0.0 > far > paths["surface-runner"][0].modes.lean.growth_1_s
    names = {n: {p.distance_mm: p.config for p in points} for n, points in paths.items()}

    def runs(name: str, *places: float) -> list[sim.RunResult]:
        return [sim.simulate(names[name][float(d)]) for d in places]

    over, first = runs("surface-runner", 1, 2)
    assert over.motion_class == "balanced" and first.motion_class == "over-rolling"
    assert "times as far as it yaws" in first.class_reason
    assert [r.motion_class for r in runs("slow-sinker", 3, 4, 8)] == [
        "balanced", "over-rolling", "over-rolling"
    ]  # fmt: skip
    shallow = runs("shallow-runner", -1, 0, 1, 2, 3, 4, 5, 8)
    assert [r.motion_class for r in shallow] == ["balanced"] * 4 + ["over-rolling"] * 4
    # at the pace of its wake, which slows, and not at that of the slow swing
    seen = [r.measures["wobble_frequency_hz"] for r in shallow]
    assert seen[:3] == pytest.approx([6.0] * 3, abs=0.5)
    assert seen == pytest.approx([shedding(r) for r in shallow], rel=0.01)
    assert (np.diff(seen[2:]) < 0.0).all()
    slow = growth(paths["shallow-runner"])
    assert max(slow, key=slow.get) == 0.0
    swing = {p.distance_mm: p.modes.wobble.frequency_hz for p in paths["shallow-runner"]}
    assert all(2.0 < swing[float(d)] < 3.0 for d in range(-1, 5))


def shedding(run: sim.RunResult) -> float:
    """Frequency of the wake in the stationary part of a run [Hz]."""
    kept = run.time >= run.window[0]
    wake = run.wake[kept, 0]
    up = np.flatnonzero((wake[:-1] < 0.0) & (wake[1:] >= 0.0))
    return (up.size - 1) / (run.time[kept][up[-1]] - run.time[kept][up[0]])


def test_runs_have_the_frequency_of_the_wake():
    for name in ALL:
        run = sim.simulate(load(name))
        assert run.measures["wobble_frequency_hz"] == pytest.approx(shedding(run), rel=0.01)
        # docs/equations.md: the bound on the oscillator, 3, is not reached
        assert np.abs(run.wake[:, 0]).max() < 2.4
    deep = load("deep-runner")
    assert sim.modes(deep).wobble.frequency_hz == pytest.approx(15.0, abs=0.5)
    assert sim.simulate(deep).measures["wobble_frequency_hz"] == pytest.approx(5.0, abs=0.1)


def test_names_change_hands_where_the_page_says(paths):
    at = {p.distance_mm: p.modes for p in paths["shallow-runner"]}
    before, after = at[-4.0], at[-3.0]
    # the wobble is nearer to the lean of before than to the wobble of before
    assert abs(after.wobble.root - before.lean.root) < abs(after.wobble.root - before.wobble.root)
    assert abs(after.lean.root - before.wobble.root) < abs(after.lean.root - before.lean.root)


def test_no_steady_tow_at_the_top_of_the_surface_runner():
    points = modes_along(load("surface-runner"))
    assert [p.distance_mm for p in points if p.modes is None] == [-22.0]


def test_the_python_lines_work(monkeypatch, capsys):
    monkeypatch.chdir(TOP)
    (lines,) = re.findall(r"^```python\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    exec(compile(lines, "modes.md", "exec"), {})
    depth, frequency, lean = map(float, capsys.readouterr().out.split())
    found = sim.modes(load("shallow-runner"))
    assert (depth, frequency, lean) == (
        found.trim.depth_m, found.wobble.frequency_hz, found.lean.growth_1_s
    )  # fmt: skip
