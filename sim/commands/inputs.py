"""What commands are given: settings with ``--set`` on top, names of files, and slips among them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sim import terminal
from sim.errors import ConfigError
from sim.plots import SUFFIXES
from sim.terminal import picture_problems

if TYPE_CHECKING:
    from sim.config.models import Config

# Imports of the simulation stand inside the commands, so that those that need none answer at once.

RESULTS = Path("results")


def load_settings(config: Path, pairs: Sequence[str] | None) -> Config:
    """The configuration with ``--set`` applied; problems of both are told together."""
    from sim.config import load_config

    overrides, problems = terminal.read_overrides(pairs)
    try:
        settings = load_config(config, overrides)
    except ConfigError as error:
        raise ConfigError(problems + error.problems) from None
    if problems:
        raise ConfigError(problems)
    return settings


def name_problems(config: Path, output: Path, picture: Path | None) -> list[str]:
    """Names that would destroy one file by another, a line each."""
    problems = []
    if output.suffix.lower() in SUFFIXES:
        problems.append(
            f"--output {output}: is the name of a picture, the result is an .h5 file. Use"
            f" --picture {output.name} to draw it, and --output for the result."
        )
    if picture is not None:
        problems += picture_problems(picture)
    here = config.resolve()
    for option, path in (("--output", output), ("--picture", picture)):
        if path is not None and path.resolve() == here:
            problems.append(f"{option} {path}: is the configuration itself. Use another {option}.")
    if picture is not None and picture.resolve() == output.resolve():
        problems.append(f"--picture {picture}: is the --output file as well. Use another name.")
    return problems


def check_names(config: Path, output: Path, picture: Path | None) -> None:
    """Refuse names that would destroy one file by another; ConfigError."""
    problems = name_problems(config, output, picture)
    if problems:
        raise ConfigError(problems)


def warn(settings: Config, *, quiet: bool) -> None:
    """Tell what `check` warns of as well: a slip must not hide behind a sound answer."""
    from sim.cautions import cautions

    if not quiet:
        for text in cautions(settings):
            terminal.complain(f"warning: {text}")
