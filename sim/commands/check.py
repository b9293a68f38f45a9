"""``runtrue check``: what is wrong with a configuration, and what may be a slip."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from sim import terminal
from sim.commands.inputs import load_settings
from sim.errors import ConfigError
from sim.terminal import ConfigFile, JsonOption, SetOption, epilog

EXAMPLES = epilog("runtrue check pike.toml")


def check(config: ConfigFile, set_: SetOption = None, json_: JsonOption = False) -> None:
    """Tell all that is wrong with a configuration.

    Problems come one a line, each with the key, its value and what is allowed in the key's unit
    (mm, g, degrees, m/s). Warnings, on what may be a slip, do not change the exit code.
    """
    problems, warnings = _problems_and_warnings(config, set_)
    if json_:
        import json

        document = {"ok": not problems, "problems": problems, "warnings": warnings}
        terminal.emit(json.dumps(document, indent=2))
    elif problems:
        terminal.complain("\n".join(problems))
    else:
        terminal.emit(f"{config}: ok")
    if not json_:
        for text in warnings:
            terminal.complain(f"warning: {text}")
    if problems:
        raise typer.Exit(terminal.BAD_INPUT)


def _problems_and_warnings(
    config: Path, pairs: Sequence[str] | None
) -> tuple[list[str], list[str]]:
    try:
        settings = load_settings(config, pairs)
    except ConfigError as error:
        return error.problems, []
    from sim.bait.assembly import assemble
    from sim.cautions import cautions
    from sim.start import start_state

    try:
        start_state(settings, assemble(settings))
    except ConfigError as error:
        return error.problems, cautions(settings)
    return [], cautions(settings)
