"""The command line as a user has it: in a folder of its own, in this process or in another one."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from e2e_helpers import PIKE, Answer, command
from typer.testing import CliRunner

from sim.cli import app


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


@pytest.fixture
def call(folder: Path) -> Callable[..., Answer]:
    """Run a command in this process; errors of the program itself come through."""

    def run(*arguments: object) -> Answer:
        done = CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)
        return Answer(done.exit_code, done.stdout, done.stderr)

    return run


@pytest.fixture
def shell(folder: Path) -> Callable[..., Answer]:
    """Run a command in another process, its streams being pipes."""

    def run(*arguments: object, **more: Any) -> Answer:
        done = subprocess.run(
            command(*arguments), capture_output=True, text=True, timeout=300, check=False, **more
        )
        return Answer(done.returncode, done.stdout, done.stderr)

    return run


@pytest.fixture
def pike(folder: Path) -> Path:
    """The bait of these tests as a file of the current folder."""
    path = Path("pike.toml")
    path.write_text(PIKE, encoding="utf-8")
    return path
