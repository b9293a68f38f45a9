"""The README shows the program's real output and says true classes for its variants."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

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


@pytest.mark.parametrize(("number", "said"), [(1, "over-rolling"), (2, "spinning")])
def test_variants_are_classed_as_said(number, said, monkeypatch, tmp_path):
    assert f"Class   {said}:" in run(commands()[number], monkeypatch, tmp_path)
