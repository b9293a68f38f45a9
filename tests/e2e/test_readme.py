"""The README shows the program's real output and says true classes for its variants."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

import sim
from sim.cli import app

TOP = Path(__file__).parents[2]
README = (TOP / "README.md").read_text("utf-8")


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch, folder: Path) -> str:
    """Output of a command given in a folder that has the project's configs."""
    (folder / "configs").symlink_to(TOP / "configs")
    monkeypatch.chdir(folder)
    result = CliRunner().invoke(app, arguments, env={"COLUMNS": "100"})
    assert result.exit_code == 0, result.output
    return result.stdout


def commands() -> list[list[str]]:
    """Every `runtrue run` of the README, as arguments."""
    joined = README.replace("\\\n", " ")
    return [shlex.split(found) for found in re.findall(r"runtrue (run configs/.*)", joined)]


def test_output_shown_is_the_output(monkeypatch, tmp_path):
    shown = re.search(r"```text\n(.*?)```", README, re.DOTALL).group(1)
    assert run(commands()[0], monkeypatch, tmp_path) == shown


@pytest.mark.slow
def test_map_shown_is_the_map(monkeypatch, tmp_path):
    (command,) = re.findall(r"^ {4}\.venv/bin/runtrue (map .*)$", README, re.MULTILINE)
    shown = re.findall(r"```text\n(.*?)```", README, re.DOTALL)[1]
    out = run(shlex.split(command), monkeypatch, tmp_path)
    took = r"(?<=  Runs   2135 in )[\d.]+ s, [\d.]+(?= a second)"
    assert len(re.findall(took, shown)) == len(re.findall(took, out)) == 1
    assert re.sub(took, "-", out) == re.sub(took, "-", shown)
    assert Path("results/shallow-runner-tie-speed.png").read_bytes().startswith(b"\x89PNG")


def test_table_of_the_baits_is_what_they_do():
    rows = re.findall(r"^\| \[([a-z-]+)\]\(configs/.*?\) \| (.*) \|$", README, re.MULTILINE)
    assert {name for name, _ in rows} == {p.stem for p in (TOP / "configs").glob("*.toml")}
    for name, cells in rows:
        config = sim.load_config(TOP / "configs" / f"{name}.toml")
        run = sim.simulate(config)
        m = run.measures
        assert cells.split(" | ")[0].startswith(f"{config.bait.bill.angle_deg:g} deg")
        assert cells.split(" | ")[1:] == [
            run.motion_class, f"{m['wobble_frequency_hz']:.1f} Hz",
            f"{m['yaw_amplitude_deg']:.0f} deg", f"{m['roll_amplitude_deg']:.0f} deg",
            f"{m['depth_m']:.2f} m",
        ]  # fmt: skip


def test_corkscrew_of_the_variant_turns_as_said(monkeypatch, tmp_path):
    said = re.search(r"a corkscrew, ([\d.]+) turns a second", README)[1]
    text = run(commands()[2], monkeypatch, tmp_path)
    assert round(float(re.search(r"([\d.]+) per second", text)[1]), 1) == float(said)


@pytest.mark.parametrize(("number", "said"), [(1, "over-rolling"), (2, "spinning")])
def test_variants_are_classed_as_said(number, said, monkeypatch, tmp_path):
    assert f"Class   {said}:" in run(commands()[number], monkeypatch, tmp_path)
